"""What ``wardian alarms acknowledge`` and its like do: ask the daemon, and say what will come of it."""

import argparse
import getpass
import json
import sys
from pathlib import Path
from typing import Final

from wardian.daemon.exit_status import CANNOT_BE_USED, DONE
from wardian.rules import life

#: Word on the command line → what happens in the life of an alarm.
ACTS: Final = {
    "acknowledge": life.ACKNOWLEDGE,
    "shelve": life.SHELVE,
    "unshelve": life.UNSHELVE,
    "remove": life.REMOVE,
    "restore": life.RESTORE,
}
_WHEN: Final = "The daemon does it with its next round."
_LATER: Final = "Nobody is watching now: it is done when `wardian run` starts."


def act(options: argparse.Namespace) -> int:
    """Ask for what a person wants of alarms."""
    from wardian.daemon import wiring
    from wardian.daemon.acts import NotToBeDone, Wish, watched
    from wardian.daemon.lives import TOLD
    from wardian.rules.amounts import NotAnAmount, duration_ms

    config = wiring.load_config(Path(options.config))
    event = ACTS[options.act]
    who = options.who or getpass.getuser()
    try:
        lasts_ms = duration_ms(options.lasts) if event == life.SHELVE else None
        asked = wiring.ask(config, Wish(event, options.tray, options.alarm, who, options.why), lasts_ms)
    except (NotToBeDone, NotAnAmount) as error:
        print(f"wardian alarms {options.act}: {error}", file=sys.stderr)
        return CANNOT_BE_USED
    if options.json:
        alarms = [one.alarm._asdict() for one in asked.acts]
        print(json.dumps({"asked": event, "alarms": alarms, "is_watching": asked.is_watching}))
        return DONE
    names = watched(config)
    for one in asked.acts:
        print(f"{one.alarm.tray}: {names[one.alarm]} ({one.alarm.quantity}): asked to be {TOLD[event]}")
    print(_WHEN if asked.is_watching else _LATER)
    return DONE
