"""All trays observed: conditions beyond the limits, raised and returned like any alarm.

The rule of this file: no clock, no chance; the same readings give the same transitions, however they are cut.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence

from wardian.rules.crops import stage_at
from wardian.rules.evidence import Evidence
from wardian.rules.observing.care_seen import CareSeen
from wardian.rules.observing.conditions import CONDITIONS
from wardian.rules.observing.looks import Abnormal, Care, Condition, ConditionMaker, Look, Unchanged
from wardian.rules.observing.minutes import MINUTE_MS, Minutes
from wardian.rules.observing.usual import Learned
from wardian.rules.plans import TrayPlan
from wardian.rules.readings import Chunk, Reading, chunk_of
from wardian.rules.transitions import RAISED, RETURNED, Transition


class TrayObserver:
    """One tray, minute by minute."""

    def __init__(self, plan: TrayPlan, conditions: Iterable[ConditionMaker] = CONDITIONS) -> None:
        """Begin anew; only conditions that the plan has figures for are judged."""
        self.plan = plan
        self._makers = tuple(conditions)
        self.standing: dict[str, Evidence] = {}
        self._stand: dict[tuple[str, str], Evidence] = {}
        self.care = CareSeen()
        self.begin_anew()

    def begin_anew(self) -> None:
        """Forget what was read; what stands goes on standing, and what was done is remembered."""
        self.minutes = Minutes(self.plan.hold_ms)
        self.care.begin_anew()
        self.learned = Learned()
        self.conditions = [one for one in (make() for make in self._makers) if one.name in self.plan.figures]

    def look(self) -> Look:
        """Return the tray as it is at the end of the last closed minute."""
        assert self.minutes.now_ms is not None
        return Look(
            plan=self.plan,
            minutes=self.minutes,
            care=self.care.events,
            now_ms=self.minutes.now_ms,
            standing=self.standing,
            learned=self.learned,
            lift=self.care.lift,
        )

    def advance(self, until_ms: int) -> Iterator[Transition]:
        """Close the minutes that ended at or before an instant and tell what changed."""
        for _, told in self.by_minute(until_ms):
            yield from told

    def by_minute(self, until_ms: int) -> Iterator[tuple[int, Sequence[Transition]]]:
        """Close the minutes that ended at or before an instant; after each, yield its end and what changed."""
        for now_ms in self.minutes.close(until_ms):
            self.care.step(self.minutes)
            is_judged = self.plan.spans and now_ms > self.plan.spans[0].from_ms
            yield now_ms, tuple(self._judge(self.look())) if is_judged else ()

    def _judge(self, look: Look) -> Iterator[Transition]:
        minute = look.now_ms // MINUTE_MS
        for condition in self.conditions:
            if minute % condition.every:
                continue
            verdict, key = condition.judge(look), (condition.name, condition.quantity)
            if isinstance(verdict, Abnormal):
                if key not in self._stand:
                    yield self._transition(condition, RAISED, look.now_ms, verdict)
                self._stand[key] = self.standing[condition.name] = verdict.evidence
            elif not isinstance(verdict, Unchanged) and key in self._stand:
                evidence = self._stand.pop(key)
                self._fall_back(condition.name)
                yield self._transition(condition, RETURNED, look.now_ms, Abnormal(look.now_ms, evidence))

    def resume(self, stood: Collection[tuple[str, str]]) -> None:
        """Let stand what stood when it was last told: name and quantity; and nothing else."""
        keys = [(one.name, one.quantity) for one in self.conditions if (one.name, one.quantity) in stood]
        self._stand = {key: self._stand.get(key, Evidence("")) for key in keys}
        self.standing = {name: evidence for (name, _), evidence in self._stand.items()}

    def _fall_back(self, name: str) -> None:
        """Let another condition of a name stand for it, if there is one."""
        del self.standing[name]
        for other, evidence in self._stand.items():
            if other[0] == name:
                self.standing[name] = evidence

    @property
    def raised(self) -> Collection[tuple[str, str]]:
        """The conditions that stand: name and quantity."""
        return self._stand.keys()

    def _transition(self, condition: Condition, event: str, at_ms: int, why: Abnormal) -> Transition:
        stage = stage_at(self.plan.spans, at_ms)
        return Transition(
            time_ms=at_ms,
            tray=self.plan.tray,
            quantity=condition.quantity,
            limit=None,
            event=event,
            condition=condition.name,
            value=why.value,
            threshold=why.threshold,
            stage=stage.name if stage else None,
            since_ms=why.since_ms,
            evidence=why.evidence,
        )


class _Way:
    """One tray on its way to an instant, minute by minute; ``next_ms`` is the end of its next minute."""

    def __init__(self, tray: TrayObserver, until_ms: int) -> None:
        self._minutes = tray.minutes
        self._ahead = tray.by_minute(until_ms)
        self._until_ms = until_ms
        self._leapt: Sequence[Transition] = ()
        self.next_ms = tray.minutes.next_ms

    @property
    def is_over(self) -> bool:
        """Whether the instant is reached."""
        return not 0 < self.next_ms <= self._until_ms

    def step(self) -> Sequence[Transition]:
        """Close the next minute and return what changed; after a leap, only when the others are there."""
        told, self._leapt = self._leapt, ()
        if self._minutes.now_ms == self.next_ms:
            self.next_ms = self._minutes.next_ms
            return told
        closed_ms, changed = next(self._ahead)
        if closed_ms > self.next_ms:
            self.next_ms, self._leapt = closed_ms, changed
            return ()
        self.next_ms = self._minutes.next_ms
        return changed


class Observer:
    """All trays, each observed by itself."""

    def __init__(self, plans: Iterable[TrayPlan], conditions: Sequence[ConditionMaker] = CONDITIONS) -> None:
        self.trays = {plan.tray: TrayObserver(plan, conditions) for plan in plans}

    def feed(self, chunk: Chunk) -> None:
        """Take readings; those of trays nobody planned are not looked at."""
        for series, points in chunk.items():
            if series.tray in self.trays:
                self.trays[series.tray].minutes.feed(series.quantity, points)

    def take(self, readings: Iterable[Reading]) -> None:
        """Take live readings."""
        self.feed(chunk_of(readings))

    def record(self, tray: str, care: Care) -> None:
        """Take note of care that a person recorded."""
        self.trays[tray].care.record(care)

    def resume(self, standing: Iterable[tuple[str, str, str]]) -> None:
        """Let stand what stood when it was last told: tray, quantity and condition; and nothing else."""
        stood = set(standing)
        for name, tray in self.trays.items():
            tray.resume({(condition, quantity) for of, quantity, condition in stood if of == name})

    def begin_anew(self) -> None:
        """Forget what was read of all trays: where a clock was set, minutes do not follow each other."""
        for tray in self.trays.values():
            tray.begin_anew()

    def advance(self, until_ms: int | Mapping[str, int]) -> list[Transition]:
        """Observe up to an instant, of all trays or one for each; in the order of the journal."""
        told = [transition for transitions in self.by_minute(until_ms) for transition in transitions]
        return sorted(told, key=lambda transition: transition.order)

    def by_minute(self, until_ms: int | Mapping[str, int]) -> Iterator[list[Transition]]:
        """Observe all trays side by side; after each minute in which something changed, yield that in order.

        Then no tray is past the end of that minute.
        """
        ends = until_ms if isinstance(until_ms, Mapping) else dict.fromkeys(self.trays, until_ms)
        ways = [_Way(tray, ends[name]) for name, tray in self.trays.items()]
        while ways := [way for way in ways if not way.is_over]:
            now_ms = min(way.next_ms for way in ways)
            told = [one for way in ways if way.next_ms == now_ms for one in way.step()]
            if told:
                yield sorted(told, key=lambda transition: transition.order)

    def raised(self) -> set[tuple[str, str, str]]:
        """Return the alarms about conditions that stand: tray, quantity and condition."""
        return {
            (tray, quantity, condition)
            for tray, observer in self.trays.items()
            for condition, quantity in observer.raised
        }
