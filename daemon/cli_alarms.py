"""What ``wardian alarms acknowledge`` and its like do: ask the daemon, and say what will come of it."""

import argparse
import getpass
import json
import os
import sys
from pathlib import Path
from typing import Final

from wardian.daemon.exit_status import CANNOT_BE_USED, DONE
from wardian.rules import life

WHEN: Final = "The daemon does it with its next round."
LATER: Final = "Nobody is watching now: it is done when `wardian run` starts."


def act(options: argparse.Namespace) -> int:
    """Ask for what a person wants of alarms."""
    from wardian.daemon import visiting, wiring
    from wardian.daemon.acts import ACTS, NotToBeDone, Wish, one_line
    from wardian.daemon.lives import TOLD
    from wardian.rules.amounts import NotAnAmount, duration_ms

    config = wiring.load_config(Path(options.config))
    event = ACTS[options.act]
    who = one_line(options.who or "") or whoever()
    wish = Wish(event, options.tray, options.alarm, who, one_line(options.why))
    try:
        lasts_ms = duration_ms(options.lasts) if event == life.SHELVE else None
        asked = visiting.ask(config, wish, lasts_ms)
    except NotAnAmount as error:
        return _refuse(options, f"--for {options.lasts!r} {error}")
    except NotToBeDone as error:
        return _refuse(options, error)
    if options.json:
        alarms = [{**one.alarm._asdict(), "alarm": name} for one, name in asked.acts.items()]
        print(json.dumps({"asked": event, "alarms": alarms, "is_watching": asked.is_watching}))
        return DONE
    for one, name in asked.acts.items():
        of = f" ({one.alarm.quantity})" if one.alarm.quantity else ""
        print(f"{one.alarm.tray}: {name}{of}: asked to be {TOLD[event]}")
    print(WHEN if asked.is_watching else LATER)
    return DONE


def _refuse(options: argparse.Namespace, why: object) -> int:
    print(f"wardian alarms {options.act}: {why}", file=sys.stderr)
    return CANNOT_BE_USED


def whoever() -> str:
    """Return who is logged in; a process may belong to somebody whom the system has no name for."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return f"user {os.getuid()}"
