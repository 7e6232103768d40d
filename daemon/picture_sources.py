"""What pictures are made of: a store with its journal and records, or readings of a file judged by a configuration.

The rule of this file: it reads no more of a store than the time that is asked for.
"""

from collections.abc import Mapping, Sequence

from wardian.daemon.care_seen_noted import seen_of
from wardian.daemon.config import Config
from wardian.daemon.picture import Mark
from wardian.daemon.picture_data import Told, lead_ms
from wardian.daemon.planning import with_records
from wardian.daemon.record_words import DONE, record_words
from wardian.daemon.tongue import Tongue
from wardian.rules.ports import Store
from wardian.rules.records import CARE, STAGE, Record, in_force
from wardian.rules.shares import Span


def told_by_store(config: Config, store: Store, span: Span) -> tuple[Config, Told]:
    """Return what a store knows of a time, and the configuration with what people put on record.

    Raises:
        StoreFailed: The store cannot be read.
    """
    records = store.records()
    config = with_records(config, records)
    from_ms = min((lead_ms(tray.plan, span) for tray in config.trays), default=span[0])
    entries = [entry.fields for entry in store.journal()]
    marks = marks_of(records, seen_of(store.notes()), Tongue.of(config.site))
    return config, Told(store.chunk(from_ms, span[1]), entries, marks)


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
