"""What is to be explained: a batch on record, or what is in a tray, as it was meant to be kept and from when to when.

The rule of this file: a batch is held against what its crop wants by the configuration that holds now.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import Final, NamedTuple

from wardian.daemon.batch_crops import crop_here
from wardian.daemon.config import Config, TraySettings
from wardian.daemon.planning import plan_of
from wardian.rules.batches import Batch
from wardian.rules.crops import day_start_ms, due_ms, local_day, stage_spans
from wardian.rules.postmortem.ground import Case
from wardian.rules.readings import Chunk
from wardian.rules.records import Record
from wardian.rules.shares import Span

_DAY_MS: Final = 86_400_000
#: No batch is looked at for longer.
MOST_MS: Final = 120 * _DAY_MS

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


def subject_of_batch(config: Config, batch: Batch, records: Sequence[Record], now_ms: int) -> Subject:
    """Return a batch as it is to be explained, by the stages of its crop and what was put on record of its tray.

    Raises:
        ValueError: Neither the configuration nor the library knows its crop.
    """
    end_ms = min(batch.closed.time_ms if batch.closed else now_ms, batch.stuck_ms + MOST_MS)
    tray = _settings(config, batch)
    # What was corrected or withdrawn since is, whenever that was.
    until_then = [one for one in records if one.time_ms < end_ms or one.corrects is not None]
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
    """Return the settings of a batch's tray as they were for it; those of another where that tray is no more."""
    tray = next((one for one in config.trays if one.name == batch.tray), config.trays[0])
    crop = tray.crop if tray.crop.name == batch.crop else crop_here(config, batch.crop)
    if crop is None:
        raise ValueError(
            f"batch {batch.name}: {batch.crop} is no crop here or of the library any more, so nobody says what it wants"
        )
    zone, stuck = config.site.zone, local_day(batch.stuck_ms, config.site.zone)
    due = due_ms(crop, stuck, zone)
    plan = replace(tray.plan, tray=batch.tray, spans=stage_spans(crop, stuck, zone), due_ms=due)
    return replace(tray, name=batch.tray, crop=crop, stuck=stuck, plan=plan)
