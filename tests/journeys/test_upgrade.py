"""A new version, and the way back: what an older program left is kept twice over, and an older program touches nothing newer."""

import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from alembic import command
from alembic.config import Config
from small_bench import SmallBench
from sqlalchemy import create_engine

from wardian.adapters.stores import schema, upgrading

pytestmark = pytest.mark.journey

WaitUntil = Callable[..., None]
#: 2026-03-02T12:00Z.
NOON_MS = 1_772_452_800_000


def wardian(folder: Path, *words: str) -> "subprocess.CompletedProcess[str]":
    asked = [sys.executable, "-m", "wardian.daemon.cli", *words]
    return subprocess.run(asked, cwd=folder, capture_output=True, text=True, timeout=60, check=False)


def said(path: Path, question: str) -> int:
    with closing(sqlite3.connect(path)) as database:
        return int(database.execute(question).fetchone()[0])


def done(path: Path, *statements: str) -> None:
    with closing(sqlite3.connect(path)) as database, database:
        for statement in statements:
            database.execute(statement)


def of_the_first_version(path: Path) -> None:
    """Make a database as the program of the first schema left it, with a reading in it."""
    config = Config()
    config.set_main_option("script_location", str(upgrading._STEPS))
    engine = create_engine(f"sqlite:///{path}")
    with engine.begin() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, "0001")
    engine.dispose()
    done(
        path,
        f"PRAGMA application_id = {schema.APPLICATION_ID}",
        "PRAGMA user_version = 1",
        "INSERT INTO series VALUES (1, 'tray-a', 'medium_temperature')",
        f"INSERT INTO readings VALUES ({NOON_MS}, 1, 21.5)",
    )


def test_an_upgrade_keeps_what_was_and_a_downgrade_is_refused_and_can_be_undone(
    tmp_path: Path, wait_until: WaitUntil
) -> None:
    bench, path = SmallBench(tmp_path), tmp_path / "bench.db"
    backup = Path(f"{path}.before-{schema.SCHEMA_VERSION}")
    of_the_first_version(path)

    # A command that only reads leaves the step to the daemon.
    assert wardian(tmp_path, "status").returncode == 3
    assert said(path, "PRAGMA user_version") == 1

    watch_for_a_while(bench, wait_until)
    assert said(path, "PRAGMA user_version") == schema.SCHEMA_VERSION
    assert said(backup, "PRAGMA user_version") == 1
    assert said(backup, "SELECT count(*) FROM readings WHERE value = 21.5") == 1
    exported = wardian(tmp_path, "export", "--out", "kept.csv")
    assert exported.returncode == 0, exported.stderr
    assert ",medium_temperature,21.5," in (tmp_path / "kept.csv").read_text(encoding="utf-8")

    # An older program meets what a newer one has made.
    done(path, f"PRAGMA user_version = {schema.SCHEMA_VERSION + 1}")
    as_it_was = path.read_bytes()
    for words in (["run"], ["status"], ["export", "--out", "more.csv"]):
        refused = wardian(tmp_path, *words)
        assert refused.returncode == 3
        assert "made by a newer wardian" in refused.stderr
        assert "Traceback" not in refused.stderr
    assert path.read_bytes() == as_it_was

    # The way back: the copy in its place.
    for beside in tmp_path.glob("bench.db-*"):
        beside.unlink()
    backup.replace(path)
    watch_for_a_while(bench, wait_until)
    assert said(path, "SELECT count(*) FROM readings WHERE value = 21.5") == 1


def watch_for_a_while(bench: SmallBench, wait_until: WaitUntil) -> None:
    """Run the daemon until it has kept something new, and end it cleanly."""
    with (bench.folder / "daemon.log").open("ab") as log:
        process = bench.start(log)
    try:
        wait_until(lambda: bench.kept() >= 2, "a reading beside the one that was there", 60)
        process.send_signal(signal.SIGTERM)
        assert process.wait(15) == 0
    finally:
        process.kill()
