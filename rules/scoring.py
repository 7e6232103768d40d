"""How well alarms told the truth: which faults were found, how late, and which alarms nobody needed.

The rule of this file: nobody judges here what is beyond a band. Alarms and excursions come from the
engine, what a fault can do stands in its kind; scoring only compares their times.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Final, NamedTuple

from wardian.rules.crops import Limit, Stage, stage_at
from wardian.rules.excursions import Excursion, paired
from wardian.rules.faults import FAULTS, Fault
from wardian.rules.plans import TrayPlan
from wardian.rules.scores import FOUND, MISSED, STANDING, WITHIN, Finding, Score
from wardian.rules.shares import Spans, common, merged, without
from wardian.rules.transitions import RAISED, SENSOR_IMPLAUSIBLE, SENSOR_SILENT, Transition
from wardian.rules.truth import TrueCare, TrueFault, Truth

_MINUTE_MS: Final = 60_000
_HOUR_MS: Final = 60 * _MINUTE_MS
_WEEK_MS: Final = 168 * _HOUR_MS

#: How long the air under a cover, and the medium, take to settle after care; common practice, no source.
SETTLING_MS: Final = {
    "lifted": 45 * _MINUTE_MS,
    "misted": 45 * _MINUTE_MS,
    "watered": 90 * _MINUTE_MS,
}

#: How far outside a truth's time a reading may be stamped: a clock may be set back, a reading come late.
STAMPED_OUTSIDE_MS: Final = 2 * _HOUR_MS

#: Faults that must raise an alarm about the sensor, whatever its readings are within.
_SENSOR_MUST_TELL: Final = {
    "sensor silent": SENSOR_SILENT,
    "sensor implausible": SENSOR_IMPLAUSIBLE,
    "power-on value": SENSOR_IMPLAUSIBLE,
}


class Watch(NamedTuple):
    """What was judged: by which plans, the trays that have readings, and from when to when (not included)."""

    plans: Mapping[str, TrayPlan]
    trays: Collection[str]
    from_ms: int
    until_ms: int


def why_of_other_readings(truth: Truth, watch: Watch) -> str:
    """Return why a truth cannot be about the readings that were judged, or nothing where it can."""
    if watch.from_ms < truth.start_ms - STAMPED_OUTSIDE_MS:
        return "they begin before it does"
    if watch.until_ms - 1 > truth.end_ms + STAMPED_OUTSIDE_MS:
        return "they end after it does"
    named = {fault.tray for fault in truth.faults} | {care.tray for care in truth.care}
    if named and named.isdisjoint(watch.trays):
        return f"it is about {_listed(named)}, they are of {_listed(watch.trays)}"
    without_readings = {one.tray for one in truth.faults}.difference(watch.trays)
    return f"they hold nothing of {_listed(without_readings)}" if without_readings else ""


def _listed(trays: Collection[str]) -> str:
    return ", ".join(repr(tray) for tray in sorted(trays))


def score(
    truth: Truth, transitions: Sequence[Transition], excursions: Iterable[Excursion], watch: Watch
) -> Score:
    """Compare the alarms of a week with its truth.

    Args:
        truth: What went wrong and what was done.
        transitions: All that the engine told, in order of time.
        excursions: All that was beyond the same limits, alarm or not.
        watch: What was judged.
    """
    trays = {name: plan for name, plan in watch.plans.items() if name in watch.trays}
    judged = [one for one in truth.faults if one.tray in trays and _is_seen(one, watch)]
    looks = {name: _Tray(plan, truth, transitions, excursions, watch) for name, plan in trays.items()}
    weeks = max(min(watch.until_ms, truth.end_ms) - max(watch.from_ms, truth.start_ms), 0) / _WEEK_MS
    alarms = [one for one in transitions if one.event == RAISED and one.tray in trays]
    return Score(
        findings=tuple(looks[one.tray].finding(one) for one in judged),
        unneeded=tuple(one for one in alarms if not any(belongs(one, fault) for fault in judged)),
        not_judged=tuple(one for one in truth.faults if one not in judged),
        tray_weeks=dict.fromkeys(trays, weeks),
    )


def belongs(alarm: Transition, fault: TrueFault) -> bool:
    """Return whether a raised alarm can come from a fault: by its tray, its limit and its time."""
    kind = FAULTS[fault.fault]
    return (
        alarm.tray == fault.tray
        and alarm.time_ms >= fault.from_ms
        and alarm.since_ms < _over_ms(fault, kind)
        and kind.explains(alarm, fault.quantity)
    )


def explained_by_care(one: Excursion, care: Iterable[TrueCare]) -> bool:
    """Return whether an excursion lies wholly within some care of its tray and the settling after it."""
    return any(
        one.tray == done.tray
        and done.from_ms <= one.from_ms
        and one.to_ms <= done.to_ms + SETTLING_MS[done.event]
        for done in care
    )


def _is_seen(fault: TrueFault, watch: Watch) -> bool:
    return fault.from_ms < watch.until_ms and _over_ms(fault, FAULTS[fault.fault]) > watch.from_ms


def _over_ms(fault: TrueFault, kind: Fault) -> int:
    """Return from when nothing can begin because of a fault any more."""
    return fault.to_ms + round(kind.lingers_h * _HOUR_MS)


class _Beyond(NamedTuple):
    """How long a fault's tray was beyond one limit: in all, while nobody was told, and the limit's wait."""

    total_ms: int
    untold_ms: int
    on_delay_ms: int


class _Tray:
    """What was told of one tray, and what was beyond its limits without being explained by care."""

    def __init__(
        self,
        plan: TrayPlan,
        truth: Truth,
        transitions: Iterable[Transition],
        excursions: Iterable[Excursion],
        watch: Watch,
    ) -> None:
        self._plan = plan
        self._until_ms = watch.until_ms
        self._told = [one for one in transitions if one.tray == plan.tray]
        care = [done for done in truth.care if done.tray == plan.tray]
        self._excursions: dict[tuple[str, str], Spans] = {}
        for one in excursions:
            if one.tray == plan.tray and not explained_by_care(one, care):
                self._excursions.setdefault((one.quantity, one.limit), []).append((one.from_ms, one.to_ms))
        self._alarms: dict[tuple[str, str], Spans] = {}
        for one in paired(self._told, watch.until_ms):
            self._alarms.setdefault((one.quantity, one.limit), []).append((one.from_ms, one.to_ms))

    def finding(self, fault: TrueFault) -> Finding:
        """Return what became of a fault."""
        beyond = self._beyond(fault)
        alarm = next((one for one in self._told if one.event == RAISED and belongs(one, fault)), None)
        limit = alarm and self._limit_of(alarm)
        return Finding(
            fault=fault,
            result=FOUND if alarm else self._not_found(fault, beyond),
            alarm=alarm,
            late_ms=alarm.time_ms - fault.from_ms if alarm else None,
            late_after_limit_ms=alarm.time_ms - self._crossed_ms(fault, alarm) if alarm and limit else None,
            on_delay_ms=limit.on_delay_ms if limit else None,
            beyond_ms=max((one.total_ms for one in beyond), default=0),
            out_of_band=any(one.total_ms > one.on_delay_ms for one in beyond),
        )

    def _beyond(self, fault: TrueFault) -> list[_Beyond]:
        """Return how long each limit that the fault can drive the tray across was exceeded because of it."""
        kind = FAULTS[fault.fault]
        time: Spans = [(fault.from_ms, _over_ms(fault, kind))]
        result = []
        for (quantity, name), spans in self._excursions.items():
            beyond = common(merged(spans), time) if kind.drives(quantity, name, fault.quantity) else []
            limit = self._limit_at(beyond[0][0], quantity, name) if beyond else None
            if limit:
                untold = without(beyond, self._alarms.get((quantity, name), []))
                result.append(_Beyond(_length_ms(beyond), _length_ms(untold), limit.on_delay_ms))
        return result

    def _not_found(self, fault: TrueFault, beyond: Iterable[_Beyond]) -> str:
        condition = _SENSOR_MUST_TELL.get(fault.fault)
        if condition:
            return self._sensor_not_found(fault, condition)
        out = [one for one in beyond if one.total_ms > one.on_delay_ms]
        if any(one.untold_ms > one.on_delay_ms for one in out):
            return MISSED
        return STANDING if out else WITHIN

    def _sensor_not_found(self, fault: TrueFault, condition: str) -> str:
        stands = {
            one.quantity: one.event == RAISED
            for one in self._told
            if one.time_ms < fault.from_ms
            and one.condition == condition
            and fault.quantity in (None, one.quantity)
        }
        if any(stands.values()):
            return STANDING
        if condition == SENSOR_SILENT:
            # The last value before it still stands for a while, and the alarm waits.
            waits_ms = self._plan.hold_ms + self._plan.silent_after_ms.get(fault.quantity or "", 0)
            return MISSED if min(fault.to_ms, self._until_ms) - fault.from_ms > waits_ms else WITHIN
        return MISSED

    def _crossed_ms(self, fault: TrueFault, alarm: Transition) -> int:
        """Return when the limit of an alarm was first crossed since the fault began."""
        spans = self._excursions.get((alarm.quantity, alarm.condition), [])
        begins = [from_ms for from_ms, to_ms in spans if from_ms <= alarm.time_ms and to_ms > fault.from_ms]
        return max(min([alarm.since_ms, *begins]), fault.from_ms)

    def _limit_of(self, alarm: Transition) -> Limit | None:
        """Return the limit by which an alarm was raised; none where it was about a sensor."""
        named = [span.stage for span in self._plan.spans if span.stage.name == alarm.stage]
        return _limit(named[0], alarm.quantity, alarm.condition) if named else None

    def _limit_at(self, time_ms: int, quantity: str, name: str) -> Limit | None:
        stage = stage_at(self._plan.spans, time_ms)
        return _limit(stage, quantity, name) if stage else None


def _limit(stage: Stage, quantity: str, name: str) -> Limit | None:
    band = stage.bands.get(quantity)
    return next((one for one in band.limits if one.name == name), None) if band else None


def _length_ms(spans: Spans) -> int:
    return sum(to_ms - from_ms for from_ms, to_ms in spans)
