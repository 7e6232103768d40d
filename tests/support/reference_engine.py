"""The rules written out naively: what the journal of the rule engine is held against.

Clear before fast: one limit is walked at a time, from instant to instant, with its whole state in
sight. Only the words (plans, readings, transitions) are shared with the engine, no arithmetic.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import zip_longest

from reference_series import Standing, measured_series, series_for, standing_at
from reference_uncertainty import with_uncertainty

from wardian.rules.crops import LIMITS, Limit, Stage
from wardian.rules.plans import TrayPlan
from wardian.rules.readings import Reading
from wardian.rules.transitions import RAISED, RETURNED, SENSOR_IMPLAUSIBLE, SENSOR_SILENT, Transition

#: An implausible sensor is believed again by a reading at least this long after the last refused one.
BELIEVED_AFTER_MS = 600_000


def reference_journal(
    plans: Sequence[TrayPlan],
    readings: Sequence[Reading],
    end_ms: int,
    refused: Sequence[tuple[int, str, str]] = (),
) -> list[Transition]:
    """Return the journal of readings in their order of arrival, up to and including ``end_ms``.

    ``refused`` are the time, tray and quantity of each reading that was not accepted.
    """
    journal: list[Transition] = []
    for plan in plans:
        measured = measured_series(plan, readings, end_ms)
        marks = [(at, quantity) for at, tray, quantity in refused if tray == plan.tray and at <= end_ms]
        journal += _limits(plan, measured, end_ms)
        journal += _silences(plan, measured, end_ms)
        journal += _implausible(plan, measured, marks)
    return sorted(journal, key=lambda transition: transition.order)


# Limits.


@dataclass
class _LimitWalk:
    """One limit of one quantity of one tray: where it stands at the instant walked to."""

    plan: TrayPlan
    quantity: str
    name: str
    series: list[Standing]
    journal: list[Transition] = field(default_factory=list)
    stage: Stage | None = None
    stage_from_ms: int = 0
    limit: Limit | None = None  # None: before the first stage, or in a stage that lacks it
    is_beyond: bool = False  # the last verdict; before any verdict: within
    is_raised: bool = False
    run_from_ms: int | None = None  # None: the value is unknown, there is no run
    run_value: float = 0.0  # the last value of the run

    def walk(self, end_ms: int) -> list[Transition]:
        """Go through every instant at which a value or the stage changes, then to the end."""
        stages = {span.from_ms: span.stage for span in self.plan.spans}
        changes = {standing.from_ms for standing in self.series} | {one.until_ms for one in self.series}
        for now_ms in sorted(changes | stages.keys()):
            if now_ms <= end_ms:
                self._step(now_ms, stages.get(now_ms))
        self._mature(end_ms)
        return self.journal

    def _step(self, now_ms: int, new_stage: Stage | None) -> None:
        self._mature(now_ms - 1)
        if new_stage is not None:
            # What matures exactly at a stage's start does so under the old stage, before the change.
            self._mature(now_ms)
            self._change_stage(now_ms, new_stage)
        elif not self._run_goes_on(now_ms):
            # A run that ends at that very instant still counts.
            self._mature(now_ms)
        self._judge(now_ms)
        self._mature(now_ms)

    def _change_stage(self, now_ms: int, new_stage: Stage) -> None:
        old, new = self.limit, _limit_of(new_stage, self.quantity, self.name)
        self.stage, self.stage_from_ms, self.limit = new_stage, now_ms, new
        if old is not None and new is not None:
            return  # verdict, run and raised alarm carry over
        if old is not None and self.is_raised:
            # A limit that the new stage lacks returns at that instant.
            standing = standing_at(self.series, now_ms)
            value = standing.value if standing else None
            self._print(now_ms, RETURNED, value, old.threshold, now_ms)
        self.is_beyond, self.is_raised, self.run_from_ms = False, False, None

    def _run_goes_on(self, now_ms: int) -> bool:
        standing = standing_at(self.series, now_ms)
        return (
            self.limit is not None
            and self.run_from_ms is not None
            and standing is not None
            and self._verdict(self.limit, standing.value) == self.is_beyond
        )

    def _judge(self, now_ms: int) -> None:
        """Judge the value that stands now, once, under the stage that holds now."""
        standing = standing_at(self.series, now_ms)
        if self.limit is None or standing is None:
            self.run_from_ms = None
            return
        verdict = self._verdict(self.limit, standing.value)
        if self.run_from_ms is None or verdict != self.is_beyond:
            self.run_from_ms = now_ms
        self.is_beyond, self.run_value = verdict, standing.value

    def _verdict(self, limit: Limit, value: float) -> bool:
        """Return whether a value is beyond; between clear and threshold the former verdict stays."""
        if limit.is_high:
            if value > limit.threshold:
                return True
            return self.is_beyond and not value <= limit.clear
        if value < limit.threshold:
            return True
        return self.is_beyond and not value >= limit.clear

    def _mature(self, until_ms: int) -> None:
        """Print what the run that goes on has brought about by an instant, that instant included."""
        if self.limit is None or self.run_from_ms is None or self.is_beyond == self.is_raised:
            return
        delay_ms = self.limit.on_delay_ms if self.is_beyond else self.limit.off_delay_ms
        due_ms = max(self.stage_from_ms, self.run_from_ms + delay_ms)
        if due_ms <= until_ms:
            self.is_raised = self.is_beyond
            event = RAISED if self.is_beyond else RETURNED
            self._print(due_ms, event, self.run_value, self.limit.threshold, self.run_from_ms)

    def _print(self, at_ms: int, event: str, value: float | None, threshold: float, since_ms: int) -> None:
        stage = self.stage.name if self.stage else None
        tray, quantity = self.plan.tray, self.quantity
        self.journal.append(
            Transition(at_ms, tray, quantity, self.name, event, "limit", value, threshold, stage, since_ms)
        )


def _limits(plan: TrayPlan, measured: dict[str, list[Standing]], end_ms: int) -> Iterator[Transition]:
    for quantity in sorted({quantity for span in plan.spans for quantity in span.stage.bands}):
        for name in LIMITS:
            series = series_for(plan, measured, quantity, is_low=name in ("low", "low_low"))
            changes = _LimitWalk(plan, quantity, name, series).walk(end_ms)
            yield from with_uncertainty(plan, measured, changes)


def _limit_of(stage: Stage, quantity: str, name: str) -> Limit | None:
    if quantity not in stage.bands:
        return None
    return next((limit for limit in stage.bands[quantity].limits if limit.name == name), None)


# Sensors.


def _silences(plan: TrayPlan, measured: dict[str, list[Standing]], end_ms: int) -> Iterator[Transition]:
    for quantity, delay_ms in plan.silent_after_ms.items():
        series = measured.get(quantity, [])
        for standing, following in zip_longest(series, series[1:]):
            unknown_ms = standing.until_ms
            due_ms = unknown_ms + delay_ms
            if following is not None and (following.from_ms == unknown_ms or following.from_ms < due_ms):
                continue
            if due_ms <= end_ms:
                yield _of_sensor(plan, quantity, SENSOR_SILENT, RAISED, due_ms, since_ms=unknown_ms)
            if following is not None:
                back_ms = following.from_ms
                yield _of_sensor(plan, quantity, SENSOR_SILENT, RETURNED, back_ms, since_ms=back_ms)


def _implausible(
    plan: TrayPlan, measured: dict[str, list[Standing]], marks: Sequence[tuple[int, str]]
) -> Iterator[Transition]:
    for quantity in sorted({quantity for _, quantity in marks}):
        refused_ms = {at for at, of_quantity in marks if of_quantity == quantity}
        accepted_ms = {standing.from_ms for standing in measured.get(quantity, [])}
        is_raised, last_refused_ms = False, 0
        for now_ms in sorted(refused_ms | accepted_ms):
            if now_ms in refused_ms:
                last_refused_ms = now_ms
                if not is_raised:
                    yield _of_sensor(plan, quantity, SENSOR_IMPLAUSIBLE, RAISED, now_ms, since_ms=now_ms)
                is_raised = True
            elif is_raised and now_ms - last_refused_ms >= BELIEVED_AFTER_MS:
                yield _of_sensor(plan, quantity, SENSOR_IMPLAUSIBLE, RETURNED, now_ms, since_ms=now_ms)
                is_raised = False


def _of_sensor(
    plan: TrayPlan, quantity: str, condition: str, event: str, at_ms: int, *, since_ms: int
) -> Transition:
    stage = None
    for span in plan.spans:
        if span.from_ms <= at_ms:
            stage = span.stage.name
    return Transition(at_ms, plan.tray, quantity, None, event, condition, None, None, stage, since_ms)
