"""A database that is damaged as the daemon starts: what can be done so that the watching goes on.

The rule of this file: nothing is deleted and nothing foreign is touched. What cannot be used gets another name,
and each thing that was done is told.
"""

import contextlib
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Final, NamedTuple

from wardian.adapters.stores import schema
from wardian.adapters.stores.copies import (
    backups,
    copied,
    flaw_of,
    put_aside,
    put_in_place,
    put_log_aside,
)
from wardian.adapters.stores.failures import explaining
from wardian.adapters.stores.flaws import flaws_of
from wardian.adapters.stores.lock import DatabaseLock, was_made
from wardian.adapters.stores.sql import SqlStore
from wardian.adapters.stores.sqlite_file import (
    log_of,
    open_for_writing,
    reading_uri,
    refuse_what_is_not_ours,
)
from wardian.rules.errors import StoreDamaged
from wardian.rules.kept import Mended

_MAGIC: Final = b"SQLite format 3\0"
#: Where the header of a database says whose it is, by the file format of SQLite.
_APPLICATION: Final = slice(68, 72)
#: How a log begins, in either order of bytes, and how long its own header is, by the same.
_LOG_MAGIC: Final = (b"\x37\x7f\x06\x82", b"\x37\x7f\x06\x83")
_LOG_HEADER_BYTES: Final = 32
#: Tables that are only ever added to, and so tell whether a log goes on from what is there; each with what no clock
#: that was set may change, too, its number first.
_ADDED_TO: Final = {
    "series": "id, tray, quantity",
    "journal": "number, tray, quantity, condition, event",
    "records": "number, kind, recorded_ms, tray, fields",
}
#: A start reads so much of what was kept.
_START_READS_MS: Final = 4 * 86_400_000


class Opened(NamedTuple):
    """An open store, and what was mended before."""

    store: SqlStore
    mended: list[Mended]


def open_whole(path: Path, folder: Path, now_ms: int) -> Opened:
    """Open the database at a path for writing; where it is damaged, take in the newest whole backup of a folder.

    Raises:
        StoreFailed: It is in use by another writer, not ours, newer than this program, or lost.
    """
    path = path.resolve()
    try:
        refuse_what_is_not_ours(path)
    except StoreDamaged:
        if not _is_ours(path):
            raise
    lock = DatabaseLock.take(path)
    try:
        with explaining(path):
            mended = list(_mend(path, folder, now_ms, lock))
        store = SqlStore(path, open_for_writing(path, lock), lock)
    except BaseException:
        lock.release()
        raise
    try:
        mended += _without_unreadable(store, now_ms, looks_at_all=lock.met_damage)
    except BaseException:
        store.close()
        raise
    return Opened(store, mended)


def _is_ours(path: Path) -> bool:
    """Whether what cannot be read was a database of ours: its header says so, or we remember that we made it."""
    with path.open("rb") as file:
        header = file.read(100)
    is_marked = header[_APPLICATION] == schema.APPLICATION_ID.to_bytes(4)
    return (header.startswith(_MAGIC) and is_marked) or was_made(path)


def _mend(path: Path, folder: Path, now_ms: int, lock: DatabaseLock) -> Iterator[Mended]:
    if not path.exists() or not path.stat().st_size:
        return
    log = log_of(path)
    has_log = log.exists() and log.stat().st_size > 0
    if lock.had_log and not log.exists():
        yield Mended("missing log", f"{log.name} is missing")
    why = _strangeness(path) if has_log else ""
    if why:
        yield Mended("log", why, put_log_aside(path, now_ms).name)
        has_log = False
    flaw = _flaw(path, reading_uri(path))
    if flaw and has_log and not _flaw(path, _without_log(path)):
        yield Mended("log", flaw, put_log_aside(path, now_ms).name)
    elif flaw:
        yield _replaced(path, folder, now_ms, flaw)


def _replaced(path: Path, folder: Path, now_ms: int, flaw: str) -> Mended:
    """Put the database aside, and the newest whole backup in its place where there is one."""
    whole = next((one for one in backups(folder, path) if not flaw_of(one.path)), None)
    # With no room for a copy the watching goes on in a new database all the same.
    with contextlib.suppress(OSError), contextlib.ExitStack() as made:
        part = made.enter_context(copied(whole.path, path)) if whole else None
        aside = put_aside(path, "damaged", now_ms)
        if whole and part:
            put_in_place(part, path)
            return Mended("database", flaw, aside.name, whole.time_ms)
        return Mended("database", flaw, aside.name)
    return Mended("database", flaw, put_aside(path, "damaged", now_ms).name)


def _flaw(path: Path, uri: str) -> str:
    """Return what is broken in a database, looked at with its log or without.

    To SQLite a read that fails looks like damage, too. What is not there at a second look was only that.
    """
    return _seen_flaw(path, uri) and _seen_flaw(path, uri)


def _seen_flaw(path: Path, uri: str) -> str:
    try:
        with explaining(path), contextlib.closing(sqlite3.connect(uri, uri=True)) as connection:
            return "; ".join(flaws_of(connection))
    except StoreDamaged as error:
        return error.why.removeprefix(f"{path}: ")


def _without_log(path: Path) -> str:
    return f"{path.as_uri()}?immutable=1"


def _strangeness(path: Path) -> str:
    """Return why a log cannot be that of its database; empty when it may be."""
    log = log_of(path)
    with log.open("rb") as file:
        header = file.read(_LOG_HEADER_BYTES)
    if len(header) < _LOG_HEADER_BYTES or header[:4] not in _LOG_MAGIC:
        return f"{log.name} is no log of a database"
    try:
        known = _last_rows(path)
        with contextlib.closing(sqlite3.connect(reading_uri(path), uri=True)) as connection:
            for table, row in known.items():
                if _row(connection, table, f"rowid = {row[0]}") != row:
                    return f"{log.name} is of another database"
    except sqlite3.DatabaseError:
        return ""  # it is looked at as a whole next
    return ""


def _last_rows(path: Path) -> dict[str, tuple[object, ...]]:
    """Return what was added last to each table that is only added to, by the database without its log."""
    with contextlib.closing(sqlite3.connect(_without_log(path), uri=True)) as connection:
        found = {table: _row(connection, table, "1 ORDER BY rowid DESC") for table in _ADDED_TO}
    return {table: row for table, row in found.items() if row is not None}


def _row(connection: sqlite3.Connection, table: str, where: str) -> tuple[object, ...] | None:
    sql = f"SELECT {_ADDED_TO[table]} FROM {table} WHERE {where} LIMIT 1"  # noqa: S608 - names and numbers of ours alone
    row: tuple[object, ...] | None = connection.execute(sql).fetchone()
    return row


def _without_unreadable(store: SqlStore, now_ms: int, *, looks_at_all: bool) -> Iterator[Mended]:
    """Put packed hours aside that a start would read and cannot, or that ended the last run."""
    from_ms = min(store.folded_until_ms(), now_ms) - _START_READS_MS
    found = store.unreadable(0 if looks_at_all else from_ms)
    if not found:
        try:
            store.latest()
        except StoreDamaged:
            found = store.unreadable()
    if found:
        yield store.put_aside(found, now_ms)
    store.announce("")
