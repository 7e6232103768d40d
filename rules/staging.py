"""Stages by hand: what a person's acts make of the stages that follow the days after sticking.

The rule of this file: nothing that was judged is rewritten. What is put on record, corrected or withdrawn changes the
stages from the instant of its recording on, so that the same records give the same stages whenever they are read.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import zip_longest
from typing import Final, NamedTuple

from wardian.rules.crops import Stage, StageSpan, stage_at
from wardian.rules.plans import TrayPlan
from wardian.rules.records import STAGE, Record, in_force

#: What people do to a stage, as ``fields["event"]`` of its record says.
ADVANCED: Final = "advanced"
HELD: Final = "held"
SET_BACK: Final = "set back"
BY_DAY: Final = "by day"
#: The condition that a stage lasts too long, and its figure: how long a held one may go on beyond its planned end.
STAGE_OVERDUE: Final = "stage-overdue"
HELD_FOR: Final = "held_for"
_ALWAYS_MS: Final = -(2**62)


class ByDay(NamedTuple):
    """The stages as the days after sticking have them, and when the last of them is over, None where nobody said."""

    spans: Sequence[StageSpan]
    end_ms: int | None

    @property
    def stages(self) -> list[Stage]:
        """The stages in order."""
        return [span.stage for span in self.spans]

    def lasts_ms(self, place: int) -> int:
        """Return how long a stage lasts that is not the last one."""
        return self.spans[place + 1].from_ms - self.spans[place].from_ms


class Course(NamedTuple):
    """Stages as they are meant: when each begins, when the last of these is over, and whether it is held."""

    spans: tuple[StageSpan, ...]
    end_ms: int | None
    is_held: bool = False


class Begun(NamedTuple):
    """A stage, from when on it holds, and the record by which it does; None: by the days after sticking alone."""

    from_ms: int
    stage: Stage
    record: int | None


@dataclass(frozen=True, slots=True)
class Staging:
    """The stages of a tray through all that was put on record.

    Attributes:
        begun: Each stage as it was and will be judged.
        course: As they are meant by what is in force now.
        acts: What is in force now, in the order in which it happened.
        overdue: Stretches in which the stage lasted too long, [from, to); the last may have no end.
    """

    begun: tuple[Begun, ...]
    course: Course
    acts: tuple[Record, ...]
    overdue: tuple[tuple[int, int | None], ...]


# -------------------------------------------------------------------------------- acts, one by one


def followed(course: Course, by_day: ByDay, act: Record) -> Course:
    """Return how stages go on after an act.

    Raises:
        ValueError: It cannot be meant: no stage has begun, or there is none after or before the present one.
    """
    present = stage_at(course.spans, act.time_ms)
    if present is None or present not in by_day.stages:
        raise ValueError("no stage has begun at that time")
    return _ACTS[act.fields["event"]](course, by_day, by_day.stages.index(present), act.time_ms)


def spans_with(by_day: ByDay, acts: Iterable[Record]) -> Course:
    """Return the stages as acts in their order make them; one that cannot be meant any more changes nothing."""
    course = Course(tuple(by_day.spans), by_day.end_ms)
    for act in acts:
        try:
            course = followed(course, by_day, act)
        except ValueError:
            continue
    return course


def _advanced(course: Course, by_day: ByDay, place: int, at_ms: int) -> Course:
    stages = by_day.stages
    if place + 1 == len(stages):
        raise ValueError(f"{stages[place].name} is the last stage, nothing follows it")
    earlier_ms = by_day.spans[place + 1].from_ms - at_ms
    later = [StageSpan(span.from_ms - earlier_ms, span.stage) for span in by_day.spans[place + 1 :]]
    end_ms = None if by_day.end_ms is None else by_day.end_ms - earlier_ms
    return Course(_joined([*_before(course, at_ms), *later]), end_ms)


def _held(course: Course, _by_day: ByDay, _place: int, at_ms: int) -> Course:
    kept = tuple(span for span in course.spans if span.from_ms <= at_ms)
    planned_ms = course.spans[len(kept)].from_ms if len(kept) < len(course.spans) else course.end_ms
    return Course(kept, None if planned_ms is None else max(planned_ms, at_ms), is_held=True)


def _set_back(course: Course, by_day: ByDay, place: int, at_ms: int) -> Course:
    stages = by_day.stages
    if place == 0:
        raise ValueError(f"{stages[0].name} is the first stage, none comes before it")
    spans = _joined([*_before(course, at_ms), StageSpan(at_ms, stages[place - 1])])
    return Course(spans, at_ms + by_day.lasts_ms(place - 1), is_held=True)


def _by_day(course: Course, by_day: ByDay, _place: int, at_ms: int) -> Course:
    stage = stage_at(by_day.spans, at_ms)
    now = [StageSpan(at_ms, stage)] if stage else []
    later = [span for span in by_day.spans if span.from_ms > at_ms]
    return Course(_joined([*_before(course, at_ms), *now, *later]), by_day.end_ms)


_ACTS: Final[Mapping[str, Callable[[Course, ByDay, int, int], Course]]] = {
    ADVANCED: _advanced,
    HELD: _held,
    SET_BACK: _set_back,
    BY_DAY: _by_day,
}


def _before(course: Course, at_ms: int) -> list[StageSpan]:
    return [span for span in course.spans if span.from_ms < at_ms]


def _joined(spans: Iterable[StageSpan]) -> tuple[StageSpan, ...]:
    """Return spans without those that only go on with the stage before."""
    joined: list[StageSpan] = []
    for span in spans:
        if not joined or joined[-1].stage != span.stage:
            joined.append(span)
    return tuple(joined)


# ------------------------------------------------------------------------ all that was put on record


class _Version(NamedTuple):
    """What was in force from an instant of recording on, and the record that made it so."""

    from_ms: int
    record: int | None
    acts: tuple[Record, ...]


def acts_of(records: Iterable[Record], tray: str, since_ms: int) -> tuple[Record, ...]:
    """Return the acts on stages of a tray that are in force, since an instant, in the order they happened."""
    held = in_force(records)
    return tuple(one for one in held if (one.kind, one.tray) == (STAGE, tray) and one.time_ms >= since_ms)


def _versions(records: Sequence[Record], tray: str, since_ms: int) -> Iterator[_Version]:
    acts = {one.number for one in records if (one.kind, one.tray) == (STAGE, tray)}
    own = [one for one in records if one.number in acts or one.corrects in acts]
    from_ms = _ALWAYS_MS
    yield _Version(from_ms, None, ())
    for count, last in enumerate(own, 1):
        from_ms = max(from_ms, last.recorded_ms)
        yield _Version(from_ms, last.number, acts_of(own[:count], tray, since_ms))


def staging(plan: TrayPlan, records: Sequence[Record], since_ms: int) -> Staging:
    """Return the stages of a tray by all records there are, from an instant on; ``plan`` has them by day."""
    by_day = ByDay(plan.spans, plan.overdue_ms)
    patience_ms = int(plan.figures.get(STAGE_OVERDUE, {}).get(HELD_FOR, 0))
    begun: list[Begun] = []
    overdue: list[tuple[int, int | None]] = []
    versions = list(_versions(records, plan.tray, since_ms))
    for (from_ms, record, acts), following in zip_longest(versions, versions[1:]):
        to_ms = following.from_ms if following else None
        course = spans_with(by_day, acts)
        for one in _cut(course, from_ms, to_ms, record):
            if not begun or one.stage != begun[-1].stage:
                begun.append(one)
        late = _late(course, patience_ms, from_ms, to_ms)
        if late and overdue and overdue[-1][1] == late[0]:
            late = (overdue.pop()[0], late[1])
        overdue += [late] if late else []
    acts = versions[-1].acts
    return Staging(tuple(begun), spans_with(by_day, acts), acts, tuple(overdue))


def _cut(course: Course, from_ms: int, to_ms: int | None, record: int | None) -> Iterator[Begun]:
    """Yield the stages of a stretch of time, the one that holds at its beginning included."""
    if to_ms == from_ms:
        return
    present = stage_at(course.spans, from_ms)
    if present:
        yield Begun(from_ms, present, record)
    for span in course.spans:
        if from_ms < span.from_ms and (to_ms is None or span.from_ms < to_ms):
            yield Begun(*span, record)


def _late(course: Course, patience_ms: int, from_ms: int, to_ms: int | None) -> tuple[int, int | None] | None:
    """Return in which part of a stretch of time the stage lasts too long, None: in none."""
    if course.end_ms is None:
        return None
    end_ms = max(course.end_ms, course.spans[-1].from_ms)
    late_ms = max(from_ms, end_ms + (patience_ms if course.is_held else 0))
    return (late_ms, to_ms) if to_ms is None or late_ms < to_ms else None


def staged(plan: TrayPlan, records: Sequence[Record], since_ms: int) -> TrayPlan:
    """Return a plan, which has its stages by day, with the stages that the records make of them."""
    found = staging(plan, records, since_ms)
    last = found.overdue[-1] if found.overdue else None
    is_open = last is not None and last[1] is None
    return replace(
        plan,
        spans=tuple(StageSpan(one.from_ms, one.stage) for one in found.begun),
        stages=tuple(span.stage for span in plan.spans),
        overdue_ms=last[0] if last and is_open else None,
        was_overdue=tuple((from_ms, to_ms) for from_ms, to_ms in found.overdue if to_ms is not None),
    )
