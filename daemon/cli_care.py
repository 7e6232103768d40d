"""What ``wardian care done`` does: write down what somebody did at a tray."""

import argparse
import json
import sys
from pathlib import Path

from wardian.daemon import recorded, visiting, wiring
from wardian.daemon.acts import one_line
from wardian.daemon.care import DONE
from wardian.daemon.cli_alarms import LATER, WHEN, whoever
from wardian.daemon.exit_status import CANNOT_BE_USED
from wardian.daemon.exit_status import DONE as DID_IT
from wardian.daemon.tongue import utc_text


def care(options: argparse.Namespace) -> int:
    """Ask the daemon to write down care."""
    config = wiring.load_config(Path(options.config))
    who = one_line(options.who or "") or whoever()
    try:
        done_ms = recorded.instant_ms(options.at) if options.at else None
        act, is_watching = visiting.record_care(
            config, options.tray, options.event, done_ms, (who, one_line(options.why))
        )
    except ValueError as error:
        print(f"wardian care: {error}", file=sys.stderr)
        return CANNOT_BE_USED
    if options.json:
        told = {
            "tray": options.tray,
            "event": act.event,
            "time": utc_text(act.asked_ms),
            "is_watching": is_watching,
        }
        print(json.dumps(told))
    else:
        print(f"{options.tray}: {DONE[act.event].lower()}, asked to be written down")
        print(WHEN if is_watching else LATER)
    return DID_IT
