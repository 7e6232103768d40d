"""The plan of a tray's care, a local day at a time: what is due in which round, and what of it was done.

The rule of this file: each task of a date is there once, whatever the clocks do that night; what was done at a tray,
recorded or seen in its traces, does the task in whose time it falls.
"""

from collections.abc import Iterator, Sequence
from datetime import date, time, timedelta, tzinfo
from itertools import pairwise
from typing import Final, NamedTuple

from wardian.rules.care_advice import (
    AIR,
    CALLUS,
    CALLUSING,
    FEED,
    MIST,
    OPENINGS,
    POT,
    ROOTING,
    ROOTS,
    STICK,
    TONE,
    TONING,
    USUAL,
    WATER,
    WEIGH,
    Advice,
    Case,
    advice,
    feed_day,
    mistings_of,
    pot_day,
    roots_days,
)
from wardian.rules.care_done import DONE_BY, Tended
from wardian.rules.crops import day_of, day_start_ms
from wardian.rules.daily import first_instant_ms

#: The days from which a stage of an unknown name counts as rooting and as toning: common practice, no source.
_ROOTING_DAY: Final = 8
_TONING_DAY: Final = 15
#: Days between two looks for roots, more where roots are slow so that there are about so many, and how long a first
#: feed may wait (chosen).
_LOOK_EVERY: Final = 3
_LOOKS: Final = 4
#: Callus is looked for at half of the time to the due day, and some days before roots (common practice for crops due by
#: day 14: day 7 to 10, no source).
_CALLUS_BEFORE_ROOTS: Final = 2
_FIRST_CALLUS_DAY: Final = 3
#: So long after its day of potting a tray is asked for nothing but to be potted on: nobody said that it was (chosen).
_LINGERS: Final = 14
_EVER: Final = 3650
#: What is no more to be done once it was done before its day.
_ALSO_BEFORE: Final = (FEED, POT)


class Round(NamedTuple):
    """One round of a day: when it is due, and from when until when what is done counts for it."""

    at_ms: int
    from_ms: int
    to_ms: int


class Task(NamedTuple):
    """Something to be done at a tray.

    Attributes:
        name: What, one of ``TITLES``.
        day: The local date under which it is told, that of its first day where it may wait.
        number: Which one of its name on that date, from 1.
        at_ms: When it is due; on a later day of what may wait, in the first round of that day.
        from_ms: From when on what is done counts for it.
        to_ms: From when on it is past.
        advice: What it says.
        done_ms: When it was done, None where it was not.
    """

    name: str
    day: date
    number: int
    at_ms: int
    from_ms: int
    to_ms: int
    advice: Advice
    done_ms: int | None = None

    def is_open(self, now_ms: int) -> bool:
        """Whether it may be done at an instant and was not."""
        return self.done_ms is None and self.from_ms <= now_ms < self.to_ms

    @property
    def key(self) -> str:
        """What tells it from every other task of its tray."""
        return f"{self.day}/{self.name}/{self.number}"


def rounds_of(day: date, times: Sequence[time], zone: tzinfo) -> list[Round]:
    """Return the rounds of a local date: each counts from halfway after the one before to halfway to the next.

    Those that a leap of the clock brings to one instant are one; a date that a zone left out has none.
    """
    begin_ms, end_ms = day_start_ms(day, zone), day_start_ms(day + timedelta(days=1), zone)
    at_ms = sorted({first_instant_ms(day, one, zone) for one in times})
    at_ms = [one for one in at_ms if begin_ms <= one < end_ms]
    edges_ms = [begin_ms, *((one + other) // 2 for one, other in pairwise(at_ms)), end_ms]
    return [Round(at, *edges) for at, edges in zip(at_ms, pairwise(edges_ms), strict=True)] if at_ms else []


def tasks_of(tray: Tended, day: date, times: Sequence[time]) -> list[Task]:
    """Return the tasks of a tray on a local date, in the order in which they are due; none before it was stuck.

    What may wait for days is among those of each until it was done.

    Args:
        tray: The tray.
        day: The local date.
        times: When rounds are made by the clock on the wall, at least one, rising.

    Raises:
        OverflowError: The date is at the ends of the calendar.
    """
    rounds = rounds_of(day, times, tray.zone)
    since_stuck = (day - tray.stuck).days
    is_over = bool(rounds) and tray.closed_ms is not None and tray.closed_ms < rounds[0].from_ms
    if since_stuck < 0 or not rounds or is_over:
        return []
    found = [*_once(tray, day, rounds[0])]
    if 0 < since_stuck <= pot_day(tray.crop) + _LINGERS:
        found += _daily(tray, day, rounds)
    if tray.closed_ms is not None:
        found = [one for one in found if one.done_ms is not None or one.to_ms <= tray.closed_ms]
    order = list(DONE_BY)
    return sorted(found, key=lambda one: (one.at_ms, order.index(one.name)))


# ----------------------------------------------------------------------------------------- daily


def _daily(tray: Tended, day: date, rounds: Sequence[Round]) -> Iterator[Task]:
    whole = rounds[0]._replace(to_ms=rounds[-1].to_ms)
    case = _case(tray, day, rounds[0].at_ms)
    yield _task(tray, WATER, day, whole, case)
    if case.phase == TONING and case.toning_day < len(OPENINGS):
        yield _task(tray, TONE, day, whole, case)
    numbers = {MIST: 0, AIR: 0}
    for number, round_ in enumerate(rounds):
        case = _case(tray, day, round_.at_ms)
        name = MIST if number < mistings_of(case) else AIR
        if name == MIST or case.phase != TONING:
            numbers[name] += 1
            yield _task(tray, name, day, round_, case)._replace(number=numbers[name])


def _case(tray: Tended, day: date, at_ms: int) -> Case:
    """Return in what case a tray is at an instant of a date."""
    since_stuck = (day - tray.stuck).days
    span = next((one for one in reversed(tray.spans) if one.from_ms <= at_ms), None)
    name = span.stage.name if span else ""
    by_day = CALLUSING if since_stuck < _ROOTING_DAY else ROOTING if since_stuck < _TONING_DAY else TONING
    phase = name if name in USUAL else by_day
    begun = max(day_of(tray.stuck, tray.zone, span.from_ms), 0) if span else 0
    since = begun if name == TONING else max(begun, _TONING_DAY)
    return Case(tray.crop, span.stage if span else None, phase, since_stuck, max(since_stuck - since, 0))


# ------------------------------------------------------------------------------------------ once


class _Wait(NamedTuple):
    """A task that may wait: from the first to the last of these days after sticking."""

    name: str
    first: int
    last: int


def _once(tray: Tended, day: date, first: Round) -> Iterator[Task]:
    """Yield what is done once and may wait, due in the first round, where it was not done before this date."""
    since_stuck, begin_ms = (day - tray.stuck).days, day_start_ms(day, tray.zone)
    for wait in _waits(tray):
        if wait.first <= since_stuck <= wait.last:
            task = _waiting(tray, wait, first.at_ms)
            if task.done_ms is None or task.done_ms >= begin_ms:
                yield task


def _waits(tray: Tended) -> Iterator[_Wait]:
    yield _Wait(STICK, 0, 0)
    if tray.has_balance:
        yield _Wait(WEIGH, 0, 0)
    fed = _fed_from(tray)
    if fed is not None:
        yield _Wait(FEED, fed, fed + _LOOK_EVERY - 1)
    first, last = roots_days(tray.crop)
    callus = max(_FIRST_CALLUS_DAY, min(round(last / 2), first - _CALLUS_BEFORE_ROOTS))
    if callus < first and not _had_roots(tray, callus):
        yield _Wait(CALLUS, callus, first - 1)
    every = max(_LOOK_EVERY, (last - first) // _LOOKS)
    for look in range(first, last + 1, every):
        if not _had_roots(tray, look):
            yield _Wait(ROOTS, look, min(look + every - 1, last))
    yield _Wait(POT, pot_day(tray.crop), _EVER)


def _fed_from(tray: Tended) -> int | None:
    """Return the first day after sticking on which water carries feed, None where it does on none."""
    first = feed_day(tray.crop)
    for since_stuck in range(first, pot_day(tray.crop) + 1):
        day = tray.stuck + timedelta(days=since_stuck)
        if _case(tray, day, day_start_ms(day, tray.zone)).is_fed:
            return since_stuck
    return None


def _had_roots(tray: Tended, since_stuck: int) -> bool:
    """Whether roots were found before a day after sticking began."""
    begin_ms = day_start_ms(tray.stuck + timedelta(days=since_stuck), tray.zone)
    return tray.rooted_ms is not None and tray.rooted_ms < begin_ms


def _waiting(tray: Tended, wait: _Wait, at_ms: int) -> Task:
    day = tray.stuck + timedelta(days=wait.first)
    begin_ms = day_start_ms(day, tray.zone)
    end_ms = day_start_ms(tray.stuck + timedelta(days=wait.last + 1), tray.zone)
    task = _task(tray, wait.name, day, Round(at_ms, begin_ms, end_ms), _case(tray, day, begin_ms))
    before_ms = (one for one in DONE_BY[wait.name](tray) if wait.name in _ALSO_BEFORE and one < begin_ms)
    return task._replace(done_ms=min(before_ms, default=task.done_ms))


# ------------------------------------------------------------------------------------------ done


def _task(tray: Tended, name: str, day: date, round_: Round, case: Case) -> Task:
    done_ms = min((one for one in DONE_BY[name](tray) if round_.from_ms <= one < round_.to_ms), default=None)
    return Task(name, day, 1, *round_, advice(name, case), done_ms)
