"""The power is cut: every moment of a recorded run, with any part of what was not synced missing, misplaced or torn."""

import json
import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Iterable
from contextlib import closing
from pathlib import Path

import pytest
from power_cut import Change, Disk, read_record
from power_cut_program import DATABASE, READINGS, SAID

from wardian.adapters.stores.opening import open_store
from wardian.rules.errors import StoreFailed

SUPPORT = Path(__file__).parents[1] / "support"


@pytest.fixture(scope="module")
def recorder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The library that records what a program writes."""
    library = tmp_path_factory.mktemp("recorder") / "record_writes.so"
    source = SUPPORT / "record_writes.c"
    subprocess.run(["gcc", "-shared", "-fPIC", "-O2", "-o", library, source, "-ldl", "-lpthread"], check=True)
    return library


def recorded(recorder: Path, folder: Path, begin: int, rounds: int) -> list[Change]:
    """Run the program on a folder; return what it wrote there."""
    record = folder.with_name(f"{folder.name}.record")
    record.unlink(missing_ok=True)
    environment = {
        **os.environ,
        "LD_PRELOAD": str(recorder),
        "RECORD_FOLDER": str(folder),
        "RECORD_TO": str(record),
    }
    environment["PYTHONPATH"] = os.pathsep.join([str(SUPPORT), environment.get("PYTHONPATH", "")])
    program = [sys.executable, str(SUPPORT / "power_cut_program.py"), str(folder), str(begin), str(rounds)]
    subprocess.run(program, env=environment, check=True, timeout=120)
    return read_record(record, folder)


class Cuts:
    """Cuts the power at every sync of a record and at its end, and looks at each disk that may be left."""

    def __init__(self, folder: Path, disk: Disk, said: Iterable[str] = (), *, lies: bool = False) -> None:
        self.folder = folder
        self.disk = disk
        self.said = list(said)
        self.lies = lies
        self.states = 0
        self.refusals: set[str] = set()

    def play(self, changes: Iterable[Change], stride: int = 1) -> None:
        """Let changes happen; of the disks after a cut the first few are looked at, and every so many-th."""
        for change in changes:
            if change.name == SAID:
                self.said += change.data.decode().split()
            elif change.kind == "sync":
                self.cut(stride)
                if not self.lies:
                    self.disk.take(change)
            elif not change.name.endswith("-shm"):
                self.disk.take(change)
        self.cut(stride)

    def cut(self, stride: int) -> None:
        for number, files in enumerate(self.disk.after_cut()):
            if number < 4 or number % stride == 0:
                self.states += 1
                self.look_at(files, is_opened=number % 50 == 0)

    def look_at(self, files: dict[str, bytes], *, is_opened: bool) -> None:
        shutil.rmtree(self.folder, ignore_errors=True)
        self.folder.mkdir()
        for name, content in files.items():
            (self.folder / name).write_bytes(content)
        if "opened" not in self.said:
            self.look_at_beginning()
            return
        if is_opened:
            with closing(open_store(f"sqlite:///{DATABASE}", self.folder)) as store:
                assert store.damage() == ""
        with closing(sqlite3.connect(self.folder / DATABASE)) as database:
            self.holds(database)

    def look_at_beginning(self) -> None:
        """Look at a store that was not whole yet: the next start makes it, or says what to do."""
        try:
            open_store(f"sqlite:///{DATABASE}", self.folder).close()
        except StoreFailed as error:
            self.refusals.add(error.why)

    def holds(self, database: sqlite3.Connection) -> None:
        assert database.execute("PRAGMA quick_check").fetchall() == [("ok",)]
        journal = [
            json.loads(fields)["number"] for (fields,) in database.execute("SELECT fields FROM journal")
        ]
        # Rounds are there whole, in order, and none of those that were said to be done is missing.
        assert journal == list(range(len(journal)))
        acknowledged = [int(word) for word in self.said if word.isdecimal()]
        assert journal[: len(acknowledged)] == acknowledged
        assert count(database, "readings") == READINGS * len(journal)
        keys = [key for (key,) in database.execute("SELECT key FROM outbox ORDER BY number")]
        assert keys == [f"key-{number}" for number in journal]
        notes = dict(database.execute("SELECT name, value FROM notes"))
        assert notes.get("number") == (str(journal[-1]) if journal else None)
        delivered = "SELECT key FROM outbox WHERE delivered_ms IS NOT NULL"
        sent = {key for (key,) in database.execute(delivered)}
        assert sent >= {
            word.removeprefix("delivered ") for word in self.said if word.startswith("delivered ")
        }


def count(database: sqlite3.Connection, table: str) -> int:
    (found,) = database.execute(f"SELECT count(*) FROM {table}").fetchone()
    return int(found)


@pytest.mark.fault(40)
@pytest.mark.parametrize(("rounds", "stride"), [(2, 80), pytest.param(24, 1, marks=pytest.mark.long)])
def test_whatever_part_of_the_last_writes_is_missing_no_committed_round_is(
    tmp_path: Path, recorder: Path, rounds: int, stride: int
) -> None:
    folder = tmp_path / "bench"
    folder.mkdir()
    first = Cuts(tmp_path / "after", Disk())
    first.play(recorded(recorder, folder, 0, rounds), stride)
    assert first.refusals == set(), "a start that was cut off needs somebody"
    again = Cuts(tmp_path / "after", Disk.of(folder), first.said)
    again.play(recorded(recorder, folder, rounds, rounds), stride)
    print(f"\n{first.states + again.states} disks after a cut of the power, none with anything missing")


@pytest.mark.fault(40)
def test_the_same_look_finds_what_is_lost_where_a_disk_lies_about_sync(
    tmp_path: Path, recorder: Path
) -> None:
    folder = tmp_path / "bench"
    folder.mkdir()
    recorded(recorder, folder, 0, 1)
    cuts = Cuts(tmp_path / "after", Disk.of(folder), ["opened", "0"], lies=True)
    with pytest.raises((AssertionError, StoreFailed, sqlite3.DatabaseError)):
        cuts.play(recorded(recorder, folder, 1, 3), 40)
