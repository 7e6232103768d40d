"""Folding in a file: what is in it afterwards, how much at once, and what sudden death leaves."""

import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Final

import pytest
from alembic import command
from alembic.config import Config
from sqlalchemy import create_engine

from wardian.adapters.stores import schema, upgrading
from wardian.adapters.stores.sql import SqlStore
from wardian.rules.errors import StoreFailed
from wardian.rules.ports import Round
from wardian.rules.readings import Reading

HOUR_MS: Final = 3_600_000
NOON_MS: Final = 1_772_452_800_000
#: Each ten seconds from noon to five, six sensors.
HOURS: Final = 5
SENSORS: Final = 6


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "bench.db"


@pytest.fixture
def store(path: Path) -> Iterator[SqlStore]:
    kept = SqlStore.open(path)
    yield kept
    kept.close()


def day_of(hours: int = HOURS) -> list[Reading]:
    return [
        Reading(
            NOON_MS + at_ms,
            f"tray-{sensor}",
            "ppfd",
            (at_ms // 10_000 + 3) ** 4 * 7_919 * (sensor + 1) % 1_000_003 / 100,
        )
        for at_ms in range(0, hours * HOUR_MS, 10_000)
        for sensor in range(SENSORS)
    ]


def asked(path: Path, question: str) -> list[tuple[int, ...]]:
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute(question).fetchall()


def test_a_fold_moves_rows_into_chunks_and_is_never_more_than_some_sensors_hour(
    store: SqlStore, path: Path
) -> None:
    store.keep(Round(NOON_MS, readings=day_of()))
    assert store.fold(NOON_MS + 9 * HOUR_MS, {}, 4)
    assert asked(path, "SELECT hour_ms, series_id FROM chunks") == [(NOON_MS, one) for one in (1, 2, 3, 4)]
    assert asked(path, f"SELECT DISTINCT series_id FROM readings WHERE time_ms < {NOON_MS + HOUR_MS}") == [
        (5,),
        (6,),
    ]
    assert asked(path, "SELECT count(*) FROM folded") == [(0,)]
    more = [store.fold(NOON_MS + 9 * HOUR_MS, {}, 4) for _ in range(5)]
    assert more == [True] * 4 + [False]
    assert asked(path, "SELECT min(time_ms), count(*) FROM readings") == [
        (NOON_MS + 3 * HOUR_MS, 2 * SENSORS * 360)
    ]
    assert asked(path, "SELECT until_ms FROM folded") == [(NOON_MS + 3 * HOUR_MS,)]
    assert list(store.readings(0, NOON_MS * 2)) == day_of()
    assert store.damage() == ""


def test_where_nothing_is_due_nothing_is_written(store: SqlStore, path: Path) -> None:
    store.keep(Round(NOON_MS, readings=day_of()))
    while store.fold(NOON_MS + 9 * HOUR_MS, {}):
        pass
    before = Path(f"{path}-wal").read_bytes()
    assert not store.fold(NOON_MS + 9 * HOUR_MS, {})
    assert Path(f"{path}-wal").read_bytes() == before


def test_a_reader_of_another_process_reads_what_was_folded(store: SqlStore, path: Path) -> None:
    store.keep(Round(NOON_MS, readings=day_of()))
    reader = SqlStore.open(path, read_only=True)
    stream = reader.readings(0, NOON_MS * 2)
    first = [next(stream) for _ in range(100)]
    while store.fold(NOON_MS + 9 * HOUR_MS, {}, 4):
        pass
    assert first + list(stream) == day_of()
    store.keep(Round(NOON_MS, readings=[Reading(NOON_MS + 9 * HOUR_MS, "tray-0", "ppfd", 1.0)]))
    with pytest.raises(StoreFailed, match="open for reading only"):
        reader.fold(NOON_MS + 9 * HOUR_MS, {})
    reader.close()


def test_a_chunk_that_was_damaged_is_named_and_read_as_nothing_else(store: SqlStore, path: Path) -> None:
    store.keep(Round(NOON_MS, readings=day_of()))
    store.fold(NOON_MS + 9 * HOUR_MS, {})
    with closing(sqlite3.connect(path)) as other:
        other.execute(
            "UPDATE chunks SET readings = CAST(substr(readings, 1, 20) || x'00' || substr(readings, 22) AS BLOB) "
            "WHERE series_id = 1"
        )
        other.commit()
    for attempt in (
        lambda: store.chunk(0, NOON_MS * 2),
        lambda: list(store.readings(0, NOON_MS * 2)),
        lambda: store.keep(Round(NOON_MS, late=[Reading(NOON_MS + 1, "tray-0", "ppfd", 1.0)])),
    ):
        with pytest.raises(StoreFailed, match="the database is damaged") as caught:
            attempt()
        assert not caught.value.may_heal
    assert store.chunk(0, NOON_MS * 2, trays=["tray-1"])


def test_a_full_disk_folds_nothing_by_half(store: SqlStore, path: Path) -> None:
    store.keep(Round(NOON_MS, readings=day_of()))
    assert store._writer is not None
    driver = store._writer.connection.dbapi_connection
    assert driver is not None
    driver.cursor().execute("PRAGMA max_page_count = 1")
    with pytest.raises(StoreFailed, match="the disk is full") as caught:
        store.fold(NOON_MS + 9 * HOUR_MS, {})
    assert caught.value.may_heal
    assert asked(path, "SELECT (SELECT count(*) FROM chunks), (SELECT count(*) FROM readings)") == [
        (0, HOURS * SENSORS * 360)
    ]
    assert list(store.readings(0, NOON_MS * 2)) == day_of()


def of_the_third_schema(path: Path, rows: list[tuple[int, int, float]]) -> None:
    """What the program of the third step left: six hours of two sensors, the first four summed up."""
    config = Config()
    config.set_main_option("script_location", str(upgrading._STEPS))
    engine = create_engine(f"sqlite:///{path}")
    with engine.begin() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, "0003")
    engine.dispose()
    with closing(sqlite3.connect(path)) as connection:
        connection.executemany("INSERT INTO readings VALUES (?, ?, ?)", rows)
        before = f"FROM readings WHERE time_ms < {NOON_MS + 4 * HOUR_MS}"
        connection.executescript(
            f"PRAGMA application_id = {schema.APPLICATION_ID}; PRAGMA user_version = 3;"
            "INSERT INTO series VALUES (1, 'tray-a', 'ppfd'), (2, 'tray-b', 'ppfd');"
            f"INSERT INTO late VALUES ({NOON_MS}, 1);"
            f"INSERT INTO summed_up SELECT 1, {NOON_MS + 4 * HOUR_MS}, count(*) {before};"
            f"INSERT INTO newest SELECT series_id, max(time_ms) {before} GROUP BY series_id"
        )


def test_readings_of_the_third_schema_are_folded_bit_by_bit_and_read_as_before(path: Path) -> None:
    times = range(NOON_MS, NOON_MS + 6 * HOUR_MS, 60_000)
    rows = [(time_ms, number, time_ms % 977 / 10) for time_ms in times for number in (1, 2)]
    of_the_third_schema(path, rows)
    store = SqlStore.open(path)
    more = [store.fold(NOON_MS + 99 * HOUR_MS, {}, 1) for _ in range(8)]
    assert more == [True] * 7 + [False]
    trays = {1: "tray-a", 2: "tray-b"}
    every = [(time_ms, trays[number], value) for time_ms, number, value in rows]
    assert [(one.time_ms, one.tray, one.value) for one in store.readings(0, 2 * NOON_MS)] == every
    assert (store.counts()["readings"], store.counts()["late"]) == (len(rows), 1)
    assert asked(path, "SELECT count(*) FROM chunks") == [(8,)]
    store.close()


def test_whenever_the_process_is_killed_every_reading_is_there_once(path: Path) -> None:
    hours = 20
    store = SqlStore.open(path)
    every = day_of(hours)
    store.keep(Round(NOON_MS, readings=every))
    store.close()
    program = (
        "import sys\nfrom pathlib import Path\nfrom wardian.adapters.stores.sql import SqlStore\n"
        f"store = SqlStore.open(Path({str(path)!r}))\nprint('open', flush=True)\n"
        f"while store.fold({NOON_MS + 99 * HOUR_MS}, {{}}, 2): print('piece', flush=True)\n"
        "print('done', flush=True)\n"
    )
    kills = 0
    for lines in (1, 2, 3, 5, 8, 13, 21, 200):
        command = [sys.executable, "-c", program]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
            assert process.stdout is not None
            last = [process.stdout.readline() for _ in range(lines)][-1]
            process.kill()
            rest = process.stdout.read()
        kills += "done\n" not in (last, *rest.splitlines(keepends=True))
        reader = SqlStore.open(path, read_only=True)
        assert list(reader.readings(0, NOON_MS * 2)) == every
        assert reader.counts()["readings"] == len(every)
        assert reader.damage() == ""
        reader.close()
        both = "SELECT count(*) FROM chunks JOIN readings USING (series_id) WHERE time_ms BETWEEN hour_ms AND hour_ms + 3599999"
        assert asked(path, both) == [(0,)]
        rolled = (
            "SELECT count(*) FROM chunks LEFT JOIN rollups USING (series_id, hour_ms) WHERE pieces IS NULL"
        )
        assert asked(path, rolled) == [(0,)]
    assert kills >= 5
    assert asked(path, "SELECT count(*) FROM chunks") == [((hours - 2) * SENSORS,)]
