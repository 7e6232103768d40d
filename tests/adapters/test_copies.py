"""Copies of the database: whole or not there at all, found by their names, and put in place without a loss."""

import os
import re
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Final

import pytest

from wardian.adapters.stores import copies
from wardian.adapters.stores.copies import back_up, backup_path, backups, flaw_of, keep_newest
from wardian.adapters.stores.sql import SqlStore
from wardian.rules.errors import StoreFailed, StoreFull
from wardian.rules.ports import Round
from wardian.rules.readings import Reading

NOON_MS: Final = 1_772_452_800_000
DAY_MS: Final = 86_400_000


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "bench.db"


def kept(path: Path, count: int = 50) -> SqlStore:
    store = SqlStore.open(path)
    store.keep(Round(1, readings=[Reading(n, "tray-a", "ppfd", float(n)) for n in range(count)]))
    return store


def count_in(path: Path) -> int:
    with closing(SqlStore.open(path, read_only=True)) as store:
        return store.counts()["readings"]


def test_a_copy_is_made_beside_a_living_writer_and_has_all_that_was_committed(path: Path) -> None:
    store = kept(path)
    out = path.with_name("folder") / "copy.db"
    assert back_up(path, out) == out.stat().st_size
    store.keep(Round(1, readings=[Reading(99, "tray-a", "ppfd", 1.0)]))
    assert (count_in(out), store.counts()["readings"]) == (50, 51)
    assert flaw_of(out) == ""
    assert sorted(file.name for file in out.parent.iterdir()) == ["copy.db"]
    store.close()


def test_a_copy_without_room_is_refused_and_leaves_nothing(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept(path).close()
    monkeypatch.setattr(copies, "free_bytes", lambda _: 1_000_000)
    with pytest.raises(StoreFull, match=r"no room for a backup in .*: 1 MB are free, 16 MB needed"):
        back_up(path, path.with_name("copy.db"))
    assert not list(path.parent.glob("copy*"))


def test_a_copy_that_fails_leaves_the_older_one_of_that_name(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept(path).close()
    out = path.with_name("copy.db")
    back_up(path, out)
    before = out.read_bytes()
    monkeypatch.setattr(copies, "flaw_of", lambda _: "broken")
    with pytest.raises(StoreFailed, match="is not whole: broken"):
        back_up(path, out)
    assert out.read_bytes() == before
    assert not list(path.parent.glob("*.part"))


def test_of_what_is_no_database_of_ours_no_copy_is_made(path: Path) -> None:
    with pytest.raises(StoreFailed, match="there is no database yet"):
        back_up(path, path.with_name("copy.db"))
    with closing(sqlite3.connect(path)) as other:
        other.execute("CREATE TABLE bookings (room)")
    with pytest.raises(StoreFailed, match="another program's"):
        back_up(path, path.with_name("copy.db"))


def test_backups_are_found_by_their_names_the_newest_first(path: Path) -> None:
    folder = path.with_name("backups")
    assert backups(folder, path) == []
    folder.mkdir()
    for day in (2, 0, 1):
        backup_path(folder, path, NOON_MS + day * DAY_MS).touch()
    for name in (
        "bench.db.backup",
        "bench.db.20260302T120000Z.backup.part",
        "other.db.20260302T120000Z.backup",
        "x",
    ):
        (folder / name).touch()
    assert [one.time_ms for one in backups(folder, path)] == [NOON_MS + day * DAY_MS for day in (2, 1, 0)]
    assert [one.name for one in keep_newest(folder, path, 2)] == ["bench.db.20260302T120000Z.backup"]
    assert len(list(folder.iterdir())) == 6


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda path: path.unlink(), "no such file"),
        (lambda path: os.truncate(path, 0), "nothing in it"),
        (lambda path: os.truncate(path, 4096 * 3), "damaged|malformed"),
        (lambda path: path.write_text("time,tray\n" * 100), "not a database"),
    ],
)
def test_what_is_wrong_with_a_copy_is_named(path: Path, spoil: Callable[[Path], object], words: str) -> None:
    kept(path).close()
    spoil(path)
    assert re.search(words, flaw_of(path))


def test_of_rows_that_hang_on_nothing_a_copy_is_not_whole(path: Path) -> None:
    kept(path).close()
    with closing(sqlite3.connect(path)) as other:
        other.execute("INSERT INTO newest VALUES (77, 1)")
        other.commit()
    assert flaw_of(path) == "a row of newest hangs on nothing"


def test_what_is_put_aside_keeps_its_log_and_takes_no_name_that_is_taken(path: Path) -> None:
    names = []
    for _ in range(2):
        path.write_text("database")
        Path(f"{path}-wal").write_text("log")
        names.append(copies.put_aside(path, "damaged", NOON_MS).name)
    assert names == ["bench.db.damaged-20260302T120000Z", "bench.db.damaged-20260302T120000Z-2"]
    assert all(path.with_name(f"{name}-wal").read_text() == "log" for name in names)


def test_nothing_is_put_in_place_of_a_database_that_is_there(path: Path) -> None:
    path.write_text("here")
    part = path.with_name("part")
    part.write_text("new")
    with pytest.raises(FileExistsError):
        copies.put_in_place(part, path)
    assert path.read_text() == "here"
