"""``wardian store``: what is looked at, copied, put back, and refused."""

import json
import os
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from base_config import BASE
from kept_week import kept_week

from wardian.adapters.stores.sql import SqlStore
from wardian.daemon.cli import main

Say = Callable[..., tuple[int, str, str]]


@pytest.fixture
def say(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Say:
    """Return what runs a command on a bench: its status, what it prints, what it refuses."""
    (tmp_path / "config.yaml").write_text(BASE, encoding="utf-8")
    monkeypatch.chdir(tmp_path)

    def run(*words: str) -> tuple[int, str, str]:
        try:
            status = main(words)
        except SystemExit as wrong_usage:
            status = int(wrong_usage.code or 0)
        return status, *capsys.readouterr()

    return run


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "wardian.db"
    kept_week(path, 5).close()
    return path


def count(path: Path) -> int:
    with closing(SqlStore.open(path, read_only=True)) as store:
        return store.counts()["readings"]


def spoilt_chunk(path: Path) -> None:
    with closing(sqlite3.connect(path)) as other:
        other.execute("UPDATE chunks SET readings = x'00010203040506' WHERE series_id = 2")
        other.commit()


def test_what_is_whole_is_called_so(say: Say, path: Path) -> None:
    status, out, err = say("store", "check")
    assert (status, err) == (0, "")
    assert out == f"{path} is whole: every page, and each of 1,205 readings can be read\n"
    assert json.loads(say("store", "check", "--json")[1]) == {
        "database": str(path),
        "whole": True,
        "flaws": [],
        "readings": 1205,
    }


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (spoilt_chunk, "chunks, hour and series (1772452800000, 2)"),
        (lambda path: os.truncate(path, path.stat().st_size - 3 * 4096), "the database is damaged"),
        (lambda path: path.write_bytes(b"x" * 5000), "not a database"),
    ],
)
def test_what_is_damaged_is_named_with_status_1(
    say: Say, path: Path, spoil: Callable[[Path], None], words: str
) -> None:
    spoil(path)
    status, out, _ = say("store", "check")
    assert status == 1
    assert out.startswith(f"{path} is damaged:\n  ")
    assert words in out or "malformed" in out
    assert json.loads(say("store", "check", "--json")[1])["whole"] is False


def test_where_there_is_no_database_nothing_can_be_looked_at_or_copied(say: Say) -> None:
    for act in ("check", "backup"):
        status, out, err = say("store", act)
        assert (status, out) == (3, "")
        assert "there is no database yet" in err


def test_a_copy_goes_among_the_backups_or_where_it_is_told_to(say: Say, path: Path) -> None:
    status, out, _ = say("store", "backup", "--json")
    (made,) = path.with_name("backups").iterdir()
    assert (status, json.loads(out)) == (0, {"out": str(made), "bytes": made.stat().st_size, "deleted": []})
    assert say("store", "backup", "--out", "copy.db")[0] == 0
    assert count(made) == count(path.with_name("copy.db")) == 1205
    status, out, err = say("store", "backup", "--out", "copy.db")
    assert (status, out, err) == (2, "", f"wardian store backup: {path.parent}/copy.db is there already\n")


def test_of_too_many_backups_the_oldest_goes_and_is_named(say: Say, path: Path) -> None:
    folder = path.with_name("backups")
    folder.mkdir()
    for day in (1, 2, 3):
        (folder / f"wardian.db.2026030{day}T033000Z.backup").touch()
    out = say("store", "backup")[1]
    assert "deleted: " in out
    assert "20260301T033000Z" in out
    assert len(list(folder.iterdir())) == 3


def test_a_backup_is_put_in_place_and_what_was_there_is_put_aside(say: Say, path: Path) -> None:
    say("store", "backup", "--out", "copy.db")
    kept_week(path, 7).close()
    status, out, _ = say("store", "restore", "copy.db", "--json")
    told = json.loads(out)
    assert (status, told["database"], told["from"]) == (0, str(path), f"{path.parent}/copy.db")
    assert (count(path), count(Path(told["aside"])), count(path.with_name("copy.db"))) == (1205, 1687, 1205)


def test_a_database_that_is_gone_comes_back_from_a_backup(say: Say, path: Path) -> None:
    say("store", "backup", "--out", "copy.db")
    path.unlink()
    status, out, _ = say("store", "restore", "copy.db")
    assert (status, count(path)) == (0, 1205)
    assert "put aside" not in out


def test_while_a_daemon_has_the_database_nothing_is_restored_but_it_can_be_looked_at_and_copied(
    say: Say, path: Path
) -> None:
    with closing(SqlStore.open(path)) as store:
        assert say("store", "check")[0] == say("store", "backup", "--out", "copy.db")[0] == 0
        status, _, err = say("store", "restore", "copy.db")
        assert status == 3
        assert "in use by another wardian" in err
        assert store.counts()["readings"] == 1205


@pytest.mark.parametrize(
    ("copy", "status", "words"),
    [
        ("absent.db", 2, "is no file"),
        ("config.yaml", 3, "no backup that can be taken in: "),
        ("wardian.db", 3, "cannot be restored from itself"),
        ("newer.db", 3, "made by a newer wardian"),
        ("broken.db", 3, "no backup that can be taken in: "),
    ],
)
def test_what_is_no_whole_backup_of_ours_is_refused_and_nothing_is_changed(
    say: Say, path: Path, copy: str, status: int, words: str
) -> None:
    for name in ("newer.db", "broken.db"):
        say("store", "backup", "--out", name)
    with closing(sqlite3.connect(path.with_name("newer.db"))) as newer:
        newer.execute("PRAGMA user_version = 99")
    os.truncate(path.with_name("broken.db"), 40_000)
    before = path.read_bytes()
    found = say("store", "restore", copy)
    assert (found[0], found[1]) == (status, "")
    assert words in found[2]
    assert path.read_bytes() == before
    assert not list(path.parent.glob("*.replaced-*"))


def test_in_memory_there_is_nothing_to_look_after(say: Say, tmp_path: Path) -> None:
    text = (tmp_path / "config.yaml").read_text()
    (tmp_path / "config.yaml").write_text(text.replace("sqlite:///wardian.db", "memory:"))
    for words in (("check",), ("backup",), ("restore", "x.db")):
        status, out, err = say("store", *words)
        assert (status, out) == (2, "")
        assert "nothing is kept in memory:" in err


def test_an_act_must_be_named(say: Say) -> None:
    assert say("store")[0] == 2
