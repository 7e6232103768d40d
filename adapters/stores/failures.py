"""What SQLite's errors mean to a person, and whether waiting can help.

The rule of this file: a full disk, a lock and a read-only mount may pass; a failed read or write
and a damaged file do not, and are never tried again on the same connection.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from wardian.adapters.stores.hours import Damaged
from wardian.adapters.stores.packing import ADAPTER
from wardian.rules.errors import StoreFailed

#: By SQLite's primary result code.
_MAY_HEAL: Final = {
    sqlite3.SQLITE_BUSY: "the database is locked by another program",
    sqlite3.SQLITE_LOCKED: "the database is locked by another program",
    sqlite3.SQLITE_FULL: "the disk is full",
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


def failed(path: Path, why: str, *, may_heal: bool = False) -> StoreFailed:
    """Return the error that names this database."""
    return StoreFailed(ADAPTER, f"{path}: {why}", may_heal=may_heal)


def explained(path: Path, error: BaseException | None) -> StoreFailed:
    """Return what an error from below means, with the library's own words behind ours."""
    code = getattr(error, "sqlite_errorcode", None)
    if code is None:
        return failed(path, f"cannot be kept: {error}")
    if code in _FULL_BY_ANOTHER_NAME:
        code = sqlite3.SQLITE_FULL
    primary = code & 0xFF
    if code == sqlite3.SQLITE_READONLY_DBMOVED:
        return failed(path, "the database was moved or deleted while in use")
    if primary in _MAY_HEAL:
        return failed(path, f"{_MAY_HEAL[primary]} ({error})", may_heal=True)
    return failed(path, f"{_LASTING.get(primary, 'refused by the database')} ({error})")


@contextmanager
def explaining(path: Path) -> Iterator[None]:
    """Turn whatever SQLite, SQLAlchemy or the operating system raises inside into StoreFailed."""
    try:
        yield
    except DBAPIError as error:
        raise explained(path, error.orig) from error
    except Damaged as error:
        raise failed(path, f"{_LASTING[sqlite3.SQLITE_CORRUPT]} ({error})") from error
    except (sqlite3.Error, SQLAlchemyError, OSError, OverflowError, UnicodeError) as error:
        raise explained(path, error) from error
