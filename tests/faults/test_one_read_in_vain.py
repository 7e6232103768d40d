"""A read that fails once as the database is opened, which SQLite cannot tell from damage: nothing is put aside for it."""

import sqlite3
from itertools import count
from pathlib import Path

import pytest
from failing_once import Fault, Seams, database_error
from fake_clock import FakeClock
from store_rounds import NOON_MS

from wardian.adapters.stores.mending import open_whole
from wardian.adapters.stores.sql import SqlStore
from wardian.rules.errors import StoreFailed
from wardian.rules.ports import Round
from wardian.rules.readings import Reading

pytestmark = pytest.mark.fault(27)

READING = Reading(NOON_MS, "tray-a", "air_temperature", 24.0)


def test_whichever_call_of_the_opening_looks_like_damage_once_the_database_stays_where_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "bench.db"
    store = SqlStore.open(path)
    store.keep(Round(NOON_MS, readings=[READING]))
    store.close()
    seams = Seams(FakeClock(), Fault())
    seams.put_in_place(monkeypatch)
    for nth in count(1):
        seams.fault = Fault("database", nth, database_error(sqlite3.SQLITE_CORRUPT))
        try:
            opened = open_whole(path, tmp_path / "backups", NOON_MS)
        except StoreFailed:
            assert seams.fault.has_fired
        else:
            has_fired, seams.fault = seams.fault.has_fired, Fault()
            assert opened.mended == []
            assert list(opened.store.readings(0, 2**62)) == [READING]
            opened.store.close()
            if not has_fired:
                break
    assert nth > 10
    assert sorted(one.name for one in tmp_path.iterdir() if "damaged" in one.name) == []
