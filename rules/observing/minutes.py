"""What a tray's probes showed, minute by minute, over the last three days.

The rule of this file: a minute is closed once, with the readings that were there by then, and looked at only
after it was closed; so what is read from minutes does not hang on the pieces in which readings came.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Final, NamedTuple

import numpy as np

from wardian.rules.readings import Points, Reading, Values, chunk_of, merged

MINUTE_MS: Final = 60_000
#: How much is remembered: what conditions and causes look back over.
KEPT: Final = 3 * 24 * 60
#: Minutes closed in one go.
_AT_ONCE: Final = 12 * 60


class Trace(NamedTuple):
    """Minutes of one quantity, oldest first: lowest, highest and mean reading of each, in its own unit.

    A minute without a reading has the value that still stood from before, or is not a number where it was
    unknown.
    """

    low: Values
    high: Values
    mean: Values


@dataclass(slots=True)
class _Column:
    """One quantity's minutes, and what stands after them: the last reading and when."""

    values: Values
    stood: float = np.nan
    stood_ms: int = 0


@dataclass(slots=True)
class Minutes:
    """The minutes of one tray; ``now_ms`` is the end of the last one that is closed, None before the first.

    ``hold_ms`` is how long a reading stands.
    """

    hold_ms: int
    now_ms: int | None = None
    _pending: dict[str, list[Points]] = field(default_factory=dict)
    _columns: dict[str, _Column] = field(default_factory=dict)
    _place: int = 0
    _filled: int = 0

    def feed(self, quantity: str, points: Points) -> None:
        """Take readings of one quantity; those of a closed minute are left out."""
        if self.now_ms is not None and len(points.times_ms) and points.times_ms.min() < self._filled_ms:
            keep = points.times_ms >= self._filled_ms
            points = Points(points.times_ms[keep], points.values[keep])
        if len(points.times_ms):
            self._pending.setdefault(quantity, []).append(points)

    def take(self, readings: Iterable[Reading]) -> None:
        """Take live readings of this tray."""
        for series, points in chunk_of(readings).items():
            self.feed(series.quantity, points)

    def close(self, until_ms: int) -> Iterator[int]:
        """Close the minutes that ended at or before an instant, one after the other; yield the end of each."""
        yield from self._go_on()
        if self.now_ms is None and not self._begin():
            return
        assert self.now_ms is not None
        self._leap(until_ms)
        while self.now_ms + MINUTE_MS <= until_ms:
            self._fill(min((until_ms - self.now_ms) // MINUTE_MS, _AT_ONCE))
            yield from self._go_on()

    @property
    def next_ms(self) -> int:
        """The end of the minute that is closed next, where it is not leapt over; 0 before the first reading."""
        if self.now_ms is not None:
            return self.now_ms + MINUTE_MS
        first_ms = self._first_pending_ms()
        return first_ms - first_ms % MINUTE_MS + MINUTE_MS if first_ms is not None else 0

    def trace(self, quantity: str, minutes: int) -> Trace:
        """Return up to so many of the last closed minutes of a quantity; empty where it was never read.

        Shape:
            At most ``minutes`` values in each array; all quantities of a tray have the same length.
        """
        column = self._columns.get(quantity)
        if column is None:
            return Trace(*np.empty((3, 0)))
        return Trace(*column.values[:, max(self._place - minutes, 0) : self._place])

    @property
    def quantities(self) -> tuple[str, ...]:
        """The quantities that were read."""
        return tuple(self._columns)

    # ----------------------------------------------------------------------------------- filling

    @property
    def _filled_ms(self) -> int:
        assert self.now_ms is not None
        return self.now_ms + (self._filled - self._place) * MINUTE_MS

    def _go_on(self) -> Iterator[int]:
        while self._place < self._filled:
            assert self.now_ms is not None
            self._place += 1
            self.now_ms += MINUTE_MS
            yield self.now_ms

    def _begin(self) -> bool:
        first_ms = self._first_pending_ms()
        if first_ms is not None:
            self.now_ms = first_ms - first_ms % MINUTE_MS
        return first_ms is not None

    def _first_pending_ms(self) -> int | None:
        pieces = [points for pieces in self._pending.values() for points in pieces]
        return min((int(points.times_ms.min()) for points in pieces), default=None)

    def _leap(self, until_ms: int) -> None:
        """Pass over minutes of which nothing could be remembered."""
        assert self.now_ms is not None
        firsts = [int(points.times_ms.min()) for pieces in self._pending.values() for points in pieces]
        empty = (min([until_ms, *firsts]) - self.now_ms) // MINUTE_MS
        if empty > 2 * KEPT:
            self.now_ms += (empty - KEPT) * MINUTE_MS
            self._columns.clear()
            self._place = self._filled = 0

    def _fill(self, minutes: int) -> None:
        assert self.now_ms is not None
        self._make_room(minutes)
        for quantity in self._pending:
            if quantity not in self._columns:
                self._columns[quantity] = _Column(np.full((3, KEPT + 2 * _AT_ONCE), np.nan))
        for quantity, column in self._columns.items():
            due = self._due(quantity, self.now_ms + minutes * MINUTE_MS)
            column.values[:, self._filled : self._filled + minutes] = self._block(column, due, minutes)
        self._filled += minutes

    def _make_room(self, minutes: int) -> None:
        if self._filled + minutes > KEPT + 2 * _AT_ONCE:
            for column in self._columns.values():
                column.values[:, :KEPT] = column.values[:, self._filled - KEPT : self._filled]
            self._place = self._filled = KEPT

    def _due(self, quantity: str, before_ms: int) -> Points:
        pieces = self._pending.pop(quantity, None)
        if pieces is None:
            return Points(np.empty(0, np.int64), np.empty(0, np.float64))
        points, _ = merged(pieces)
        due = int(points.times_ms.searchsorted(before_ms))
        if due < len(points.times_ms):
            self._pending[quantity] = [Points(points.times_ms[due:], points.values[due:])]
        return Points(points.times_ms[:due], points.values[:due])

    def _block(self, column: _Column, due: Points, minutes: int) -> Values:
        """Return lowest, highest and mean of each minute, what stood filled in; 3 rows."""
        assert self.now_ms is not None
        begins = self.now_ms + np.arange(minutes) * MINUTE_MS
        block = np.full((3, minutes), np.nan)
        stood_ms, stood = np.full(minutes, column.stood_ms), np.full(minutes, column.stood)
        if len(due.times_ms):
            at = (due.times_ms - self.now_ms) // MINUTE_MS
            first = np.flatnonzero(np.diff(at, prepend=-1))
            last = np.append(first[1:], len(at)) - 1
            read = at[first]
            sums, counts = np.add.reduceat(due.values, first), last - first + 1
            block[:, read] = (
                np.minimum.reduceat(due.values, first),
                np.maximum.reduceat(due.values, first),
                sums / counts,
            )
            place = np.searchsorted(read, np.arange(minutes), side="right") - 1
            stood_ms = np.where(place >= 0, due.times_ms[last[place]], column.stood_ms)
            stood = np.where(place >= 0, due.values[last[place]], column.stood)
            column.stood_ms, column.stood = int(due.times_ms[-1]), float(due.values[-1])
        filled = np.where(begins + MINUTE_MS <= stood_ms + self.hold_ms, stood, np.nan)
        return np.where(np.isnan(block), filled, block)
