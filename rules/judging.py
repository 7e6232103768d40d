"""One series against one limit: the former state and new values give the new state and changes.

Exact to the millisecond and the same however the values are cut into pieces. Two facts carry it:
a run (an unbroken known stretch of one verdict) matures at its start plus the delay if it lasts at
least so long, its last instant included; and of runs that mature one after the other only a change
between beyond and within is news.
"""

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from wardian.rules.crops import Limit
from wardian.rules.readings import Times, Values

#: Later than any time.
NEVER_MS = 2**62


class Stand(NamedTuple):
    """The last value of a series: known from ``from_ms`` to ``until_ms`` when no other follows.

    ``for_low`` and ``for_high`` differ only where time that was not seen is never held against the
    crop: light hours and daily light.
    """

    from_ms: int
    until_ms: int
    for_low: float
    for_high: float


class Stretch(NamedTuple):
    """Values of a series as arrays of one length, in strictly rising order of time.

    ``until_ms`` says how long each is known when no other follows.
    """

    from_ms: Times
    until_ms: Times
    for_low: Values
    for_high: Values

    def last(self) -> Stand:
        """Return the last value as plain numbers."""
        return Stand(
            int(self.from_ms[-1]),
            int(self.until_ms[-1]),
            float(self.for_low[-1]),
            float(self.for_high[-1]),
        )

    def between(self, from_ms: int, to_ms: int) -> "Stretch":
        """Return the values with from_ms <= time < to_ms."""
        first, last = self.from_ms.searchsorted((from_ms, to_ms))
        if first == 0 and last == len(self.from_ms):
            return self
        return Stretch(
            self.from_ms[first:last],
            self.until_ms[first:last],
            self.for_low[first:last],
            self.for_high[first:last],
        )

    def preceded_by(self, stand: Stand, at_ms: int) -> "Stretch":
        """Return the values with a standing one put before them, as if it came at ``at_ms``."""
        before = (at_ms, stand.until_ms, stand.for_low, stand.for_high)
        return Stretch(
            *(np.concatenate(([value], column)) for value, column in zip(before, self, strict=True))
        )


class Change(NamedTuple):
    """An alarm raised (or returned) at an instant, by a run since another, at a value."""

    time_ms: int
    raised: bool
    value: float
    since_ms: int


@dataclass(slots=True)
class LimitState:
    """What is remembered of one limit: the verdict, since when its run lasts, and the alarm.

    ``in_doubt`` says that the alarm was last raised by less than its value is uncertain.
    """

    beyond: bool = False
    run_from_ms: int | None = None
    raised: bool = False
    in_doubt: bool = False

    def as_row(self) -> list[Any]:
        """Return the state as plain values."""
        return [self.beyond, self.run_from_ms, self.raised, self.in_doubt]


class Watched(NamedTuple):
    """A limit under judgement and what is remembered of it."""

    limit: Limit
    state: LimitState


class Window(NamedTuple):
    """The span under judgement: changes before ``to_ms`` are told, none before ``floor_ms``."""

    floor_ms: int
    to_ms: int


def judge(
    state: LimitState, limit: Limit, before: Stand | None, values: Stretch, window: Window
) -> list[Change]:
    """Step one limit over the values of a window, and tell the changes in order of time.

    Args:
        state: Changed in place.
        limit: In the quantity's own unit.
        before: The value that stood before the first of ``values``.
        values: All of the window; may be none.
        window: Where judgement begins (a stage's start) and which changes are due.
    """
    column = values.for_high if limit.is_high else values.for_low
    if len(column) == 0:
        return _carried_on(state, limit, before, window)
    if _nothing_new(state, limit, column):
        state.run_from_ms = int(values.from_ms[0])
        return []
    return _judge_runs(state, limit, before, values, window)


def _nothing_new(state: LimitState, limit: Limit, column: Values) -> bool:
    """Whether the state cannot change: quiet and all within, or told and all still beyond.

    Where a run starts is of no interest then.
    """
    if state.beyond != state.raised:
        return False
    if limit.is_high:
        return bool(column.min() > limit.clear if state.beyond else column.max() <= limit.threshold)
    return bool(column.max() < limit.clear if state.beyond else column.min() >= limit.threshold)


def _carried_on(state: LimitState, limit: Limit, before: Stand | None, window: Window) -> list[Change]:
    if state.beyond == state.raised or state.run_from_ms is None or before is None:
        return []
    delay_ms = limit.on_delay_ms if state.beyond else limit.off_delay_ms
    matures_ms = max(window.floor_ms, state.run_from_ms + delay_ms)
    if not (matures_ms < window.to_ms and window.floor_ms < before.until_ms >= matures_ms):
        return []
    state.raised = state.beyond
    value = before.for_high if limit.is_high else before.for_low
    return [Change(matures_ms, state.raised, value, state.run_from_ms)]


class _Runs(NamedTuple):
    """Runs in order of time; ``first`` and ``last`` are places in the values, -1 before them."""

    from_ms: Times
    to_ms: Times
    beyond: NDArray[np.bool_]
    first: NDArray[np.int64]
    last: NDArray[np.int64]


def _judge_runs(
    state: LimitState, limit: Limit, before: Stand | None, values: Stretch, window: Window
) -> list[Change]:
    column = values.for_high if limit.is_high else values.for_low
    runs = _runs(state, limit, before, values)
    delays = np.where(runs.beyond, limit.on_delay_ms, limit.off_delay_ms)
    matures = np.maximum(runs.from_ms + delays, window.floor_ms)
    ripe = (matures <= runs.to_ms) & (matures < window.to_ms) & (runs.to_ms > window.floor_ms)
    changes = []
    for run in np.flatnonzero(ripe):
        if bool(runs.beyond[run]) == state.raised:
            continue
        state.raised = not state.raised
        time_ms = int(matures[run])
        place = int(values.from_ms.searchsorted(time_ms, side="right")) - 1
        place = min(place, int(runs.last[run]))
        value = column[place] if place >= 0 else _stood(before, high=limit.is_high)
        changes.append(Change(time_ms, state.raised, float(value), int(runs.from_ms[run])))
    state.beyond = bool(runs.beyond[-1])
    state.run_from_ms = int(runs.from_ms[-1])
    return changes


def _stood(before: Stand | None, *, high: bool) -> float:
    assert before is not None
    return before.for_high if high else before.for_low


def verdict_runs(
    column: Values, breaks: NDArray[np.bool_], limits: tuple[float, float], *, former: bool, high: bool = True
) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
    """Return the places at which runs of one verdict begin, and each one's verdict.

    Args:
        column: The values.
        breaks: For each value but the last, whether unknown time follows it.
        limits: Beyond the first a value is beyond; from the second on it is within. Between the two
            the former verdict stays.
        former: The verdict before the first value.
        high: Whether being above is being beyond.
    """
    threshold, clear = limits
    beyond = column > threshold if high else column < threshold
    within = column <= clear if high else column >= clear
    zone = beyond.view(np.int8) - within.view(np.int8)
    # Only where the zone changes can a run begin; the rest of the work is on these few places.
    place = np.concatenate(([0], np.flatnonzero((zone[1:] != zone[:-1]) | breaks) + 1))
    zone = zone[place]
    deciding = np.maximum.accumulate(np.where(zone != 0, np.arange(len(place)), -1))
    verdict = np.where(deciding >= 0, zone[deciding] > 0, former)
    begins = np.ones(len(place), dtype=np.bool_)
    begins[1:] = (verdict[1:] != verdict[:-1]) | breaks[place[1:] - 1]
    return place[begins], verdict[begins]


def _runs(state: LimitState, limit: Limit, before: Stand | None, values: Stretch) -> _Runs:
    first, beyond = verdict_runs(
        values.for_high if limit.is_high else values.for_low,
        values.until_ms[:-1] < values.from_ms[1:],
        (limit.threshold, limit.clear),
        former=state.beyond,
        high=limit.is_high,
    )
    last = np.append(first[1:], len(values.from_ms)) - 1
    from_ms = values.from_ms[first]
    to_ms = np.minimum(values.until_ms[last], np.append(from_ms[1:], NEVER_MS))
    runs = _Runs(from_ms, to_ms, beyond, first, last)
    if before is None or state.run_from_ms is None:
        return runs
    if bool(beyond[0]) == state.beyond and before.until_ms >= values.from_ms[0]:
        runs.from_ms[0] = state.run_from_ms
        return runs
    ended_ms = min(before.until_ms, int(values.from_ms[0]))
    carried = (state.run_from_ms, ended_ms, state.beyond, -1, -1)
    return _Runs(*(np.concatenate(([value], column)) for value, column in zip(carried, runs, strict=True)))
