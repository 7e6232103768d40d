"""A database with hours that are folded, late readings, journal, records and messages, for what can befall its file."""

import shutil
from functools import partial
from pathlib import Path
from typing import Final

from case_terms import high, plan, stage
from store_rounds import HOUR_MS, NOON_MS, change, to_tell

from wardian.adapters.stores.sql import SqlStore
from wardian.rules.ports import Refused, Round
from wardian.rules.readings import Reading
from wardian.rules.records import NOTE, Record

HOURS: Final = 30
PLANS: Final = {"tray-a": plan((0, stage("callusing", air_temperature=high(25, 1))), hold_ms=300_000)}


def keep_hours(store: SqlStore, first: int, last: int) -> None:
    """Keep a reading a minute of four sensors for some hours, and an entry, a message and a record of each."""
    for hour in range(first, last):
        begin_ms = NOON_MS + hour * HOUR_MS
        readings = [
            Reading(begin_ms + minute * 60_000, tray, quantity, 20 + (minute % 7) / 10 + hour / 100)
            for minute in range(60)
            for tray in ("tray-a", "tray-b")
            for quantity in ("air_temperature", "relative_humidity")
        ]
        entry = (begin_ms, "tray-a", change("raised" if hour % 2 == 0 else "returned"))
        late = [Reading(begin_ms - HOUR_MS + 30_000, "tray-a", "air_temperature", 19.5)]
        due, refused = [to_tell("mail", f"m{hour}")], [Refused("bench", "no number", "x")]
        store.keep(Round(begin_ms, readings, late, refused, [entry], due, {"tray-a": {"hour": hour}}))
        note = Record(NOTE, begin_ms, begin_ms, "tray-a", who="a pupil", why="leaves")
        store.record(partial(_one, note))


def _one(note: Record, _: object) -> list[Record]:
    return [note]


def fold(store: SqlStore) -> None:
    """Fold all that may be folded."""
    while store.fold(NOON_MS + 1_000 * HOUR_MS, PLANS):
        pass


def kept_week(path: Path, hours: int = HOURS) -> SqlStore:
    """Make such a database, and leave it open."""
    store = SqlStore.open(path)
    keep_hours(store, 0, hours)
    fold(store)
    return store


def as_killed(path: Path, into: Path) -> Path:
    """Copy a database that is open, with its log, to another folder, as a kill would leave it; return it there."""
    into.mkdir()
    for part in ("", "-wal", "-lock"):
        if Path(f"{path}{part}").exists():
            shutil.copy(f"{path}{part}", into / f"{path.name}{part}")
    return into / path.name
