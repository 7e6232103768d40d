"""Readings of some time as a whole: of a file or of a store, with the truth about them where it is known."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import islice
from typing import Final

import numpy as np

from wardian.daemon.replay import NamedTruth, refuse_other_readings
from wardian.rules.errors import BadReading
from wardian.rules.plans import TrayPlan
from wardian.rules.ports import Block
from wardian.rules.readings import Chunk, Points, Reading, Series, chunk_of
from wardian.rules.scoring import Watch

#: On the way to arrays.
_READINGS_AT_ONCE: Final = 50_000


@dataclass(frozen=True, slots=True)
class Week:
    """Readings of some time, all of them, as arrays; ``refused`` are time, tray and quantity."""

    name: str
    truth: NamedTruth | None
    chunk: Chunk
    refused: tuple[tuple[int, str, str], ...]
    refused_rows: int
    from_ms: int
    until_ms: int

    @property
    def readings(self) -> int:
        """How many readings there are."""
        return sum(len(points.times_ms) for points in self.chunk.values())

    def watch(self, plans: Iterable[TrayPlan] = ()) -> Watch:
        """Return what is judged of it by some plans."""
        trays = {series.tray for series in self.chunk}
        return Watch({plan.tray: plan for plan in plans}, trays, self.from_ms, self.until_ms)


def gather(blocks: Iterable[Block], name: str, truth: NamedTruth | None = None) -> Week:
    """Return the readings of a file, or of a store, called ``name``, and the truth about them.

    Raises:
        BadReading: It cannot be read, holds no reading at all, or the truth is about other readings.
    """
    pieces: dict[Series, list[Points]] = {}
    refused: list[tuple[int, str, str]] = []
    rows = 0
    for block in blocks:
        rows += len(block.refused)
        for series, points in block.chunk.items():
            pieces.setdefault(series, []).append(points)
        refused += [
            (one.time_ms, one.tray, one.quantity)
            for one in block.refused
            if one.time_ms is not None and one.tray and one.quantity
        ]
    if not pieces:
        raise BadReading(name, f"holds no reading ({rows} rows refused)")
    chunk = {series: Points(*map(np.concatenate, zip(*some, strict=True))) for series, some in pieces.items()}
    week = Week(
        name,
        truth,
        chunk,
        tuple(refused),
        rows,
        from_ms=min(int(points.times_ms.min()) for points in chunk.values()),
        until_ms=max(int(points.times_ms.max()) for points in chunk.values()) + 1,
    )
    if truth:
        refuse_other_readings(truth, week.watch())
    return week


def in_blocks(readings: Iterable[Reading]) -> Iterator[Block]:
    """Yield readings one by one as a file's are: in blocks, so that few of them are in memory twice."""
    rest = iter(readings)
    while some := list(islice(rest, _READINGS_AT_ONCE)):
        yield Block(chunk_of(some), len(some), [])
