"""What ``wardian records`` and ``wardian note`` do, and what all commands share that put something on record."""

import argparse
import json
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from wardian.daemon import recorded, visiting, wiring
from wardian.daemon.acts import one_line
from wardian.daemon.batch_records import refuse_withdrawal
from wardian.daemon.cli_alarms import LATER, WHEN, whoever
from wardian.daemon.config import Config
from wardian.daemon.exit_status import CANNOT_BE_USED, DONE
from wardian.daemon.putting import Make, Said, corrected, correcting, record_of, tray_named
from wardian.daemon.record_words import record_words
from wardian.daemon.staging_acts import refuse_gap
from wardian.daemon.tongue import Tongue, utc_text
from wardian.daemon.weighing import refuse_masses_withdrawal
from wardian.rules.documents import nearest
from wardian.rules.records import BATCH, CLOSED, MASSES, NOTE, STAGE, WITHDRAWN, Record, in_force

#: By kind, what refuses to withdraw a record, with a ValueError.
_REFUSE: Final[Mapping[str, Callable[[Config, Record, Sequence[Record]], None]]] = {
    STAGE: refuse_gap,
    MASSES: refuse_masses_withdrawal,
    BATCH: refuse_withdrawal,
    CLOSED: refuse_withdrawal,
}


def records(options: argparse.Namespace) -> int:
    """List what people put on record, or withdraw one."""
    config = wiring.load_config(Path(options.config))
    if options.act is None:
        return _list(config, options)
    if options.all or options.tray is not None or options.batch is not None:
        return _wrong("--all, --tray and --batch say what to list, and withdraw takes a number alone")
    who, why = one_line(options.who or "") or whoever(), one_line(options.why)

    def make(known: Sequence[Record], now_ms: int) -> list[Record]:
        found = corrected(known, options.number)
        if found.kind in _REFUSE:
            _REFUSE[found.kind](config, found, known)
        record = record_of(WITHDRAWN, Said(who, why, corrects=found.number), now_ms)
        return [record._replace(tray=found.tray, batch=found.batch)]

    return put_on_record("records", config, options, make)


def note(options: argparse.Namespace) -> int:
    """Put a note on record."""
    config = wiring.load_config(Path(options.config))
    options.why = options.words

    def make(known: Sequence[Record], now_ms: int) -> list[Record]:
        tray, said = tray_named(config, options.tray), said_by(options)
        if not said.why:
            raise ValueError("a note needs words")
        return [correcting(NOTE, said, known, now_ms)._replace(tray=tray.name)]

    return put_on_record("note", config, options, make)


# ------------------------------------------------------------------------------- putting on record


def said_by(options: argparse.Namespace) -> Said:
    """Return who says it, why, when it happened and what it corrects.

    Raises:
        ValueError: The time is none.
    """
    at_ms = recorded.instant_ms(options.at) if options.at else None
    who = one_line(options.who or "") or whoever()
    return Said(who, one_line(options.why), at_ms, options.corrects)


def put_on_record(command: str, config: Config, options: argparse.Namespace, make: Make) -> int:
    """Put on record what a command makes, say so, and return its exit status."""
    try:
        put_down = visiting.put_on_record(config, make)
    except ValueError as error:
        print(f"wardian {command}: {error}", file=sys.stderr)
        return CANNOT_BE_USED
    (record,) = put_down.records
    if options.json:
        print(_dumps(record_json(record) | {"is_watching": put_down.is_watching}))
        return DONE
    tongue = Tongue.of(config.site)
    about = f"{record.tray or record.batch}: " if record.tray or record.batch else ""
    said = f"{record_words(record, tongue)} {tongue.moment(record.time_ms)}"
    print(f"{about}{said}, put on record as {record.number}")
    print(WHEN if put_down.is_watching else LATER)
    return DONE


# ---------------------------------------------------------------------------------------- listing


def record_json(record: Record) -> dict[str, Any]:
    """Return a record as programs read it."""
    return {
        "record": record.number,
        "kind": record.kind,
        "time": utc_text(record.time_ms),
        "recorded": utc_text(record.recorded_ms),
        "tray": record.tray,
        "batch": record.batch,
        "who": record.who,
        "why": record.why,
        "fields": dict(record.fields),
        "corrects": record.corrects,
    }


def _list(config: Config, options: argparse.Namespace) -> int:
    known = visiting.records(config)
    trays = {*(tray.name for tray in config.trays), *(one.tray for one in known)} - {""}
    if options.tray is not None and options.tray not in trays:
        return _wrong(f"nothing is on record of a tray {options.tray!r}; {nearest(options.tray, trays)}")
    corrected_by = {one.corrects: one.number for one in known if one.corrects is not None}
    shown = [one for one in (known if options.all else in_force(known)) if _is_meant(one, options)]
    if options.json:
        listed = [record_json(one) | {"corrected_by": corrected_by.get(one.number)} for one in shown]
        print(_dumps({"records": listed}))
        return DONE
    for line in _lines(Tongue.of(config.site), shown, corrected_by):
        print(line)
    return DONE


def _wrong(why: str) -> int:
    print(f"wardian records: {why}", file=sys.stderr)
    return CANNOT_BE_USED


def _is_meant(record: Record, options: argparse.Namespace) -> bool:
    return (options.tray in (None, record.tray)) and (options.batch in (None, record.batch))


def _lines(tongue: Tongue, shown: Sequence[Record], corrected_by: Mapping[int, int]) -> Iterator[str]:
    if not shown:
        yield "nothing is on record"
    for one in shown:
        about = " ".join(name for name in (one.tray, one.batch) if name) or "-"
        why = f": {one.why}" if one.why else ""
        corrects = f", in place of {one.corrects}" if one.corrects and one.kind != WITHDRAWN else ""
        gone = f" [no longer holds: record {corrected_by[one.number]}]" if one.number in corrected_by else ""
        said = f"{record_words(one, tongue)}, by {one.who}{corrects}{why}{gone}"
        yield f"{one.number:>5}  {tongue.moment(one.time_ms):<17} {about:<10} {said}"


def _dumps(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)
