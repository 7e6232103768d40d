"""What may lie where the database should be, and what becomes of it."""

import json
import os
import sqlite3
import subprocess
import sys
import zlib
from collections.abc import Callable
from datetime import UTC
from pathlib import Path
from typing import Final

import pytest
from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine

from wardian.adapters.stores import schema, upgrading
from wardian.adapters.stores.sql import SqlStore
from wardian.daemon.lives import Lives
from wardian.daemon.recording import Recording
from wardian.daemon.tongue import Tongue
from wardian.rules.errors import StoreFailed
from wardian.rules.ports import Act, Alarm, JournalEntry, Kept, Round
from wardian.rules.readings import Reading
from wardian.rules.records import Record

ROUND: Final = Round(1, readings=[Reading(1, "tray-a", "ppfd", 90.0)])
#: An entry of the journal as the first schema had it, before alarms had lives.
RAISED: Final = '{"tray":"tray-a","quantity":"ppfd","limit":"low","event":"raised","alarm":"too-dark"}'
#: Where Alembic writes which step was taken last.
NO_STEP: Final[dict[str, list[tuple[object, ...]]]] = {"alembic_version": []}


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "bench.db"


def kept_in(path: Path) -> dict[str, bytes]:
    """Return what lies in the folder, but for the lock and SQLite's own index of the log."""
    return {
        file.name: file.read_bytes()
        for file in path.parent.iterdir()
        if not file.name.endswith(("-lock", "-shm"))
    }


def run_sql(path: Path, *statements: str) -> None:
    connection = sqlite3.connect(path)
    for statement in statements:
        connection.execute(statement)
    connection.commit()
    connection.close()


def tables_of(path: Path) -> set[tuple[str, ...]]:
    connection = sqlite3.connect(path)
    found = connection.execute("SELECT type, name, tbl_name, sql FROM sqlite_master").fetchall()
    connection.close()
    return set(found)


def versions_of(path: Path) -> tuple[int, int, str]:
    connection = sqlite3.connect(path)
    asked = ("PRAGMA application_id", "PRAGMA user_version", "SELECT version_num FROM alembic_version")
    application_id, version, step = (connection.execute(question).fetchone()[0] for question in asked)
    connection.close()
    return application_id, version, step


def rows_of(path: Path) -> dict[str, list[tuple[object, ...]]]:
    connection = sqlite3.connect(path)
    names = [row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    found = {name: connection.execute(f"SELECT * FROM {name}").fetchall() for name in names}
    connection.close()
    return found


def refused(path: Path, words: str, **how: bool) -> None:
    """Opening fails with these words and leaves every file as it was, the second time too."""
    before = kept_in(path)
    for _ in range(2):
        with pytest.raises(StoreFailed, match=words) as caught:
            SqlStore.open(path, **how)
        assert str(path) in str(caught.value)
        assert not caught.value.may_heal
        assert kept_in(path) == before


# -------------------------------------------------------------------------------------- not ours


def a_newer_one(path: Path) -> None:
    SqlStore.open(path).close()
    run_sql(path, "PRAGMA user_version = 99", "CREATE TABLE of_tomorrow (x)")


def a_newer_one_whose_writer_was_killed(path: Path) -> None:
    SqlStore.open(path).close()
    program = (
        f"import os, sqlite3\nconnection = sqlite3.connect({str(path)!r})\n"
        "connection.execute('PRAGMA user_version = 99'); connection.commit(); os._exit(9)"
    )
    subprocess.run([sys.executable, "-c", program], check=False)
    assert Path(f"{path}-wal").stat().st_size


def another_programs(path: Path) -> None:
    run_sql(path, "CREATE TABLE bookings (room)")


def another_programs_with_its_own_mark(path: Path) -> None:
    run_sql(path, "PRAGMA application_id = 1234", "PRAGMA user_version = 1")


def a_text(path: Path) -> None:
    path.write_text("time,tray,quantity,value,unit\n" * 50)


def a_few_bytes(path: Path) -> None:
    path.write_bytes(b"tray")


def a_cut_off_one(path: Path) -> None:
    store = SqlStore.open(path)
    store.keep(Round(1, readings=[Reading(n, "tray-a", "ppfd", 1.0) for n in range(5_000)]))
    store.close()
    os.truncate(path, 4096 + 100)


def an_emptied_one(path: Path) -> None:
    SqlStore.open(path).close()
    os.truncate(path, 0)


def a_lost_one_with_its_log(path: Path) -> None:
    Path(f"{path}-wal").write_bytes(b"what was last written")


@pytest.mark.parametrize(
    ("prepare", "words"),
    [
        (a_newer_one, r"made by a newer wardian \(schema 99; this one knows up to 4\)"),
        (a_newer_one_whose_writer_was_killed, "made by a newer wardian"),
        (another_programs, "another program's database"),
        (another_programs_with_its_own_mark, "another program's database"),
        (a_text, "not a database"),
        (a_few_bytes, "not a database"),
        (a_cut_off_one, "damaged"),
        (an_emptied_one, "was a database and is empty now"),
        (a_lost_one_with_its_log, "bench.db-wal; put it back"),
    ],
)
def test_what_is_not_ours_to_write_is_refused_and_left_as_it_is(
    path: Path, prepare: Callable[[Path], None], words: str
) -> None:
    prepare(path)
    refused(path, words)


def test_beside_another_programs_database_nothing_is_made(path: Path) -> None:
    another_programs(path)
    refused(path, "another program's database")
    assert [file.name for file in path.parent.iterdir()] == [path.name]


def test_a_folder_is_no_database(path: Path) -> None:
    path.mkdir()
    with pytest.raises(StoreFailed, match="is not a file"):
        SqlStore.open(path)


def test_a_missing_folder_is_named_and_not_made(tmp_path: Path) -> None:
    with pytest.raises(StoreFailed, match=f"the folder {tmp_path}/absent does not exist"):
        SqlStore.open(tmp_path / "absent" / "bench.db")
    assert not (tmp_path / "absent").exists()


@pytest.mark.parametrize("prepare", [lambda path: None, Path.touch, a_newer_one, another_programs])
def test_a_reader_refuses_what_a_writer_would_make_or_refuse(
    path: Path, prepare: Callable[[Path], None]
) -> None:
    prepare(path)
    refused(path, "no database yet|newer wardian|another program", read_only=True)


# ----------------------------------------------------------------------------------------- fresh


@pytest.mark.parametrize("prepare", [lambda path: None, Path.touch, lambda path: run_sql(path, "VACUUM")])
def test_where_nothing_is_a_database_is_made_and_stamped(path: Path, prepare: Callable[[Path], None]) -> None:
    prepare(path)
    store = SqlStore.open(path)
    assert store.keep(ROUND) == Kept(1, 0)
    store.close()
    assert versions_of(path) == (schema.APPLICATION_ID, schema.SCHEMA_VERSION, f"{schema.SCHEMA_VERSION:04d}")
    assert not Path(f"{path}-wal").exists()


def test_the_file_alone_is_a_database_from_the_start(path: Path) -> None:
    store = SqlStore.open(path)
    copy = path.with_name("copy.db")
    copy.write_bytes(path.read_bytes())
    assert tables_of(copy) == tables_of(path) != set()
    assert versions_of(copy) == versions_of(path)
    store.close()


def test_a_deleted_database_is_begun_anew(path: Path) -> None:
    store = SqlStore.open(path)
    store.keep(ROUND)
    store.close()
    path.unlink()
    store = SqlStore.open(path)
    assert store.counts()["readings"] == 0
    store.close()


# ----------------------------------------------------------------------------------------- steps


def an_older_one(path: Path) -> None:
    """What a program before the first step could have left: our mark, no version, something kept."""
    run_sql(
        path,
        f"PRAGMA application_id = {schema.APPLICATION_ID}",
        "CREATE TABLE of_yesterday (x)",
        "INSERT INTO of_yesterday VALUES (42)",
    )


def test_an_older_schema_is_backed_up_and_brought_up_to_date(path: Path) -> None:
    an_older_one(path)
    before = tables_of(path)
    store = SqlStore.open(path)
    assert store.keep(ROUND) == Kept(1, 0)
    store.close()
    assert versions_of(path) == (schema.APPLICATION_ID, schema.SCHEMA_VERSION, f"{schema.SCHEMA_VERSION:04d}")
    backup = Path(f"{path}.before-{schema.SCHEMA_VERSION}")
    assert tables_of(backup) == before
    assert tables_of(path) > before
    run_sql(backup, "SELECT x FROM of_yesterday WHERE x = 42")
    assert sorted(kept_in(path)) == [path.name, backup.name]


def one_of_the_first_schema(path: Path) -> None:
    """What the program of the first step left: its tables, made by that step alone, with something in each."""
    config = Config()
    config.set_main_option("script_location", str(upgrading._STEPS))
    engine = create_engine(f"sqlite:///{path}")
    with engine.begin() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, "0001")
    engine.dispose()
    run_sql(
        path,
        f"PRAGMA application_id = {schema.APPLICATION_ID}",
        "PRAGMA user_version = 1",
        "INSERT INTO series VALUES (1, 'tray-a', 'ppfd'), (2, 'tray-b', 'ppfd')",
        "INSERT INTO readings VALUES (1, 1, 90.0), (2, 1, 91.5), (2, 2, 80.0)",
        "INSERT INTO late VALUES (2, 1)",
        f"INSERT INTO journal VALUES (1, 5, 'tray-a', 'ppfd', 'low', 'raised', '{RAISED}')",
        "INSERT INTO outbox VALUES (1, 'mail', 'a', 's', 'b', '{}', 5, 0, 5, '', NULL, NULL)",
        f"INSERT INTO states VALUES ('tray-a', x'{zlib.compress(b'{}').hex()}')",
        "INSERT INTO notes VALUES ('clock', '7')",
        "INSERT INTO refused VALUES (1, 3, 'bench', 'no number', 'x', NULL, NULL, NULL)",
    )


def test_a_database_of_the_first_schema_is_brought_up_to_date_with_everything_in_it(path: Path) -> None:
    one_of_the_first_schema(path)
    before, kept = tables_of(path), rows_of(path)
    assert versions_of(path) == (schema.APPLICATION_ID, 1, "0001")
    assert all(rows for table, rows in kept.items() if table not in ("summed_up", "newest"))
    refused(path, "made by an older wardian", read_only=True)
    store = SqlStore.open(path)
    assert versions_of(path) == (schema.APPLICATION_ID, schema.SCHEMA_VERSION, f"{schema.SCHEMA_VERSION:04d}")
    assert {table: rows for table, rows in rows_of(path).items() if table in kept} | NO_STEP == kept | NO_STEP
    alarm = Alarm("tray-a", "ppfd", "low")
    assert store.last_of_alarms() == {alarm: JournalEntry(1, 5, "tray-a", json.loads(RAISED))}
    asked = Act(6, alarm, "acknowledge", "a helper", "")
    store.ask([asked])
    assert store.acts() == {1: asked}
    assert store.counts()["readings"] == 3
    store.close()
    backup = Path(f"{path}.before-{schema.SCHEMA_VERSION}")
    assert (tables_of(backup), rows_of(backup)) == (before, kept)


def of_the_second_schema(path: Path) -> None:
    """What the program of the second step left, with care told in the journal and care that was only asked for."""
    one_of_the_first_schema(path)
    config = Config()
    config.set_main_option("script_location", str(upgrading._STEPS))
    engine = create_engine(f"sqlite:///{path}")
    with engine.begin() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, "0002")
    engine.dispose()
    told = json.dumps(
        {
            "event": "lifted",
            "condition": "care",
            "limit": None,
            "since_ms": 40,
            "who": "a helper",
            "why": "a look",
        }
    )
    run_sql(
        path,
        "PRAGMA user_version = 2",
        "INSERT INTO journal (number, time_ms, tray, quantity, condition, event, fields) "
        f"VALUES (2, 45, 'tray-a', '', 'care', 'lifted', '{told}')",
        "INSERT INTO acts (number, asked_ms, tray, quantity, condition, event, who, why, until_ms) VALUES "
        "(1, 50, 'tray-b', '', 'care', 'watered', 'a pupil', '', NULL), "
        "(2, 51, 'tray-a', 'ppfd', 'low', 'acknowledge', 'a pupil', '', NULL)",
    )


def test_care_of_the_second_schema_is_on_record_and_what_was_only_asked_is_taken_up_once(path: Path) -> None:
    of_the_second_schema(path)
    store = SqlStore.open(path)
    assert store.records() == [
        Record("care", 40, 45, "tray-a", who="a helper", why="a look", fields={"event": "lifted"}, number=1),
        Record("care", 50, 50, "tray-b", who="a pupil", fields={"event": "watered"}, number=2),
    ]
    assert [one.event for one in store.acts().values()] == ["acknowledge"]
    assert [entry.number for entry in store.journal()] == [1, 2]
    taken_up = []
    for _ in range(2):
        recording = Recording(store, Tongue(UTC), {"tray-a": 0, "tray-b": 0}, lambda *_: None)
        extra = recording.work(60, Lives({}))
        taken_up += [fields["record"] for _, _, fields in extra.recorded]
        store.keep(Round(60, journal=extra.recorded, notes=extra.notes))
    store.close()
    assert taken_up == [2]


def test_the_steps_lead_to_exactly_the_tables_of_a_fresh_database(path: Path) -> None:
    fresh = path.with_name("fresh.db")
    SqlStore.open(fresh).close()
    an_older_one(path)
    SqlStore.open(path).close()
    assert {row for row in tables_of(path) if row[1] != "of_yesterday"} == tables_of(fresh)


def test_a_step_that_fails_halfway_changes_nothing_and_can_be_tried_again(path: Path) -> None:
    an_older_one(path)
    run_sql(path, "CREATE TABLE outbox (in_the_way)")
    before = tables_of(path)
    for _ in range(2):
        with pytest.raises(StoreFailed, match="outbox already exists"):
            SqlStore.open(path)
        assert tables_of(path) == before
    run_sql(path, "DROP TABLE outbox")
    SqlStore.open(path).close()
    assert versions_of(path)[1] == schema.SCHEMA_VERSION


def test_a_schema_that_no_step_leads_on_from_is_refused(path: Path) -> None:
    an_older_one(path)
    run_sql(path, "CREATE TABLE alembic_version (version_num)", "INSERT INTO alembic_version VALUES ('0000')")
    before = tables_of(path)
    with pytest.raises(StoreFailed, match="no way up from the schema"):
        SqlStore.open(path)
    assert tables_of(path) == before


def test_a_reader_waits_for_the_writer_to_bring_an_older_schema_up_to_date(path: Path) -> None:
    an_older_one(path)
    refused(path, "made by an older wardian", read_only=True)


def test_the_last_step_is_the_version_that_the_schema_names() -> None:
    config = Config()
    config.set_main_option("script_location", str(upgrading._STEPS))
    assert ScriptDirectory.from_config(config).get_heads() == [f"{schema.SCHEMA_VERSION:04d}"]
