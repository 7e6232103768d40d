"""Why a batch did poorly, worked out from what a store or a file holds: its facts, its findings, and the best batch beside.

The rule of this file: it only looks, and readings go through it piece by piece; what comes too late to be judged counts
here all the same.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from statistics import median
from typing import Any, Final, NamedTuple

from wardian.daemon.config import Config, TraySettings
from wardian.daemon.lives import RELEASED, SUPPRESSED, alarm_of
from wardian.daemon.planning import plan_of
from wardian.daemon.recording import cares
from wardian.daemon.summary import entries_between
from wardian.rules.batches import Batch, batches, open_batch, outcome
from wardian.rules.crops import day_of, day_start_ms, due_ms, stage_spans
from wardian.rules.observing.looks import Care
from wardian.rules.ports import JournalEntry, Store
from wardian.rules.postmortem.became import Became, became
from wardian.rules.postmortem.blindness import unsafe_findings
from wardian.rules.postmortem.facts import AlarmTime, Facts, Heard, facts
from wardian.rules.postmortem.findings import Finding, findings
from wardian.rules.postmortem.gathering import Gathering
from wardian.rules.postmortem.ground import Case, Ground
from wardian.rules.postmortem.warmth import degree_hours
from wardian.rules.proportions import wilson_interval
from wardian.rules.readings import Chunk, chunk_of
from wardian.rules.records import Record, in_force
from wardian.rules.shares import Span
from wardian.rules.transitions import RAISED, RETURNED

_HOUR_MS: Final = 3_600_000
_DAY_MS: Final = 24 * _HOUR_MS
#: Readings are taken from a store in pieces of this length.
_PIECE_MS: Final = 6 * _HOUR_MS
#: No batch is looked at for longer.
MOST_MS: Final = 120 * _DAY_MS
#: So many past batches of the crop say how warm it usually was, and of so many one with readings is looked for.
_PAST: Final = 8
_MOST_REFUSED: Final = 10_000
_ACKNOWLEDGED: Final = "acknowledged"

#: Yields readings of a time, each piece with the instant up to which all are in.
Pieces = Callable[[Span], Iterator[tuple[int, Chunk]]]


class Subject(NamedTuple):
    """What is to be explained: a batch, or what is in a tray without a record; its case and its time."""

    name: str
    tray: str
    case: Case
    span: Span

    @property
    def batch(self) -> Batch | None:
        """Its record, None where nobody made one."""
        return self.case.batch


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

    ``became`` is what became of it; ``is_past_due`` whether roots should have shown by its end.
    """

    subject: Subject
    facts: Facts
    findings: tuple[Finding, ...]
    became: Became
    unsafe: frozenset[str]
    is_past_due: bool
    beside: Beside | None = None
    usual: Usual | None = None


# ------------------------------------------------------------------------------------ what is explained


def subject_of_batch(config: Config, batch: Batch, records: Sequence[Record], now_ms: int) -> Subject:
    """Return a batch as it is to be explained, by the stages of its crop and what was put on record of its tray.

    Raises:
        ValueError: Neither its tray nor its crop is one of the configuration's.
    """
    end_ms = min(batch.closed.time_ms if batch.closed else now_ms, batch.stuck_ms + MOST_MS)
    tray = _settings(config, batch)
    until_then = [one for one in in_force(records) if one.time_ms < end_ms]
    plan = plan_of(tray, until_then, config.site.zone)
    due = due_ms(tray.crop, tray.stuck, config.site.zone)
    case = Case(replace(plan, due_ms=due), tray.crop, config.site.zone, batch)
    return Subject(batch.name, batch.tray, case, (batch.stuck_ms, max(end_ms, batch.stuck_ms)))


def subject_of_tray(tray: TraySettings, config: Config, span: Span, records: Sequence[Record]) -> Subject:
    """Return what is in a tray as it is to be explained, without a record of a batch."""
    plan = plan_of(tray, records, config.site.zone)
    plan = replace(plan, due_ms=tray.plan.due_ms)
    return Subject(tray.name, tray.name, Case(plan, tray.crop, config.site.zone), span)


def from_first_reading(subject: Subject, pieces: Pieces) -> Subject:
    """Return the same from its first reading on, where that is of the first day: cuttings go in by day.

    Where the first day has none, its time is not seen and stays so.
    """
    from_ms, to_ms = subject.span
    first_day = (from_ms, min(from_ms + _DAY_MS, to_ms))
    times_ms = [
        time_ms
        for _, chunk in pieces(first_day)
        for series, points in chunk.items()
        if series.tray == subject.tray
        for time_ms in (
            points.times_ms[(points.times_ms >= from_ms) & (points.times_ms < first_day[1])].tolist()
        )[:1]
    ]
    return subject._replace(span=(min(times_ms, default=from_ms), to_ms))


def days_since_stuck(tray: TraySettings, config: Config, until_ms: int) -> Span:
    """Return the time from the midnight of the day on which a tray's cuttings went in.

    Raises:
        ValueError: That day has not come.
    """
    from_ms = day_start_ms(tray.stuck, config.site.zone)
    if from_ms >= until_ms:
        raise ValueError(
            f"{tray.name}: its cuttings go in on {tray.stuck.isoformat()}; nothing was seen before that"
        )
    return from_ms, min(until_ms, from_ms + MOST_MS)


def _settings(config: Config, batch: Batch) -> TraySettings:
    """Return the settings of a batch's tray as they were for it."""
    tray = next((one for one in config.trays if one.name == batch.tray), None)
    of_crop = [one for one in config.trays if one.crop.name == batch.crop]
    if not of_crop:
        known = ", ".join(sorted({one.crop.name for one in config.trays}))
        raise ValueError(
            f"batch {batch.name}: no tray has the crop {batch.crop} now, so nobody says what it wants; {known} are known"
        )
    crop, zone = of_crop[0].crop, config.site.zone
    stuck = _local_day(batch.stuck_ms, config)
    base = tray or of_crop[0]
    spans = stage_spans(crop, stuck, zone)
    plan = replace(base.plan, tray=batch.tray, spans=spans, due_ms=due_ms(crop, stuck, zone))
    return replace(base, name=batch.tray, crop=crop, stuck=stuck, plan=plan)


def _local_day(time_ms: int, config: Config) -> date:
    epoch = datetime(1970, 1, 1, tzinfo=UTC).date()
    return epoch + timedelta(days=day_of(epoch, config.site.zone, time_ms))


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
    return Explained(subject, found, tuple(named), what, unsafe, is_past_due)


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
    """Return how warm past batches were for as many days as this one lasted."""
    base_c = subject.case.crop.warmth_base_c
    if base_c is None:
        return None
    sums = []
    lasted_ms = subject.span[1] - subject.span[0]
    for batch in sorted(past, key=lambda one: one.stuck_ms, reverse=True)[:_PAST]:
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


def alarm_times(entries: Iterable[JournalEntry]) -> list[AlarmTime]:
    """Return the alarms that entries of the journal tell of, in order of raising; what people recorded is none."""
    found: list[AlarmTime] = []
    place: dict[Any, int] = {}
    for entry in entries:
        fields: Mapping[str, Any] = entry.fields
        if "record" in fields:
            continue
        alarm, event = alarm_of(fields), fields["event"]
        if event == RAISED:
            place[alarm] = len(found)
            found.append(AlarmTime(fields["alarm"], alarm.quantity, fields["priority"], entry.time_ms))
        elif alarm in place:
            found[place[alarm]] = _followed(found[place[alarm]], entry)
    return found


def _followed(alarm: AlarmTime, entry: JournalEntry) -> AlarmTime:
    event = entry.fields["event"]
    if event == RETURNED and alarm.returned_ms is None:
        return alarm._replace(returned_ms=entry.time_ms)
    if event == _ACKNOWLEDGED and alarm.acknowledged_ms is None:
        return alarm._replace(acknowledged_ms=entry.time_ms)
    if event in (SUPPRESSED, RELEASED):
        return alarm._replace(is_held_back=not entry.fields.get("told"))
    return alarm
