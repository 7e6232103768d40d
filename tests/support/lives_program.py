"""A program that leads one alarm through its life: ``lives_program.py DATABASE STEP…``.

Each step is committed by itself. Then it says ``there`` and waits for input that never comes.
"""

import sys
from pathlib import Path

from fake_clock import NOON_MS
from led_lives import TOO_WARM, asked, fields_of

from wardian.adapters.stores.sql import SqlStore
from wardian.daemon.lives import Lives
from wardian.rules import life
from wardian.rules.ports import Round


def main(database: str, *steps: str) -> None:
    """Lead it, step by step."""
    store = SqlStore.open(Path(database))
    lives = Lives({}, names=fields_of, latches=lambda _: "latches" in steps)
    for number, step in enumerate(one for one in steps if one != "latches"):
        if step in (life.RAISED, life.RETURNED):
            fields = fields_of(TOO_WARM, step)
            lives.follow(fields)
        elif step == life.SUPPRESS:
            fields = lives.suppress(TOO_WARM, NOON_MS, "the cover was lifted", NOON_MS + 1)
        else:
            fields = lives.do(asked(step), NOON_MS)
        store.keep(Round(now_ms=NOON_MS + number, journal=[(NOON_MS + number, "tray-a", fields)]))
    print("there", flush=True)
    sys.stdin.read()


if __name__ == "__main__":
    main(*sys.argv[1:])
