"""What ``wardian water`` does: show the water in the trays, and put down what one weighs."""

import argparse
import json
import sys
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Any, Final

from wardian.daemon import recorded, visiting, wiring
from wardian.daemon.acts import one_line
from wardian.daemon.cli_alarms import LATER, WHEN, whoever
from wardian.daemon.config import Config
from wardian.daemon.config_masses import mass_g
from wardian.daemon.exit_status import CANNOT_BE_USED, DONE
from wardian.daemon.putting import PutDown, Said, corrected, record_of, tray_named
from wardian.daemon.record_words import record_words
from wardian.daemon.report_water import bench_lines, tray_lines
from wardian.daemon.tongue import Tongue, utc_text
from wardian.daemon.water_now import water_now
from wardian.daemon.weighing import DRY, SATURATED, refuse_impossible
from wardian.rules.crops import day_start_ms
from wardian.rules.records import MASSES, Record, in_force, of_tray

_WEIGH: Final = "weigh"
_ACCEPTED: Final = "accepted: wardian water, wardian water TRAY, wardian water weigh TRAY --saturated MASS"


def water(options: argparse.Namespace) -> int:
    """Show, or put down."""
    config = wiring.load_config(Path(options.config))
    try:
        return _weigh(config, options) if _is_to_weigh(options) else _show(config, options)
    except ValueError as error:
        print(f"wardian water: {error}", file=sys.stderr)
        return CANNOT_BE_USED


def _is_to_weigh(options: argparse.Namespace) -> bool:
    is_to_weigh = len(options.words) == 2 and options.words[0] == _WEIGH
    if not is_to_weigh and (len(options.words) > 1 or options.saturated or options.dry):
        raise ValueError(_ACCEPTED)
    return is_to_weigh


def _show(config: Config, options: argparse.Namespace) -> int:
    names = [tray_named(config, name).name for name in options.words]
    with ExitStack() as opened:
        store, now_ms = visiting.look(config, opened)
        trays = water_now(config, store, now_ms, names)
    tongue = Tongue.of(config.site)
    if options.json:
        print(json.dumps({"time": utc_text(now_ms), "trays": [tray.as_json() for tray in trays]}))
    else:
        for line in tray_lines(tongue, trays[0]) if names else bench_lines(tongue, trays):
            print(line)
    return DONE


def _weigh(config: Config, options: argparse.Namespace) -> int:
    fields = {
        name: mass_g(f"--{option}", text)
        for option, name, text in (("saturated", SATURATED, options.saturated), ("dry", DRY, options.dry))
        if text is not None
    }
    if not fields:
        raise ValueError("--saturated or --dry is needed, such as --saturated 3000g")
    tray = tray_named(config, options.words[1])
    at_ms = recorded.instant_ms(options.at) if options.at else None
    said = Said(one_line(options.who or "") or whoever(), one_line(options.why), at_ms, options.corrects)

    def make(known: Sequence[Record], now_ms: int) -> list[Record]:
        record = _record(known, said, now_ms, tray.name)._replace(fields=fields)
        held = in_force([*known, record._replace(number=len(known) + 1)])
        since_ms = day_start_ms(tray.stuck, config.site.zone)
        refuse_impossible(tray.plan.masses, of_tray(held, tray.name, since_ms))
        return [record]

    _tell(config, visiting.put_on_record(config, make), as_json=options.json)
    return DONE


def _record(known: Sequence[Record], said: Said, now_ms: int, tray: str) -> Record:
    """Return the record without a mass yet; what corrects another happened when that did, unless it says when."""
    record = record_of(MASSES, said, now_ms)._replace(tray=tray)
    if said.corrects is None:
        return record
    wrong = corrected(known, said.corrects, MASSES)
    if wrong.tray != tray:
        raise ValueError(f"record {wrong.number} is about {wrong.tray}, not {tray}")
    return record if said.at_ms is not None else record._replace(time_ms=wrong.time_ms)


def _tell(config: Config, put_down: PutDown, *, as_json: bool) -> None:
    (record,) = put_down.records
    if as_json:
        told: dict[str, Any] = {"tray": record.tray, "time": utc_text(record.time_ms), **record.fields}
        print(json.dumps({**told, "record": record.number, "is_watching": put_down.is_watching}))
        return
    words = record_words(record, Tongue.of(config.site))
    print(f"{record.tray}: {words[0].lower()}{words[1:]}, put on record as {record.number}")
    print(WHEN if put_down.is_watching else LATER)
