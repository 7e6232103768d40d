"""Why a batch did poorly, worked out from what a store or a file holds: its facts, its findings, and the best batch beside.

The rule of this file: it only looks, and readings go through it piece by piece; what comes too late to be judged counts
here all the same.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from statistics import median
from typing import Final, NamedTuple

from wardian.daemon.alarm_times import alarm_times
from wardian.daemon.config import Config, TraySettings
from wardian.daemon.postmortem_subjects import (
    Pieces,
    Subject,
    days_since_stuck,
    from_first_reading,
    subject_of_batch,
    subject_of_tray,
)
from wardian.daemon.recording import cares
from wardian.daemon.summary import entries_between
from wardian.rules.batches import Batch, batches, open_batch, outcome
from wardian.rules.observing.looks import Care
from wardian.rules.ports import Store
from wardian.rules.postmortem.became import Became, became
from wardian.rules.postmortem.blindness import unsafe_findings
from wardian.rules.postmortem.facts import Facts, Heard, facts
from wardian.rules.postmortem.findings import Finding, findings
from wardian.rules.postmortem.gathering import Gathering
from wardian.rules.postmortem.ground import Ground
from wardian.rules.postmortem.warmth import degree_hours
from wardian.rules.proportions import wilson_interval
from wardian.rules.readings import Chunk, chunk_of
from wardian.rules.records import Record, in_force
from wardian.rules.shares import Span

_HOUR_MS: Final = 3_600_000
#: Readings are taken from a store in pieces of this length.
_PIECE_MS: Final = 6 * _HOUR_MS
#: So many past batches of the crop say how warm it usually was, and of so many one with readings is looked for.
_PAST: Final = 8
_MOST_REFUSED: Final = 10_000


class Around(NamedTuple):
    """What an explanation is made from: readings, what was heard beside them, and what people put on record."""

    pieces: Pieces
    heard: Callable[[str, Span], Heard]
    records: Sequence[Record]


@dataclass(frozen=True, slots=True)
class Beside:
    """The best batch of the same crop, and its facts."""

    batch: Batch
    facts: Facts


class Usual(NamedTuple):
    """The median of the kelvin-hours of past batches over the same days, and how many there were."""

    degree_h: float
    batches: int


@dataclass(frozen=True, slots=True)
class Explained:
    """Everything that a page about a batch says.

    ``became`` is what became of it; ``is_past_due`` whether roots should have shown by its end; ``notes`` are the records
    of its time in which somebody said something in words.
    """

    subject: Subject
    facts: Facts
    findings: tuple[Finding, ...]
    became: Became
    unsafe: frozenset[str]
    is_past_due: bool
    notes: tuple[Record, ...] = ()
    beside: Beside | None = None
    usual: Usual | None = None


# --------------------------------------------------------------------------------------- how it is done


def explain(subject: Subject, around: Around) -> Explained:
    """Return the facts and findings of a batch, with nothing beside them."""
    ground = _ground(subject, around)
    heard = around.heard(subject.tray, subject.span)
    found = facts(ground, heard, subject.case.crop.warmth_base_c)
    due = subject.case.plan.due_ms
    is_past_due = due is not None and subject.span[1] >= due
    what, unsafe = became(subject.case, is_past_due=is_past_due), unsafe_findings(found.blind)
    named = findings(ground, found.light, what, unsafe)
    notes = tuple(one for one in in_force(around.records) if one.why and _is_about(one, subject))
    return Explained(subject, found, tuple(named), what, unsafe, is_past_due, notes)


def _is_about(record: Record, subject: Subject) -> bool:
    """Return whether a record is about a batch, or about its tray in its time."""
    if record.batch:
        return subject.batch is not None and record.batch == subject.name
    return record.tray == subject.tray and subject.span[0] <= record.time_ms < subject.span[1]


def explain_beside(subject: Subject, around: Around, config: Config) -> Explained:
    """Return the same with the best batch of the crop beside it, and how warm past batches of it usually were."""
    alone = explain(subject, around)
    past = _past(subject, around.records)
    best = next(_with_readings(past, around, config), None)
    return replace(alone, beside=best, usual=_usual(subject, past, around, config))


def _past(subject: Subject, records: Sequence[Record]) -> list[Batch]:
    """Return closed batches of the same crop, the surest success first."""
    same = [
        one
        for one in batches(records).values()
        if one.closed and one.crop == subject.case.crop.name and one.name != subject.name
    ]
    return sorted(same, key=_surely_rooted, reverse=True)


def _surely_rooted(batch: Batch) -> float:
    success = outcome(batch).success
    return wilson_interval(success)[0] if success else 0.0


def _with_readings(past: Iterable[Batch], around: Around, config: Config) -> Iterator[Beside]:
    for batch in list(past)[:_PAST]:
        explained = explain(subject_of_batch(config, batch, around.records, batch.stuck_ms), around)
        if explained.facts.readings:
            yield Beside(batch, explained.facts)


def _usual(subject: Subject, past: Sequence[Batch], around: Around, config: Config) -> Usual | None:
    """Return how warm past batches were for as many days as this one lasted, of those that lasted as long."""
    base_c = subject.case.crop.warmth_base_c
    if base_c is None:
        return None
    sums = []
    lasted_ms = subject.span[1] - subject.span[0]
    as_long = [one for one in past if one.closed and one.closed.time_ms - one.stuck_ms >= lasted_ms]
    for batch in sorted(as_long, key=lambda one: one.stuck_ms, reverse=True)[:_PAST]:
        other = subject_of_batch(config, batch, around.records, batch.stuck_ms)
        ground = _ground(other._replace(span=(batch.stuck_ms, batch.stuck_ms + lasted_ms)), around)
        if ground.seen.readings:
            sums.append(degree_hours(ground, base_c))
    return Usual(median(sums), len(sums)) if sums else None


def _ground(subject: Subject, around: Around) -> Ground:
    known = [care for tray, care in _cares(around.records, subject.span) if tray == subject.tray]
    gathering = Gathering(subject.tray, subject.case.plan.hold_ms, subject.span, known)
    for until_ms, chunk in around.pieces(subject.span):
        gathering.feed(chunk)
        gathering.close(until_ms)
    return Ground(subject.case, gathering.seen())


def _cares(records: Sequence[Record], span: Span) -> Iterator[tuple[str, Care]]:
    return ((tray, care) for tray, care in cares(records, span[0]) if care.from_ms < span[1])


# ------------------------------------------------------------------------------------------ from a store


def around_store(store: Store, records: Sequence[Record]) -> Around:
    """Return what explanations are made from, in a store.

    Raises:
        StoreFailed: From its functions, where the store cannot be read.
    """

    def pieces(span: Span) -> Iterator[tuple[int, Chunk]]:
        for from_ms in range(span[0] - _HOUR_MS, span[1], _PIECE_MS):
            to_ms = min(from_ms + _PIECE_MS, span[1])
            has_late = bool(store.late(from_ms, to_ms))
            yield to_ms, chunk_of(store.readings(from_ms, to_ms)) if has_late else store.chunk(from_ms, to_ms)

    def heard(tray: str, span: Span) -> Heard:
        refused: dict[str, int] = {}
        for _, one in store.refused(_MOST_REFUSED):
            if one.tray == tray and one.quantity and one.time_ms and span[0] <= one.time_ms < span[1]:
                refused[one.quantity] = refused.get(one.quantity, 0) + 1
        own = [entry for entry in entries_between(store, span) if entry.tray == tray]
        return Heard(alarm_times(own), refused)

    return Around(pieces, heard, records)


def in_tray(config: Config, tray: TraySettings, around: Around, now_ms: int) -> Subject:
    """Return what is in a tray now: its open batch, else what went in on the day that its configuration says.

    Raises:
        ValueError: Nothing is in it yet.
    """
    there = open_batch(batches(around.records), tray.name)
    if there is not None and there.crop == tray.crop.name:
        return subject_of_batch(config, there, around.records, now_ms)
    subject = subject_of_tray(tray, config, days_since_stuck(tray, config, now_ms), around.records)
    return from_first_reading(subject, around.pieces)
