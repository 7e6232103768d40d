"""What ``wardian water`` does: show the water in the trays, and put down what one weighs."""

import argparse
import json
import sys
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Final

from wardian.daemon import visiting, wiring
from wardian.daemon.cli_records import put_on_record, said_by
from wardian.daemon.config import Config
from wardian.daemon.config_masses import mass_g
from wardian.daemon.exit_status import CANNOT_BE_USED, DONE
from wardian.daemon.putting import correcting, tray_named
from wardian.daemon.report_water import bench_lines, tray_lines
from wardian.daemon.tongue import Tongue, utc_text
from wardian.daemon.water_now import water_now
from wardian.daemon.weighing import DRY, SATURATED, refuse_impossible
from wardian.rules.records import MASSES, Record

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

    def make(known: Sequence[Record], now_ms: int) -> list[Record]:
        record = correcting(MASSES, said_by(options), known, now_ms)._replace(tray=tray.name, fields=fields)
        _refuse_another_tray(record, known)
        refuse_impossible(config, tray, [*known, record._replace(number=len(known) + 1)])
        return [record]

    return put_on_record("water", config, options, make)


def _refuse_another_tray(record: Record, known: Sequence[Record]) -> None:
    for wrong in known:
        if wrong.number == record.corrects and wrong.tray != record.tray:
            raise ValueError(f"record {wrong.number} is about {wrong.tray}, not {record.tray}")
