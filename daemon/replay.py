"""A file of readings through the very same rules as the daemon, as one chunk.

The rule of this file: what a replay prints is what the daemon would have said, to the millisecond.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final

from wardian.rules.engine import Engine
from wardian.rules.errors import BadReading
from wardian.rules.plans import TrayPlan
from wardian.rules.ports import Block, Refused
from wardian.rules.readings import Chunk
from wardian.rules.transitions import Transition

#: Refused rows told one by one; the rest is counted.
TOLD_REFUSED: Final = 20


@dataclass(slots=True)
class Replayed:
    """What a file gave."""

    transitions: list[Transition] = field(default_factory=list)
    readings: int = 0
    repeated: int = 0
    refused: int = 0
    refused_rows: list[Refused] = field(default_factory=list)
    not_watched: dict[str, int] = field(default_factory=dict)
    first_ms: int | None = None
    last_ms: int | None = None


def replay(plans: Iterable[TrayPlan], blocks: Iterable[Block], name: str) -> Replayed:
    """Judge a file of readings, called ``name``, from its first to its last accepted one.

    Raises:
        BadReading: The file cannot be read, or holds no reading at all.
    """
    engine = Engine(plans)
    result = Replayed()
    for block in blocks:
        _look_at(block.chunk, engine, result)
        _doubt(block.refused, engine, result)
        engine.feed(block.chunk)
    if result.last_ms is None:
        raise BadReading(name, f"holds no reading ({result.refused} rows refused)")
    result.transitions = engine.advance(result.last_ms + 1)
    result.repeated = sum(tray.repeated for tray in engine.trays.values())
    return result


def _look_at(chunk: Chunk, engine: Engine, result: Replayed) -> None:
    for series, (times_ms, _) in chunk.items():
        first, last = int(times_ms.min()), int(times_ms.max())
        result.first_ms = first if result.first_ms is None else min(first, result.first_ms)
        result.last_ms = last if result.last_ms is None else max(last, result.last_ms)
        result.readings += len(times_ms)
        if series.tray not in engine.trays:
            result.not_watched[series.tray] = result.not_watched.get(series.tray, 0) + len(times_ms)


def _doubt(refused: list[Refused], engine: Engine, result: Replayed) -> None:
    result.refused += len(refused)
    result.refused_rows += refused[: max(TOLD_REFUSED - len(result.refused_rows), 0)]
    for row in refused:
        if row.time_ms is not None and row.tray and row.quantity:
            engine.refuse(row.time_ms, row.tray, row.quantity)
