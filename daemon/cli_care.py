"""What ``wardian care done`` does: put on record what somebody did at a tray."""

import argparse
import json
import sys
from collections.abc import Sequence
from pathlib import Path

from wardian.daemon import recorded, visiting, wiring
from wardian.daemon.acts import one_line
from wardian.daemon.cli_alarms import LATER, WHEN, whoever
from wardian.daemon.exit_status import CANNOT_BE_USED
from wardian.daemon.exit_status import DONE as DID_IT
from wardian.daemon.putting import Said, record_of, tray_named
from wardian.daemon.record_words import DONE
from wardian.daemon.tongue import utc_text
from wardian.rules.records import CARE, Record


def care(options: argparse.Namespace) -> int:
    """Put care on record."""
    config = wiring.load_config(Path(options.config))
    who = one_line(options.who or "") or whoever()

    def make(_known: Sequence[Record], now_ms: int) -> list[Record]:
        tray = tray_named(config, options.tray)
        at_ms = recorded.instant_ms(options.at) if options.at else None
        record = record_of(CARE, Said(who, one_line(options.why), at_ms), now_ms)
        return [record._replace(tray=tray.name, fields={"event": options.event})]

    try:
        put_down = visiting.put_on_record(config, make)
    except ValueError as error:
        print(f"wardian care: {error}", file=sys.stderr)
        return CANNOT_BE_USED
    (record,) = put_down.records
    if options.json:
        told = {
            "tray": record.tray,
            "event": options.event,
            "time": utc_text(record.time_ms),
            "record": record.number,
            "is_watching": put_down.is_watching,
        }
        print(json.dumps(told))
    else:
        print(f"{record.tray}: {DONE[options.event].lower()}, put on record as {record.number}")
        print(WHEN if put_down.is_watching else LATER)
    return DID_IT
