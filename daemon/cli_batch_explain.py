"""What ``wardian batch explain`` does: say what was out of line in a batch's time, and what may be behind it."""

import argparse
import json
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

from wardian.daemon import recorded, visiting, wiring
from wardian.daemon.alarm_times import alarm_times
from wardian.daemon.batch_records import batch_named
from wardian.daemon.config import Config
from wardian.daemon.exit_status import DONE
from wardian.daemon.postmortem import Around, Explained, around_store, explain_beside, in_tray
from wardian.daemon.postmortem import explain as explain_alone
from wardian.daemon.postmortem_json import explained_json
from wardian.daemon.postmortem_subjects import (
    days_since_stuck,
    from_first_reading,
    subject_of_batch,
    subject_of_tray,
)
from wardian.daemon.putting import tray_named
from wardian.daemon.report_postmortem import explained_lines
from wardian.daemon.tongue import Tongue
from wardian.rules.ports import JournalEntry
from wardian.rules.postmortem.facts import Heard
from wardian.rules.readings import Chunk
from wardian.rules.shares import Span


def explain(config: Config, options: argparse.Namespace) -> int:
    """Print the page about a batch.

    Raises:
        ValueError: There is no such batch or tray, or it is not said which one is meant.
    """
    if (options.batch is None) == (options.tray is None):
        raise ValueError("the name of a batch, or --tray with the name of a tray, is accepted")
    one = _of_file(config, options) if options.readings else _of_store(config, options)
    words, tongue = wiring.words_of_findings(), Tongue.of(config.site)
    if options.json:
        print(json.dumps(explained_json(one, words, tongue), ensure_ascii=False, allow_nan=False))
    else:
        for line in explained_lines(one, words, tongue):
            print(line)
    return DONE


def _of_store(config: Config, options: argparse.Namespace) -> Explained:
    with ExitStack() as opened:
        store, now_ms = visiting.look(config, opened)
        records = store.records()
        around = around_store(store, records)
        if options.tray is not None:
            subject = in_tray(config, tray_named(config, options.tray), around, now_ms)
        else:
            subject = subject_of_batch(config, batch_named(records, options.batch), records, now_ms)
        return explain_beside(subject, around, config)


def _of_file(config: Config, options: argparse.Namespace) -> Explained:
    """Return what a file of readings tells; a batch's record is from the store."""
    path = Path(options.readings)
    records = visiting.records(config) if options.batch is not None else []
    batch = batch_named(records, options.batch) if options.batch is not None else None
    tray = tray_named(config, options.tray if batch is None else batch.tray)
    chunk, refused = recorded.of_tray(path, tray.name)
    until_ms = max(int(points.times_ms.max()) for points in chunk.values()) + 1

    def pieces(span: Span) -> Iterator[tuple[int, Chunk]]:
        yield span[1], chunk

    if batch is None:
        subject = subject_of_tray(tray, config, days_since_stuck(tray, config, until_ms), records)
        subject = from_first_reading(subject, pieces)
    else:
        subject = subject_of_batch(config, batch, records, until_ms)
    judged = replace(config, trays=(replace(tray, plan=subject.case.plan),))
    told = recorded.replay(judged, path, chronicle=wiring.chronicle(judged)).entries or []
    entries = [JournalEntry(0, entry.time_ms, entry.tray, entry.fields) for entry in told]
    doubts = Counter(row.quantity for row in refused if row.quantity)

    def heard(_tray: str, span: Span) -> Heard:
        return Heard(alarm_times(one for one in entries if span[0] <= one.time_ms < span[1]), doubts)

    return explain_alone(subject, Around(pieces, heard, records))
