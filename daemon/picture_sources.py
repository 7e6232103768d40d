"""What pictures are made of: a store with its journal and records, or readings of a file judged by a configuration.

The rule of this file: it reads no more readings of a store than the time that is asked for needs.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from wardian.daemon.batch_crops import crop_here
from wardian.daemon.care_seen_noted import seen_of
from wardian.daemon.config import Config, TraySettings
from wardian.daemon.picture import Mark
from wardian.daemon.picture_data import Told, lead_ms
from wardian.daemon.planning import with_records
from wardian.daemon.record_words import DONE, record_words
from wardian.daemon.tongue import Tongue
from wardian.daemon.weeks import Week
from wardian.daemon.words import Teller
from wardian.rules.batches import Batch
from wardian.rules.crops import day_start_ms, local_day, stage_spans
from wardian.rules.ports import JournalEntry, Store
from wardian.rules.records import CARE, STAGE, Record, in_force
from wardian.rules.shares import Span
from wardian.rules.transitions import Transition

#: So many entries from the end of the journal are looked at, more where these do not go back far enough.
_LOOKS: Final = (1_000, 10_000, None)


@dataclass(frozen=True, slots=True)
class Source:
    """A time at the bench: its readings, and what is known of it beside them.

    Attributes:
        config: With what people put on record.
        week: The readings, cut to the time; those from before it that are needed are among them.
        entries: The journal of it, None where the readings are still to be judged.
        marks: Care and changes of stage, by tray.
    """

    config: Config
    week: Week
    entries: Sequence[Mapping[str, Any]] | None
    marks: Mapping[str, Sequence[Mark]]

    @property
    def span(self) -> Span:
        """From the first instant up to the second."""
        return self.week.from_ms, self.week.until_ms

    def told(self, teller: Teller, transitions: Sequence[Transition]) -> Told:
        """Return what is known of the time; where there is no journal, with what judging it told."""
        judged = [teller.fields(one) for one in transitions] if self.entries is None else self.entries
        return Told(self.week.chunk, judged, self.marks)


def of_store(config: Config, store: Store, span: Span) -> Source:
    """Return what a store knows of a time.

    Raises:
        StoreFailed: The store cannot be read.
    """
    records = store.records()
    config = with_records(config, records)
    from_ms = min((lead_ms(tray.plan, span) for tray in config.trays), default=span[0])
    week = Week(config.store_url, None, store.chunk(from_ms, span[1]), (), 0, *span)
    entries = [entry.fields for entry in _journal(store, span[0])]
    return Source(config, week, entries, marks_of(records, seen_of(store.notes()), Tongue.of(config.site)))


def _journal(store: Store, from_ms: int) -> list[JournalEntry]:
    """Return what was written since an instant, and before it what was raised earlier and still stands."""
    entries: list[JournalEntry] = []
    for last in _LOOKS:
        entries = store.journal(last=last)
        if last is None or len(entries) < last or entries[0].time_ms < from_ms:
            break
    earlier = [entry for entry in store.standing() if entry.time_ms < from_ms]
    return [*earlier, *(entry for entry in entries if entry.time_ms >= from_ms)]


def of_week(config: Config, week: Week, from_ms: int | None, to_ms: int | None) -> Source:
    """Return the readings of a file between two instants, the file's own where none is named."""
    from_ms = week.from_ms if from_ms is None else from_ms
    to_ms = week.until_ms if to_ms is None else to_ms
    return Source(config, replace(week, from_ms=from_ms, until_ms=to_ms), None, {})


def tray_then(config: Config, tray: TraySettings, batch: Batch) -> TraySettings:
    """Return a tray as it was meant to be for a batch: for an earlier one by the days of its crop alone."""
    if batch.stuck_ms >= day_start_ms(tray.stuck, config.site.zone):
        return tray
    stuck = local_day(batch.stuck_ms, config.site.zone)
    crop = crop_here(config, batch.crop)
    if crop is None:
        return replace(tray, stuck=stuck, plan=replace(tray.plan, spans=(), stages=()))
    plan = replace(tray.plan, spans=stage_spans(crop, stuck, config.site.zone), stages=())
    return replace(tray, crop=crop, stuck=stuck, plan=plan)


def marks_of(
    records: Sequence[Record], seen: Mapping[str, Sequence[tuple[str, int]]], tongue: Tongue
) -> dict[str, list[Mark]]:
    """Return the care and the changes of stage of each tray, in order of time."""
    found: dict[str, list[Mark]] = {}
    for record in in_force(records):
        if record.kind in (CARE, STAGE):
            mark = Mark(record.time_ms, record.fields["event"], record_words(record, tongue), True)
            found.setdefault(record.tray, []).append(mark)
    for tray, events in seen.items():
        for event, from_ms in events:
            found.setdefault(tray, []).append(Mark(from_ms, event, f"{DONE[event]}, by the traces", False))
    return {tray: sorted(marks) for tray, marks in found.items()}
