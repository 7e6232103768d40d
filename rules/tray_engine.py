"""One tray judged: its series, what is derived from them, its stages and its limits.

The rule of this file: what matures at a stage's start is told by the old stage; then the standing
value is judged once by the new one, and a run or an alarm of a limit that both have carries over.
"""

from collections.abc import Callable, Iterator, Mapping
from math import inf, isnan
from operator import attrgetter
from typing import Any, NamedTuple

import numpy as np

from wardian.rules.calm import MOST_READINGS, Calm, ranges
from wardian.rules.crops import Limit, Stage, StageSpan, stage_at
from wardian.rules.deriving import Deriving
from wardian.rules.health import Implausible, Silence
from wardian.rules.judging import Change, LimitState, Stand, Stretch, Watched, Window, judge
from wardian.rules.light import standing
from wardian.rules.plans import TrayPlan
from wardian.rules.quantities import SATURATION_PCT
from wardian.rules.readings import Points, Reading, chunk_of, count, merged
from wardian.rules.transitions import RAISED, RETURNED, SENSOR_IMPLAUSIBLE, SENSOR_SILENT, Transition
from wardian.rules.uncertainty import expanded_uncertainty, is_in_doubt

#: Readings of a series that are judged at once. Any number gives the same; with this one a week takes
#: two thirds of the time, because arrays of this length are neither asked of nor returned to the system.
AT_ONCE = 12_000
#: Before any reading.
_ALWAYS_MS = -(2**62)
_NO_TIMES = np.empty(0, np.int64)
_NO_VALUES = np.empty(0, np.float64)
_time_ms = attrgetter("time_ms")
_NOTHING = Stretch(_NO_TIMES, _NO_TIMES, _NO_VALUES, _NO_VALUES)


class Present(NamedTuple):
    """What is known of one quantity now: the value that stands, else only the last one.

    ``uncertainty`` is the expanded one of the value that stands, None where nobody knows it.
    """

    stand: Stand | None
    last: Stand | None
    beyond: tuple[str, ...]
    uncertainty: float | None = None


class TrayEngine:
    """Everything remembered of one tray; small, and the same after a restart."""

    def __init__(self, plan: TrayPlan, state: Mapping[str, Any] | None = None) -> None:
        """Begin anew, or go on from a state; a changed plan takes effect where judgement stopped."""
        self.plan = plan
        self.judged_ms = _ALWAYS_MS
        #: Is shown every stretch of values that is judged, measured and derived, for those who measure time.
        self.on_stretches: Callable[[Mapping[str, Stretch]], None] | None = None
        #: Readings ignored because one of the same instant came first.
        self.repeated = 0
        self._pending: dict[str, list[Points]] = {}
        self._stands: dict[str, Stand] = {}
        self._limits: dict[tuple[str, str], Watched] = {}
        self._stage: Stage | None = None
        self._stages_begun = 0
        self._silences = {quantity: Silence(delay) for quantity, delay in plan.silent_after_ms.items()}
        self._doubts: dict[str, Implausible] = {}
        self._deriving = Deriving(plan, state or {})
        self._changed_at_ms: int | None = None
        #: Live readings that are not judged yet, newer than what is pending as arrays.
        self._live: list[Reading] = []
        self._calm: Calm | None = None
        if state:
            self._resume(state)

    def take_plan(self, plan: TrayPlan) -> None:
        """Go on by another plan of the same tray, from where judgement stopped; what is behind stays as it was told."""
        self.plan = plan
        self._calm = None
        self._deriving.take_plan(plan)
        self._resume_stage(self._stages_begun)

    # ------------------------------------------------------------------------------ what comes in

    def feed(self, quantity: str, points: Points) -> int:
        """Take readings of one quantity; return how many are older than what was judged."""
        on_time = points.times_ms >= self.judged_ms
        late = len(on_time) - int(on_time.sum())
        self._gather_live()
        if late:
            points = Points(points.times_ms[on_time], points.values[on_time])
        if len(points.times_ms):
            self._pending.setdefault(quantity, []).append(points)
        return late

    def take(self, reading: Reading) -> bool:
        """Take one live reading; return whether it was in time to be judged."""
        if reading.time_ms < self.judged_ms:
            return False
        self._live.append(reading)
        return True

    def refuse(self, time_ms: int, quantity: str) -> None:
        """Take note of a refused reading."""
        self._doubts.setdefault(quantity, Implausible()).pending_ms.append(time_ms)

    def expect(self, from_ms: int) -> None:
        """Miss every expected series that was never heard, from this instant on."""
        for quantity, silence in self._silences.items():
            if quantity not in self._stands and silence.missed_from_ms is None:
                silence.missed_from_ms = from_ms

    # --------------------------------------------------------------------------------- judgement

    def advance(self, until_ms: int) -> list[Transition]:
        """Judge all before ``until_ms``; in no particular order."""
        if until_ms <= self.judged_ms or self._passes_calmly(until_ms):
            return []
        self._gather_live(until_ms)
        told = [change for pause_ms in self._pauses(until_ms) for change in self._advance(pause_ms)]
        self._calm = self._look_for_calm()
        return told

    def _pauses(self, until_ms: int) -> list[int]:
        """Return instants up to the last at which to pause, so that the work stays in the cache."""
        longest = max(self._pending.values(), key=count, default=[])
        if count(longest) <= AT_ONCE:
            return [until_ms]
        times = np.sort(np.concatenate([points.times_ms for points in longest]))
        return [*times[AT_ONCE : times.searchsorted(until_ms) : AT_ONCE].tolist(), until_ms]

    def _advance(self, until_ms: int) -> list[Transition]:
        measured = {quantity: self._take(quantity, until_ms) for quantity in list(self._pending)}
        told = list(self._doubted_and_missed(measured, until_ms))
        stretches = measured | self._deriving.derive(measured, self._stands)
        if self.on_stretches:
            self.on_stretches(stretches)
        told += self._judge_stages(stretches, until_ms)
        for quantity, stretch in stretches.items():
            if len(stretch.from_ms):
                self._stands[quantity] = stretch.last()
        self.judged_ms = until_ms
        return told

    def _passes_calmly(self, until_ms: int) -> bool:
        """Judge live readings of which none can change anything; return whether that was so."""
        if self._calm is None or self._pending or len(self._live) > MOST_READINGS:
            return False
        if any(doubt.raised or doubt.pending_ms for doubt in self._doubts.values()):
            return False
        due = sorted((one for one in self._live if one.time_ms < until_ms), key=_time_ms)
        stands = self._calm.passes(due, self._stands, until_ms)
        if stands is None:
            return False
        self._stands = dict(stands)
        self._live = [one for one in self._live if one.time_ms >= until_ms]
        self.judged_ms = until_ms
        return True

    def _look_for_calm(self) -> Calm | None:
        found = ranges((quantity, *watched) for (quantity, _), watched in self._limits.items())
        if found is None or self._deriving.wants_photons:
            return None
        following = self.plan.spans[self._stages_begun :]
        return Calm(
            until_ms=following[0].from_ms if following else inf,
            ranges=found,
            derived=self._deriving.formulas,
            lit=self._deriving.lit,
            lamp_quantity=self.plan.lamp.quantity if self.plan.lamp else "",
            hold_ms=self.plan.hold_ms,
            silences=self._silences,
            masses=self.plan.masses,
        )

    def _gather_live(self, before_ms: float = inf) -> None:
        """Put live readings before an instant with what is pending as arrays."""
        due = [one for one in self._live if one.time_ms < before_ms]
        self._live = [one for one in self._live if one.time_ms >= before_ms]
        for series, points in chunk_of(due).items():
            self._pending.setdefault(series.quantity, []).append(points)

    def _take(self, quantity: str, until_ms: int) -> Stretch:
        """Take the pending readings before ``until_ms``: in order of time, the first of a repeat."""
        (times, values), repeated = merged(self._pending.pop(quantity))
        self.repeated += repeated
        if times[-1] >= until_ms:
            due = int(times.searchsorted(until_ms))
            self._pending[quantity] = [Points(times[due:], values[due:])]
            times, values = times[:due], values[:due]
        if quantity == "relative_humidity":
            values = np.minimum(values, SATURATION_PCT)
        return Stretch(times, times + self.plan.hold_ms, values, values)

    def _judge_stages(self, stretches: Mapping[str, Stretch], until_ms: int) -> Iterator[Transition]:
        from_ms, floor_ms = self.judged_ms, self._floor_ms()
        if self._changed_at_ms is not None:
            yield from self._enter(self._stage, self._changed_at_ms, stretches)
            floor_ms = self._changed_at_ms
        for span in self.plan.spans[self._stages_begun :]:
            if span.from_ms >= until_ms:
                break
            yield from self._judge(stretches, (from_ms, span.from_ms), Window(floor_ms, span.from_ms + 1))
            yield from self._enter(span.stage, span.from_ms, stretches)
            self._stages_begun += 1
            from_ms = floor_ms = span.from_ms
        yield from self._judge(stretches, (from_ms, until_ms), Window(floor_ms, until_ms))
        self._changed_at_ms = None

    def _floor_ms(self) -> int:
        return self.plan.spans[self._stages_begun - 1].from_ms if self._stages_begun else _ALWAYS_MS

    def _enter(
        self, stage: Stage | None, from_ms: int, stretches: Mapping[str, Stretch]
    ) -> Iterator[Transition]:
        """Begin a stage: limits it lacks return, those it shares carry over, new ones start afresh."""
        former, self._limits, self._stage = self._limits, {}, stage
        for quantity, band in (stage.bands if stage else {}).items():
            for limit in band.limits:
                kept = former.pop((quantity, limit.name), None)
                self._limits[quantity, limit.name] = Watched(limit, kept.state if kept else LimitState())
        for (quantity, _), watched in former.items():
            if watched.state.raised:
                stand = self._stand_at(quantity, from_ms, stretches)
                value = (stand.for_high if watched.limit.is_high else stand.for_low) if stand else None
                yield self._transition(quantity, watched, (from_ms, False, value, from_ms), stretches)

    def _judge(
        self, stretches: Mapping[str, Stretch], span: tuple[int, int], window: Window
    ) -> Iterator[Transition]:
        """Judge the values with span[0] <= time < span[1] by the limits in force."""
        begins_stage = span[0] == window.floor_ms
        prepared: dict[str, tuple[Stand | None, Stretch]] = {}
        for (quantity, _), watched in self._limits.items():
            if quantity not in prepared:
                prepared[quantity] = self._values(quantity, span, stretches, begins_stage=begins_stage)
            for change in judge(watched.state, watched.limit, *prepared[quantity], window):
                yield self._transition(quantity, watched, change, stretches)

    def _values(
        self, quantity: str, span: tuple[int, int], stretches: Mapping[str, Stretch], *, begins_stage: bool
    ) -> tuple[Stand | None, Stretch]:
        stretch = stretches.get(quantity, _NOTHING)
        values = stretch.between(*span)
        if not begins_stage and span[0] == self.judged_ms:
            return self._stands.get(quantity), values
        before = self._stand_before(quantity, span[0], stretch)
        stands_on = before is not None and before.until_ms > span[0]
        if begins_stage and before and stands_on and span[0] not in values.from_ms[:1]:
            values = values.preceded_by(before, span[0])
        return before, values

    def _stand_before(self, quantity: str, instant_ms: int, stretch: Stretch) -> Stand | None:
        return standing(stretch.between(_ALWAYS_MS, instant_ms), self._stands.get(quantity))

    def _stand_at(self, quantity: str, instant_ms: int, stretches: Mapping[str, Stretch]) -> Stand | None:
        stand = self._stand_before(quantity, instant_ms + 1, stretches.get(quantity, _NOTHING))
        return stand if stand and stand.until_ms > instant_ms else None

    def _transition(
        self,
        quantity: str,
        watched: Watched,
        change: Change | tuple[int, bool, float | None, int],
        stretches: Mapping[str, Stretch],
    ) -> Transition:
        (limit, state), (time_ms, raised, value, since_ms) = watched, change
        value = None if value is None or isnan(value) else value
        uncertainty = None if value is None else self._uncertainty(quantity, time_ms, stretches)
        if raised:
            state.in_doubt = is_in_doubt(value, limit.threshold, uncertainty)
        return Transition(
            time_ms=time_ms,
            tray=self.plan.tray,
            quantity=quantity,
            limit=limit.name,
            event=RAISED if raised else RETURNED,
            condition=limit.name,
            value=value,
            threshold=limit.threshold,
            stage=self._stage.name if self._stage else None,
            since_ms=since_ms,
            uncertainty=uncertainty,
            in_doubt=state.in_doubt,
        )

    def _uncertainty(self, quantity: str, at_ms: int, stretches: Mapping[str, Stretch]) -> float | None:
        """Return how uncertain a derived value is, by what was last read of its inputs."""
        formula = self._deriving.formulas.get(quantity)
        if not formula or not self.plan.accuracies:
            return None
        names = formula.inputs
        stands = (self._stand_before(name, at_ms + 1, stretches.get(name, _NOTHING)) for name in names)
        known = [stand.for_high if stand else None for stand in stands]
        return expanded_uncertainty(quantity, known, self.plan.accuracies, self.plan.leaf_offset_k)

    # ------------------------------------------------------------------------------------ sensors

    def _doubted_and_missed(self, measured: Mapping[str, Stretch], until_ms: int) -> Iterator[Transition]:
        for quantity, silence in self._silences.items():
            times = measured.get(quantity, _NOTHING).from_ms
            for change in silence.listen(self.plan.hold_ms, self._stands.get(quantity), times, until_ms):
                yield self._about_sensor(quantity, SENSOR_SILENT, change)
        for quantity, doubt in self._doubts.items():
            times = measured.get(quantity, _NOTHING).from_ms
            for change in doubt.doubt(times, until_ms):
                yield self._about_sensor(quantity, SENSOR_IMPLAUSIBLE, change)

    def _about_sensor(self, quantity: str, condition: str, change: tuple[int, bool, int]) -> Transition:
        time_ms, raised, since_ms = change
        stage, event = stage_at(self.plan.spans, time_ms), RAISED if raised else RETURNED
        which = (time_ms, self.plan.tray, quantity, None, event, condition)
        return Transition(*which, None, None, stage.name if stage else None, since_ms)

    # -------------------------------------------------------------------------------------- state

    def present(self, at_ms: int) -> dict[str, Present]:
        """Return, by quantity, what stands at an instant that was just judged, and what it is beyond."""
        result = {}
        for quantity in {*self._stands, *(quantity for quantity, _ in self._limits)}:
            last = self._stands.get(quantity)
            stand = last if last and last.until_ms > at_ms else None
            beyond = tuple(
                limit.name
                for (of, _), (limit, state) in self._limits.items()
                if of == quantity and state.beyond and stand
            )
            uncertainty = self._uncertainty(quantity, at_ms, {}) if stand else None
            result[quantity] = Present(stand, last, beyond, uncertainty)
        return result

    def raised(self) -> Iterator[tuple[str, str]]:
        """Yield the alarms that stand: quantity, and limit or sensor condition."""
        for alarm, (_, state) in self._limits.items():
            if state.raised:
                yield alarm
        yield from ((quantity, SENSOR_SILENT) for quantity, one in self._silences.items() if one.raised)
        yield from ((quantity, SENSOR_IMPLAUSIBLE) for quantity, one in self._doubts.items() if one.raised)

    def state(self) -> dict[str, Any]:
        """Return all that is remembered as plain JSON values."""
        self._gather_live()
        return {
            "judged_ms": self.judged_ms,
            "stands": {quantity: list(stand) for quantity, stand in self._stands.items()},
            "limits": [
                [quantity, list(watched.limit), watched.state.as_row()]
                for (quantity, _), watched in self._limits.items()
            ],
            "stages_begun": self._stages_begun,
            **self._deriving.remembered(),
            "silences": {q: [s.raised, s.missed_from_ms] for q, s in self._silences.items()},
            "doubts": {quantity: doubt.as_row() for quantity, doubt in self._doubts.items()},
            "pending": {
                quantity: [[p.times_ms.tolist(), p.values.tolist()] for p in pieces]
                for quantity, pieces in self._pending.items()
            },
        }

    def _resume(self, state: Mapping[str, Any]) -> None:
        self.judged_ms = state["judged_ms"]
        self._stands = {quantity: Stand(*row) for quantity, row in state["stands"].items()}
        for quantity, limit, row in state["limits"]:
            self._limits[quantity, limit[0]] = Watched(Limit(*limit), LimitState(*row))
        for quantity, (raised, missed_from_ms) in state["silences"].items():
            if quantity in self._silences:
                self._silences[quantity].raised = raised
                self._silences[quantity].missed_from_ms = missed_from_ms
        self._doubts = {quantity: Implausible(*row) for quantity, row in state["doubts"].items()}
        for quantity, pieces in state["pending"].items():
            self._pending[quantity] = [
                Points(np.array(times, np.int64), np.array(values, np.float64)) for times, values in pieces
            ]
        self._resume_stage(state["stages_begun"])

    def _resume_stage(self, stages_begun: int) -> None:
        """Go on in the same stage, or, where the plan has changed, begin the present one here."""
        begun: list[StageSpan] = [span for span in self.plan.spans if span.from_ms < self.judged_ms]
        self._stages_begun = len(begun)
        self._stage = begun[-1].stage if begun else None
        bands = self._stage.bands if self._stage else {}
        planned = [(quantity, limit) for quantity, band in bands.items() for limit in band.limits]
        remembered = [(quantity, watched.limit) for (quantity, _), watched in self._limits.items()]
        if stages_begun != len(begun) or planned != remembered:
            self._changed_at_ms = self.judged_ms
