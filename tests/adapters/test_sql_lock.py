"""Who may write a database, and what SQLite's errors are called."""

import os
import sqlite3
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Event

import pytest

from wardian.adapters.stores.failures import explained
from wardian.adapters.stores.lock import DatabaseLock, Holder, holder
from wardian.adapters.stores.sql import SqlStore
from wardian.rules.errors import StoreFailed


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "bench.db"


def test_the_lock_names_its_holder_only_while_it_is_held(path: Path) -> None:
    assert holder(path) is None
    lock = DatabaseLock.take(path)
    assert holder(path) == Holder(os.getpid(), "")
    lock.release()
    lock.release()
    assert holder(path) is None


def test_the_mark_of_a_made_database_outlives_the_lock(path: Path) -> None:
    lock = DatabaseLock.take(path)
    assert not lock.was_made
    lock.mark_made()
    lock.release()
    again = DatabaseLock.take(path)
    assert again.was_made
    again.release()


def test_who_only_asks_for_the_holder_keeps_no_writer_out(path: Path) -> None:
    is_over = Event()

    def ask() -> None:
        while not is_over.is_set():
            holder(path)

    with ThreadPoolExecutor(1) as pool:
        asking = pool.submit(ask)
        try:
            for _ in range(300):
                DatabaseLock.take(path).release()
        finally:
            is_over.set()
        asking.result(timeout=10)


def test_a_failed_opening_gives_the_lock_back(path: Path) -> None:
    path.write_bytes(b"no database at all" * 100)
    for _ in range(2):
        with pytest.raises(StoreFailed, match="not a database"):
            SqlStore.open(path)


def test_a_link_to_the_database_is_the_same_database(path: Path) -> None:
    store = SqlStore.open(path)
    link = path.with_name("link.db")
    link.symlink_to(path)
    with pytest.raises(StoreFailed, match="in use by another wardian"):
        SqlStore.open(link)
    store.close()


@pytest.mark.parametrize(
    ("code", "words", "may_heal"),
    [
        (sqlite3.SQLITE_FULL, "the disk is full", True),
        (sqlite3.SQLITE_IOERR_SHMSIZE, "the disk is full", True),
        (sqlite3.SQLITE_BUSY_SNAPSHOT, "the database is locked by another program", True),
        (sqlite3.SQLITE_LOCKED, "the database is locked by another program", True),
        (sqlite3.SQLITE_READONLY_DIRECTORY, "the storage is read-only", True),
        (sqlite3.SQLITE_READONLY_DBMOVED, "moved or deleted while in use", False),
        (sqlite3.SQLITE_IOERR_FSYNC, "the storage fails to read or write", False),
        (sqlite3.SQLITE_CORRUPT_INDEX, "the database is damaged", False),
        (sqlite3.SQLITE_CANTOPEN, "its folder must exist and be writable", False),
        (sqlite3.SQLITE_CONSTRAINT_NOTNULL, "refused by the database", False),
    ],
)
def test_an_error_of_the_database_is_called_by_what_it_means(
    path: Path, code: int, words: str, *, may_heal: bool
) -> None:
    error = sqlite3.OperationalError("in its own words")
    error.sqlite_errorcode = code
    found = explained(path, error)
    assert str(found).startswith(f"store: {path}: ")
    assert words in str(found)
    assert found.may_heal is may_heal


def test_what_keeps_the_holder_from_writing_is_seen_until_it_is_over(path: Path) -> None:
    lock = DatabaseLock.take(path)
    lock.mark_made()
    lock.announce("the disk is full;\n5 readings wait in memory")
    assert holder(path) == Holder(os.getpid(), "the disk is full; 5 readings wait in memory")
    lock.announce("")
    assert holder(path) == Holder(os.getpid(), "")
    lock.announce("ö" * 2000)
    lock.release()
    again = DatabaseLock.take(path)
    assert again.was_made
    assert holder(path) == Holder(os.getpid(), "")
    again.release()
