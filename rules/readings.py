"""Readings, one by one as a wire brings them and as arrays as the engine judges them."""

from collections.abc import Iterable, Sequence
from typing import NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

#: Milliseconds since 1970 UTC.
Times: TypeAlias = NDArray[np.int64]
#: In the quantity's own unit.
Values: TypeAlias = NDArray[np.float64]


class Series(NamedTuple):
    """What one line on a chart is: a quantity of a tray."""

    tray: str
    quantity: str


class Reading(NamedTuple):
    """One accepted value in its quantity's own unit, at milliseconds since 1970 UTC."""

    time_ms: int
    tray: str
    quantity: str
    value: float


class Points(NamedTuple):
    """Readings of one series, in the order of arrival: two arrays of one length."""

    times_ms: Times
    values: Values


class Rows(NamedTuple):
    """Readings of many series in the order of arrival: three arrays of one length.

    ``codes`` are places in ``series``.
    """

    series: tuple[Series, ...]
    codes: NDArray[np.int64]
    times_ms: Times
    values: Values


#: Readings of many series. Only the order within a series matters.
Chunk: TypeAlias = dict[Series, Points]


def points(times_ms: Iterable[int], values: Iterable[float]) -> Points:
    """Return readings of one series as arrays."""
    return Points(
        np.fromiter(times_ms, dtype=np.int64),
        np.fromiter(values, dtype=np.float64),
    )


def chunk_of(readings: Iterable[Reading]) -> Chunk:
    """Return readings in the order of arrival as a chunk."""
    gathered: dict[Series, tuple[list[int], list[float]]] = {}
    for time_ms, tray, quantity, value in readings:
        times, values = gathered.setdefault(Series(tray, quantity), ([], []))
        times.append(time_ms)
        values.append(value)
    return {series: points(*columns) for series, columns in gathered.items()}


def joined(chunks: Iterable[Chunk]) -> Chunk:
    """Return chunks as one, each series in the order given."""
    pieces: dict[Series, list[Points]] = {}
    for chunk in chunks:
        for series, some in chunk.items():
            pieces.setdefault(series, []).append(some)
    return {series: Points(*map(np.concatenate, zip(*some, strict=True))) for series, some in pieces.items()}


def count(pieces: Iterable[Points]) -> int:
    """Return how many readings some pieces of a series hold."""
    return sum(len(piece.times_ms) for piece in pieces)


def merged(pieces: Sequence[Points]) -> tuple[Points, int]:
    """Return pieces of a series as one, in strictly rising order of time, and how many repeats that leaves out.

    Of readings of one instant the first stands.
    """
    times, values = pieces[0] if len(pieces) == 1 else map(np.concatenate, zip(*pieces, strict=True))
    if len(times) < 2 or (times[1:] > times[:-1]).all():
        return Points(times, values), 0
    order = np.argsort(times, kind="stable")
    times, values = times[order], values[order]
    first = np.concatenate(([True], times[1:] != times[:-1]))
    return Points(times[first], values[first]), len(first) - int(first.sum())
