"""What ``wardian care`` does: show what is due at each tray, and put on record what somebody did there."""

import argparse
import json
import sys
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Final

from wardian.daemon import recorded, visiting, wiring
from wardian.daemon.acts import one_line
from wardian.daemon.care_asked import care_records, trays_named
from wardian.daemon.cli_alarms import LATER, WHEN, whoever
from wardian.daemon.config import Config
from wardian.daemon.exit_status import CANNOT_BE_USED
from wardian.daemon.exit_status import DONE as DID_IT
from wardian.daemon.putting import PutDown, Said
from wardian.daemon.record_words import record_words
from wardian.daemon.tongue import Tongue, utc_text
from wardian.rules.care_given import EC, GRAMS, LOOK, MINUTES, PH, TEMPERATURE
from wardian.rules.records import Record

_AMOUNTS: Final = (GRAMS, MINUTES, PH, EC, TEMPERATURE, LOOK)


def care(options: argparse.Namespace) -> int:
    """Show what is due, or put on record what was done."""
    config = wiring.load_config(Path(options.config))
    try:
        if options.act is None:
            return _show(config, options)
        return _told(
            config, options, visiting.put_on_record(config, lambda *known: _made(config, options, *known))
        )
    except ValueError as error:
        print(f"wardian care: {error}", file=sys.stderr)
        return CANNOT_BE_USED


# -------------------------------------------------------------------------------------- showing


def _show(config: Config, options: argparse.Namespace) -> int:
    from wardian.daemon.care_today import care_of, today
    from wardian.daemon.care_words import care_json, day_lines, now_lines

    known, now_ms = visiting.care_known(config)
    tongue, zone = Tongue.of(config.site), config.site.zone
    day = _day(options.date) if options.date else today(now_ms, zone)
    try:
        trays = care_of(config, known, day)
    except OverflowError as error:
        raise ValueError(f"--date {options.date}: a day of the years 1970 to 2199 is accepted") from error
    if options.json:
        print(json.dumps(care_json(trays, tongue, day, now_ms), ensure_ascii=False))
        return DID_IT
    if options.date:
        print(f"{config.site.name}, {day:%a} {day.day} {day:%b %Y}")
        lines = day_lines(trays, tongue, now_ms)
    else:
        print(f"{config.site.name}, {tongue.moment(now_ms)}")
        lines = now_lines(trays, tongue, now_ms)
    for line in lines:
        print(line)
    return DID_IT


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise ValueError(f"--date {text!r} is no day; one such as 2026-03-05 is accepted") from error


# -------------------------------------------------------------------------------------- recording


def _made(config: Config, options: argparse.Namespace, known: Sequence[Record], now_ms: int) -> list[Record]:
    who = one_line(options.who or "") or whoever()
    at_ms = recorded.instant_ms(options.at) if options.at else None
    said = Said(who, one_line(options.why), at_ms, options.corrects)
    trays = trays_named(config, options.tray)
    return care_records(trays, options.event, _amounts(options), said, (known, now_ms))


def _amounts(options: argparse.Namespace) -> Mapping[str, str]:
    return {name: written for name in _AMOUNTS if (written := getattr(options, name)) is not None}


def _told(config: Config, options: argparse.Namespace, put_down: PutDown) -> int:
    tongue = Tongue.of(config.site)
    for record in put_down.records:
        if options.json:
            told = {
                "tray": record.tray,
                **record.fields,
                "time": utc_text(record.time_ms),
                "record": record.number,
                "corrects": record.corrects,
                "is_watching": put_down.is_watching,
            }
            print(json.dumps(told))
        else:
            done = record_words(record, tongue)
            print(f"{record.tray}: {done[0].lower()}{done[1:]}, put on record as {record.number}")
    if not options.json:
        print(WHEN if put_down.is_watching else LATER)
    return DID_IT
