"""Traces that a test writes by hand: a value a minute, or less often, or unknown."""

from collections.abc import Iterable, Iterator, Mapping

import numpy as np
from numpy.typing import ArrayLike

from wardian.rules.observing.minutes import MINUTE_MS, Minutes
from wardian.rules.readings import Chunk, Points, Series

#: 2026-03-02T12:00Z.
NOON_MS = 1_772_452_800_000
TRAY = "tray-a"


def read_by(values: ArrayLike, every: int = 1, from_ms: int = NOON_MS) -> Points:
    """Return readings 7 s into each minute, or each ``every``-th one; those that are not a number are left out."""
    read = np.asarray(values, np.float64)[::every]
    times = from_ms + 7_000 + np.arange(len(read), dtype=np.int64) * MINUTE_MS * every
    return Points(times[~np.isnan(read)], read[~np.isnan(read)])


def chunk_by(traces: Mapping[str, ArrayLike], every: int = 1) -> Chunk:
    """Return the same as a chunk of one tray."""
    return {Series(TRAY, quantity): read_by(values, every) for quantity, values in traces.items()}


def closing(minutes: Minutes, traces: Mapping[str, ArrayLike], every: int = 1) -> Iterator[int]:
    """Feed traces and close their minutes one by one; yield which it is, from 0 on."""
    for quantity, values in traces.items():
        minutes.feed(quantity, read_by(values, every))
    longest = max(np.size(values) for values in traces.values())
    for now_ms in minutes.close(NOON_MS + longest * MINUTE_MS):
        yield (now_ms - NOON_MS) // MINUTE_MS - 1


def course(*parts: tuple[int, float]) -> list[float]:
    """Return a trace of parts: so many minutes at a value."""
    return [value for minutes, value in parts for _ in range(minutes)]


def ramp(minutes: int, first: float, last: float) -> list[float]:
    """Return a trace that goes evenly from one value to another."""
    return [float(value) for value in np.linspace(first, last, minutes)]


def with_noise(values: Iterable[float], amplitude: float) -> list[float]:
    """Return a trace that flickers by so much from minute to minute, the same each time."""
    return [value + amplitude * (-1) ** place for place, value in enumerate(values)]
