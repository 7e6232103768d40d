"""A pretended week of readings and the truth about it, piece by piece."""

from collections.abc import Callable, Iterator

from wardian.rules.readings import Rows
from wardian.simulator.setup import BenchSetup
from wardian.simulator.stream import Stream
from wardian.simulator.wall import MS_PER_HOUR

#: Long enough for arrays to pay, short enough for the memory of a small board.
_PIECE_MS = 6 * MS_PER_HOUR


def week(
    setup: BenchSetup, start_ms: int, end_ms: int, told: Callable[[float], None] = lambda _: None
) -> Iterator[Rows]:
    """Yield the readings between two instants in order of arrival, telling how much is done [0 to 1]."""
    stream = Stream(setup, start_ms)
    for until_ms in [*range(start_ms + _PIECE_MS, end_ms, _PIECE_MS), end_ms]:
        yield stream.until(until_ms)
        told((until_ms - start_ms) / (end_ms - start_ms))
    yield stream.rest(end_ms)
