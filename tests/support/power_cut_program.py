"""A program that fills a store and says after each commit that it is done: ``power_cut_program.py FOLDER FROM ROUNDS``.

Said is a line in the file ``said`` of the folder, which nothing reads but the record of what was written.
"""

import os
import sqlite3
import sys
from contextlib import closing
from pathlib import Path
from typing import Any, Final

from wardian.adapters.stores.opening import open_store
from wardian.rules.ports import DueMessage, Message, Round
from wardian.rules.readings import Reading

#: 2026-03-02T12:00Z.
NOON_MS: Final = 1_772_452_800_000
MINUTE_MS: Final = 60_000
READINGS: Final = 40
DATABASE: Final = "bench.db"
SAID: Final = "said"


def round_of(number: int) -> Round:
    """Return one round: readings, an entry of the journal, its message, a state and a note, all with its number."""
    time_ms = NOON_MS + number * MINUTE_MS
    fields: dict[str, Any] = {
        "quantity": "air_temperature",
        "limit": "high",
        "event": "raised",
        "alarm": "too-warm",
    }
    fields |= {"tray": "tray-a", "condition": "high", "number": number}
    return Round(
        now_ms=time_ms,
        readings=[
            Reading(time_ms + 1000 * n, "tray-a", "air_temperature", number + n / 64) for n in range(READINGS)
        ],
        journal=[(time_ms, "tray-a", fields)],
        due=[
            DueMessage("desk", Message(f"key-{number}", "tray-a: too warm", "Lift the cover. " * 20, fields))
        ],
        states={"tray-a": {"number": number, "long": "x" * 3000}},
        notes={"number": number},
    )


def move_log(database: Path) -> None:
    """Move the log into the file, as SQLite does by itself every thousand pages: the log begins anew."""
    with closing(sqlite3.connect(database)) as connection:
        connection.execute("PRAGMA wal_checkpoint(PASSIVE)")


def main(folder: Path, begin: int, rounds: int) -> None:
    """Keep some rounds, and close."""
    store = open_store(f"sqlite:///{DATABASE}", folder)
    said = os.open(folder / SAID, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    os.write(said, b"opened\n")
    for number in range(begin, begin + rounds):
        store.keep(round_of(number))
        os.write(said, f"{number}\n".encode())
        if number % 4 == 1:
            move_log(folder / DATABASE)
    for due in store.waiting()[:2]:
        store.delivered(due.number, due.created_ms)
        os.write(said, f"delivered:{due.message.key}\n".encode())
    store.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
