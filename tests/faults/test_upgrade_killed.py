"""A database of an older wardian, killed at any statement of its upgrade: it is the old one or the new one, whole."""

import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any, Final

import pytest
from alembic import command
from alembic.config import Config
from sqlalchemy import create_engine

from wardian.adapters.stores import schema, upgrading
from wardian.adapters.stores.copies import flaw_of
from wardian.adapters.stores.sql import SqlStore
from wardian.rules.errors import StoreFailed

#: Opens the database and ends, as a kill would, before the statement of a number; prints how many there were.
OPENS: Final = """
import os, sys
from pathlib import Path
from sqlalchemy import Engine, event
from wardian.adapters.stores.sql import SqlStore
last, done = int(sys.argv[2]), 0

@event.listens_for(Engine, "before_cursor_execute")
def count(*_):
    global done
    done += 1
    if done == last:
        os.kill(os.getpid(), 9)

SqlStore.open(Path(sys.argv[1])).close()
print(done)
"""


def an_old_one(path: Path) -> None:
    """Make what the program of the first step left, with something in it."""
    config = Config()
    config.set_main_option("script_location", str(upgrading._STEPS))
    engine = create_engine(f"sqlite:///{path}")
    with engine.begin() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, "0001")
    engine.dispose()
    with closing(sqlite3.connect(path)) as old:
        old.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
        old.execute("PRAGMA user_version = 1")
        old.execute("INSERT INTO series VALUES (1, 'tray-a', 'ppfd')")
        old.executemany("INSERT INTO readings VALUES (?, 1, 90.0)", [(n,) for n in range(500)])
        old.commit()


def opened(path: Path, last: int) -> "subprocess.CompletedProcess[str]":
    program = [sys.executable, "-c", OPENS, str(path), str(last)]
    return subprocess.run(program, capture_output=True, text=True, check=False, timeout=60)


def seen(path: Path) -> tuple[int, int, bool]:
    """Return schema, readings and whether a table of the last step is there, read with whatever log there is."""
    with closing(sqlite3.connect(path)) as connection:
        (version,) = connection.execute("PRAGMA user_version").fetchone()
        (count,) = connection.execute("SELECT count(*) FROM readings").fetchone()
        names = {row[0] for row in connection.execute("SELECT name FROM sqlite_master")}
    return version, count, "rollups" in names


def statements(folder: Path) -> int:
    """Return how many statements an upgrade has."""
    path = folder / "whole.db"
    an_old_one(path)
    return int(opened(path, 0).stdout)


@pytest.mark.fault(41)
@pytest.mark.parametrize("every", [6, pytest.param(1, marks=pytest.mark.long)])
def test_a_kill_at_any_statement_leaves_the_old_one_or_the_new_one_and_the_next_start_goes_on(
    tmp_path: Path, every: int
) -> None:
    total = statements(tmp_path)
    assert total >= 15
    states: set[Any] = set()
    for last in range(1, total + 1, every):
        folder = tmp_path / str(last)
        folder.mkdir()
        path = folder / "bench.db"
        an_old_one(path)
        assert opened(path, last).returncode == -9
        version, count, has_last = seen(path)
        assert (version, has_last) in ((1, False), (schema.SCHEMA_VERSION, True))
        assert count == 500
        states.add(version)
        SqlStore.open(path).close()
        assert (seen(path), flaw_of(path)) == ((schema.SCHEMA_VERSION, 500, True), "")
        backup = Path(f"{path}.before-{schema.SCHEMA_VERSION}")
        assert seen(backup) == (1, 500, False)
    assert 1 in states


@pytest.mark.fault(41)
def test_an_older_wardian_refuses_what_a_newer_one_has_upgraded(tmp_path: Path) -> None:
    path = tmp_path / "bench.db"
    SqlStore.open(path).close()
    with closing(sqlite3.connect(path)) as newer:
        newer.execute(f"PRAGMA user_version = {schema.SCHEMA_VERSION + 1}")
    before = path.read_bytes()
    with pytest.raises(StoreFailed, match="made by a newer wardian"):
        SqlStore.open(path)
    assert path.read_bytes() == before
