"""What the probes of one tray showed from sticking on, kept minute by minute, with the care that shows in it.

The rule of this file: readings may be fed day by day and are forgotten once their minutes are closed, so that three
weeks of readings every ten seconds take no more memory than their minutes.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from wardian.rules.observing.care_seen import CareSeen
from wardian.rules.observing.looks import Care
from wardian.rules.observing.minutes import MINUTE_MS, Minutes
from wardian.rules.readings import Chunk, Points, Times, Values
from wardian.rules.shares import Span

#: Minutes that are closed in one go: no more than the three days that ``Minutes`` remembers.
_AT_ONCE_MS = 24 * 60 * MINUTE_MS
#: Readings from before the time that are looked at: what stood at its beginning.
_BEFORE_MS = 60 * MINUTE_MS
#: Care that began so long ago is not made longer any more.
_OVER_MS = 2 * 60 * MINUTE_MS


class Column(NamedTuple):
    """One quantity minute by minute: its mean, not a number where it was unknown, and whether it moved.

    It did not move where every reading of the minute was the last one of the minute before.
    """

    mean: Values
    moved: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Seen:
    """What was seen of a tray in a time.

    Attributes:
        span: From the first minute, included, up to the end of the last. [ms]
        columns: By measured quantity, one value a minute.
        care: What was done, recorded or seen, in order of beginning.
        cover_off: For each minute, whether the cover was seen to be off.
        readings: How many readings it was made of.
    """

    span: Span
    columns: dict[str, Column]
    care: tuple[Care, ...]
    cover_off: NDArray[np.bool_]
    readings: int

    @property
    def minutes(self) -> int:
        """How many minutes it has."""
        return (self.span[1] - self.span[0]) // MINUTE_MS

    @property
    def times_ms(self) -> Times:
        """The beginning of each minute."""
        return self.span[0] + np.arange(self.minutes, dtype=np.int64) * MINUTE_MS

    @property
    def known_minutes(self) -> int:
        """How many minutes there are up to the last one in which anything was known."""
        known = [np.flatnonzero(~np.isnan(column.mean)) for column in self.columns.values()]
        return max((int(places[-1]) + 1 for places in known if len(places)), default=0)

    def mean(self, quantity: str) -> Values:
        """Return one quantity minute by minute; not a number where it was unknown or never read."""
        column = self.columns.get(quantity)
        return column.mean if column else np.full(self.minutes, np.nan)


@dataclass(slots=True)
class Gathering:
    """Gathers what was seen of a tray in a time, from whole minutes of it."""

    tray: str
    hold_ms: int
    span: Span
    recorded: Iterable[Care] = ()
    _care: CareSeen = field(default_factory=CareSeen)
    _columns: dict[str, Column] = field(default_factory=dict)
    _events: dict[tuple[str, int], Care] = field(default_factory=dict)
    _readings: int = 0
    _minutes: Minutes = field(init=False)
    _cover_off: NDArray[np.bool_] = field(init=False)

    def __post_init__(self) -> None:
        """Begin with nothing seen; the time is widened to whole minutes."""
        from_ms, to_ms = self.span
        self.span = from_ms - from_ms % MINUTE_MS, to_ms + -to_ms % MINUTE_MS
        self._minutes = Minutes(self.hold_ms)
        self._cover_off = np.zeros((self.span[1] - self.span[0]) // MINUTE_MS, dtype=np.bool_)
        for care in self.recorded:
            self._care.record(care)

    def feed(self, chunk: Chunk) -> None:
        """Take readings; those of other trays and other times are left out."""
        for series, points in chunk.items():
            if series.tray != self.tray:
                continue
            times_ms = points.times_ms
            self._readings += int(np.count_nonzero((times_ms >= self.span[0]) & (times_ms < self.span[1])))
            near = (times_ms >= self.span[0] - _BEFORE_MS) & (times_ms < self.span[1])
            self._minutes.feed(series.quantity, Points(times_ms[near], points.values[near]))

    def close(self, until_ms: int) -> None:
        """Close the minutes before an instant: all their readings are in."""
        until_ms = min(until_ms, self.span[1])
        if self._minutes.next_ms == 0:
            return
        begun_ms = self._minutes.next_ms - MINUTE_MS
        for day_ms in [*range(begun_ms + _AT_ONCE_MS, until_ms, _AT_ONCE_MS), until_ms]:
            closed = [(end_ms, self._look()) for end_ms in self._minutes.close(day_ms)]
            self._keep(closed)

    def seen(self) -> Seen:
        """Return what was seen, with all minutes closed."""
        self.close(self.span[1])
        self._remember(self.span[1] + _OVER_MS)
        care = sorted(self._events.values(), key=lambda one: one.from_ms)
        inside = tuple(one for one in care if self.span[0] <= one.from_ms < self.span[1])
        return Seen(self.span, self._columns, inside, self._cover_off, self._readings)

    def _look(self) -> bool:
        self._care.step(self._minutes)
        return self._care.lift is not None and self._care.lift.is_off

    def _keep(self, closed: list[tuple[int, bool]]) -> None:
        """Keep what the minutes showed that were just closed, as far as they lie in the time."""
        if not closed:
            return
        end_ms, count = closed[-1][0], len(closed)
        last = (end_ms - self.span[0]) // MINUTE_MS
        first = max(last - count, 0)
        if last > first:
            self._cover_off[first:last] = [off for _, off in closed][count - (last - first) :]
            for quantity in self._minutes.quantities:
                self._fill(quantity, first, last)
        self._remember(end_ms)

    def _fill(self, quantity: str, first: int, last: int) -> None:
        if quantity not in self._columns:
            size = len(self._cover_off)
            self._columns[quantity] = Column(np.full(size, np.nan), np.zeros(size, dtype=np.bool_))
        column = self._columns[quantity]
        low, high, mean = self._minutes.trace(quantity, last - first)
        column.mean[first:last] = mean
        before = np.concatenate(([column.mean[first - 1] if first else np.nan], mean[:-1]))
        column.moved[first:last] = (low != high) | (mean != before)

    def _remember(self, now_ms: int) -> None:
        for care in self._care.events:
            if care.from_ms < now_ms - _OVER_MS:
                self._events.setdefault((care.event, care.from_ms), care)
