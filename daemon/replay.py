"""A file of readings through the very same rules as the daemon, as one chunk.

The rule of this file: what a replay prints is what the daemon would have said, to the millisecond.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from wardian.daemon.chronicle import Chronicle, Entry
from wardian.rules.engine import Engine
from wardian.rules.errors import BadReading
from wardian.rules.excursions import paired, without_delays
from wardian.rules.plans import TrayPlan
from wardian.rules.ports import Block, Refused
from wardian.rules.readings import Chunk
from wardian.rules.scores import Score
from wardian.rules.scoring import Watch, score, why_of_other_readings
from wardian.rules.transitions import Transition
from wardian.rules.truth import Truth

#: Refused rows told one by one; the rest is counted.
TOLD_REFUSED: Final = 20


class NamedTruth(NamedTuple):
    """A truth, and the name of its file."""

    name: str
    truth: Truth


class NamedBlocks(NamedTuple):
    """Readings piece by piece, and the name of their file."""

    name: str
    blocks: Iterable[Block]


@dataclass(slots=True)
class Replayed:
    """What a file gave."""

    transitions: list[Transition] = field(default_factory=list)
    readings: int = 0
    repeated: int = 0
    refused: int = 0
    refused_rows: list[Refused] = field(default_factory=list)
    not_watched: dict[str, int] = field(default_factory=dict)
    trays: set[str] = field(default_factory=set)
    first_ms: int | None = None
    last_ms: int | None = None
    score: Score | None = None
    #: What the journal would say with all that shows in the traces; None where only limits were judged.
    entries: list[Entry] | None = None


def replay(
    plans: Iterable[TrayPlan],
    readings: NamedBlocks,
    truth: NamedTruth | None = None,
    chronicle: Chronicle | None = None,
) -> Replayed:
    """Judge a file of readings from its first to its last accepted one.

    With the truth about them the result has a score, too; with a chronicle also what shows in the traces.

    Raises:
        BadReading: The file cannot be read, holds no reading at all, or the truth is about others.
    """
    by_tray = {plan.tray: plan for plan in plans}
    engine = Engine(by_tray.values())
    at_once = Engine(map(without_delays, by_tray.values() if truth else ()))
    result = Replayed()
    for block in readings.blocks:
        _look_at(block.chunk, engine, result)
        _doubt(block.refused, engine, result)
        engine.feed(block.chunk)
        at_once.feed(block.chunk)
        if chronicle:
            chronicle.observer.feed(block.chunk)
    if result.first_ms is None or result.last_ms is None:
        raise BadReading(readings.name, f"holds no reading ({result.refused} rows refused)")
    until_ms = result.last_ms + 1
    watch = Watch(by_tray, result.trays, result.first_ms, until_ms)
    if truth:
        refuse_other_readings(truth, watch)
    result.transitions = engine.advance(until_ms)
    if chronicle:
        result.entries = list(chronicle.write(result.transitions, until_ms))
        result.transitions = [one.transition for one in result.entries if one.transition]
    result.repeated = sum(tray.repeated for tray in engine.trays.values())
    if truth:
        beyond = paired(at_once.advance(until_ms), until_ms)
        result.score = score(truth.truth, result.transitions, beyond, watch)
    return result


def refuse_other_readings(named: NamedTruth, watch: Watch) -> None:
    """Refuse a truth that is not about the readings that are judged.

    Raises:
        BadReading: It is about others.
    """
    why = why_of_other_readings(named.truth, watch)
    if why:
        raise BadReading(f"truth {named.name}", f"does not belong to these readings: {why}")


def _look_at(chunk: Chunk, engine: Engine, result: Replayed) -> None:
    for series, (times_ms, _) in chunk.items():
        first, last = int(times_ms.min()), int(times_ms.max())
        result.first_ms = first if result.first_ms is None else min(first, result.first_ms)
        result.last_ms = last if result.last_ms is None else max(last, result.last_ms)
        result.readings += len(times_ms)
        result.trays.add(series.tray)
        if series.tray not in engine.trays:
            result.not_watched[series.tray] = result.not_watched.get(series.tray, 0) + len(times_ms)


def _doubt(refused: list[Refused], engine: Engine, result: Replayed) -> None:
    result.refused += len(refused)
    result.refused_rows += refused[: max(TOLD_REFUSED - len(result.refused_rows), 0)]
    for row in refused:
        if row.time_ms is not None and row.tray and row.quantity:
            engine.refuse(row.time_ms, row.tray, row.quantity)
