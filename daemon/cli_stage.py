"""What ``wardian stage`` does: show the stages of a tray, or put on record what a person makes of them."""

import argparse
import json
import sys
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from wardian.daemon import visiting, wiring
from wardian.daemon.cli_records import put_on_record, said_by
from wardian.daemon.config import Config, TraySettings
from wardian.daemon.exit_status import CANNOT_BE_USED, DONE
from wardian.daemon.putting import tray_named
from wardian.daemon.record_words import record_words
from wardian.daemon.staging_acts import stage_act, staging_of
from wardian.daemon.tongue import Tongue, utc_text
from wardian.rules.crops import day_of
from wardian.rules.records import Record
from wardian.rules.staging import Begun, Staging


def stage(options: argparse.Namespace) -> int:
    """Show the stages of a tray, or change which one holds."""
    config = wiring.load_config(Path(options.config))
    if options.act is None:
        return _show(config, options)

    def make(known: Sequence[Record], now_ms: int) -> list[Record]:
        return [stage_act(config, (options.tray, options.act), said_by(options), known, now_ms)]

    return put_on_record("stage", config, options, make)


def _show(config: Config, options: argparse.Namespace) -> int:
    try:
        _refuse(options)
        tray = tray_named(config, options.tray)
    except ValueError as error:
        print(f"wardian stage: {error}", file=sys.stderr)
        return CANNOT_BE_USED
    with ExitStack() as opened:
        store, now_ms = visiting.look(config, opened)
        known = store.records()
    found = staging_of(config, tray, known)
    if options.json:
        day = day_of(tray.stuck, config.site.zone, now_ms)
        print(json.dumps(_json(tray, found, now_ms) | {"day": day}, ensure_ascii=False))
    else:
        for line in _lines(config, tray, (found, known), now_ms):
            print(line)
    return DONE


def _refuse(options: argparse.Namespace) -> None:
    said = ("at", "who", "why", "corrects")
    given = next((name for name in said if getattr(options, name) not in (None, "")), None)
    if given:
        raise ValueError(f"--{given} belongs to an act; advance, hold, back and by-day are accepted")


def _present(found: Staging, now_ms: int) -> Begun | None:
    return next((one for one in reversed(found.begun) if one.from_ms <= now_ms), None)


def _overdue_ms(found: Staging) -> int | None:
    """Return from when on the stage lasts too long, now or later."""
    from_ms, to_ms = found.overdue[-1] if found.overdue else (None, None)
    return from_ms if to_ms is None else None


def _json(tray: TraySettings, found: Staging, now_ms: int) -> dict[str, Any]:
    present, overdue_ms = _present(found, now_ms), _overdue_ms(found)
    return {
        "tray": tray.name,
        "crop": tray.crop.name,
        "stage": present.stage.name if present else None,
        "is_held": found.course.is_held,
        "overdue_from": utc_text(overdue_ms) if overdue_ms is not None else None,
        "stages": [
            {"stage": one.stage.name, "from": utc_text(one.from_ms), "record": one.record}
            for one in found.begun
        ],
        "records": [one.number for one in found.acts],
    }


def _lines(
    config: Config, tray: TraySettings, read: tuple[Staging, Sequence[Record]], now_ms: int
) -> Iterator[str]:
    tongue, (found, known) = Tongue.of(config.site), read
    present = _present(found, now_ms)
    day = day_of(tray.stuck, config.site.zone, now_ms)
    name = present.stage.name if present else "no stage yet"
    held = ", held until it is advanced" if present and found.course.is_held else ""
    overdue_ms = _overdue_ms(found)
    overdue = ""
    if overdue_ms is not None and overdue_ms <= now_ms:
        overdue = f", overdue since {tongue.moment(overdue_ms)}"
    yield f"{tray.name}: {tray.crop.name}, day {day}, {name}{held}{overdue}"
    for one in found.begun:
        sign = ">" if one is present else " "
        by = f"by record {one.record}" if one.record else "by the days after sticking"
        yield f"{sign} {one.stage.name:<12} from {tongue.moment(one.from_ms):<17} {by}"
    numbers = {one.record for one in found.begun} | {one.number for one in found.acts}
    for record in known:
        if record.number in numbers:
            why = f": {record.why}" if record.why else ""
            said = f"{record_words(record, tongue)} {tongue.moment(record.time_ms)} by {record.who}{why}"
            yield f"record {record.number}: {said}"
