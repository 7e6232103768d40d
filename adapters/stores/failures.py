"""What SQLite's errors mean to a person, and whether waiting can help.

The rule of this file: a full disk, a lock and a storage that turned read-only may pass, or last until somebody
comes, and readings wait meanwhile; a failed read or write and a damaged file do not, and are never tried again on
the same connection.
"""

import errno
import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from wardian.adapters.stores.hours import Damaged
from wardian.adapters.stores.packing import ADAPTER
from wardian.rules.errors import StoreDamaged, StoreFailed, StoreFull

FULL: Final = "the disk is full"
#: By SQLite's primary result code.
_MAY_HEAL: Final = {
    sqlite3.SQLITE_BUSY: "the database is locked by another program",
    sqlite3.SQLITE_LOCKED: "the database is locked by another program",
    sqlite3.SQLITE_READONLY: "the storage is read-only",
}
_LASTING: Final = {
    sqlite3.SQLITE_CANTOPEN: "the database cannot be opened; its folder must exist and be writable",
    sqlite3.SQLITE_CORRUPT: "the database is damaged; put back a backup or move the file aside",
    sqlite3.SQLITE_IOERR: "the storage fails to read or write",
    sqlite3.SQLITE_NOTADB: "the file is not a database",
    sqlite3.SQLITE_PERM: "the database may not be written by this user",
}
#: The shared-memory file could not grow, which is how a full disk first shows in WAL mode.
_FULL_BY_ANOTHER_NAME: Final = {sqlite3.SQLITE_IOERR_SHMSIZE}
_DAMAGED: Final = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}


def failed(path: Path, why: str, *, may_heal: bool = False) -> StoreFailed:
    """Return the error that names this database."""
    return StoreFailed(ADAPTER, f"{path}: {why}", may_heal=may_heal)


def damaged(path: Path, why: str) -> StoreDamaged:
    """Return the error that says that this database is damaged."""
    return StoreDamaged(ADAPTER, f"{path}: {why}")


def full(path: Path, why: str = FULL) -> StoreFull:
    """Return the error that says that there is no room where this database lies."""
    return StoreFull(ADAPTER, f"{path}: {why}")


def explained(path: Path, error: BaseException | None) -> StoreFailed:
    """Return what an error from below means, with the library's own words behind ours."""
    code = getattr(error, "sqlite_errorcode", None)
    if code is None:
        return failed(path, f"cannot be kept: {error}")
    if code in _FULL_BY_ANOTHER_NAME:
        code = sqlite3.SQLITE_FULL
    primary = code & 0xFF
    if primary == sqlite3.SQLITE_IOERR and _is_read_only(path):
        primary = sqlite3.SQLITE_READONLY
    if code == sqlite3.SQLITE_READONLY_DBMOVED:
        return failed(path, "the database was moved or deleted while in use")
    if primary == sqlite3.SQLITE_FULL:
        return full(path, f"{FULL} ({error})")
    if primary in _DAMAGED:
        return damaged(path, f"{_LASTING[primary]} ({error})")
    if primary in _MAY_HEAL:
        return failed(path, f"{_MAY_HEAL[primary]} ({error})", may_heal=True)
    return failed(path, f"{_LASTING.get(primary, 'refused by the database')} ({error})")


def _is_read_only(path: Path) -> bool:
    """Whether the system writes nothing any more where a database is, as it does once a card has failed.

    Its own word for that may come late, so a byte of the lock file is written once more.
    """
    try:
        descriptor = os.open(f"{path}-lock", os.O_RDWR | os.O_CLOEXEC)
        try:
            os.pwrite(descriptor, os.pread(descriptor, 1, 0), 0)
        finally:
            os.close(descriptor)
    except OSError as error:
        return error.errno == errno.EROFS
    return False


@contextmanager
def explaining(path: Path) -> Iterator[None]:
    """Turn whatever SQLite, SQLAlchemy or the operating system raises inside into StoreFailed."""
    try:
        yield
    except DBAPIError as error:
        raise explained(path, error.orig) from error
    except (Damaged, UnicodeDecodeError) as error:
        raise damaged(path, f"{_LASTING[sqlite3.SQLITE_CORRUPT]} ({error})") from error
    except (sqlite3.Error, SQLAlchemyError, OSError, OverflowError, UnicodeError) as error:
        if isinstance(error, OSError) and error.errno == errno.ENOSPC:
            raise full(path) from error
        raise explained(path, error) from error
