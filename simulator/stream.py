"""What arrives from a pretended bench, in the order of arrival, up to any instant."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray  # noqa: TC002  # numpy is here anyway

from wardian.rules.readings import Rows, Series, Times
from wardian.simulator.bench import STEP_MS, Bench
from wardian.simulator.probes import PROBES, Probes, Read
from wardian.simulator.setup import BenchSetup


class _Waiting(NamedTuple):
    """Readings that were made and have not arrived yet."""

    rows: Rows
    arrives_ms: Times


class Stream:
    """A bench and its probes; readings come out by the time at which they arrive, some later than they are."""

    def __init__(self, setup: BenchSetup, start_ms: int) -> None:
        """Nothing is read before the start."""
        self.bench = Bench(setup, start_ms)
        self.series = tuple(Series(tray.name, quantity) for tray in setup.trays for quantity in PROBES)
        self._probes = Probes(setup, start_ms)
        self._ahead_ms = 2 * setup.every_ms + STEP_MS
        nothing = np.empty(0, np.int64)
        self._waiting = _Waiting(Rows(self.series, nothing, nothing, np.empty(0)), nothing)

    def until(self, until_ms: int) -> Rows:
        """Return what arrives before an instant and has not been returned yet."""
        read = self._probes.read(self.bench.advance(until_ms + self._ahead_ms))
        waiting = _ordered([self._waiting, *(self._coded(series, one) for series, one in read.items())])
        due = int(waiting.arrives_ms.searchsorted(until_ms))
        self._waiting = _taken(waiting, slice(due, None))
        return _taken(waiting, slice(due)).rows

    def rest(self, before_ms: int) -> Rows:
        """Return readings of before an instant that would arrive later."""
        return _taken(self._waiting, np.flatnonzero(self._waiting.rows.times_ms < before_ms)).rows

    def skip(self, until_ms: int) -> None:
        """Let time pass in which nothing happens and nothing is read."""
        self.bench.skip(until_ms)
        self._probes.skip(until_ms)

    def _coded(self, series: Series, read: Read) -> _Waiting:
        codes = np.full(len(read.times_ms), self.series.index(series), dtype=np.int64)
        return _Waiting(Rows(self.series, codes, read.times_ms, read.values), read.arrives_ms)


def _ordered(pieces: list[_Waiting]) -> _Waiting:
    arrives_ms = np.concatenate([piece.arrives_ms for piece in pieces])
    codes = np.concatenate([piece.rows.codes for piece in pieces])
    # What arrives at one instant comes in the order of the series, whichever piece it was made in.
    order = np.lexsort((codes, arrives_ms))
    rows = Rows(
        pieces[0].rows.series,
        codes[order],
        np.concatenate([piece.rows.times_ms for piece in pieces])[order],
        np.concatenate([piece.rows.values for piece in pieces])[order],
    )
    return _Waiting(rows, arrives_ms[order])


def _taken(waiting: _Waiting, places: "slice | NDArray[np.intp]") -> _Waiting:
    series, codes, times_ms, values = waiting.rows
    rows = Rows(series, codes[places], times_ms[places], values[places])
    return _Waiting(rows, waiting.arrives_ms[places])
