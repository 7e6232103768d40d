"""The database file: what lies at a path, and connections that keep what they promise.

The rule of this file: nothing is opened for writing before it is known to be ours and of a schema we
know; until then the file and what lies beside it are only looked at.
"""

import contextlib
import logging
import os
import sqlite3
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Final, NamedTuple

from sqlalchemy import Connection, Engine, QueuePool, create_engine, event

from wardian.adapters.stores import schema
from wardian.adapters.stores.failures import explaining, failed
from wardian.adapters.stores.lock import DatabaseLock, mark_whole

log = logging.getLogger(__name__)

_BUSY_TIMEOUT_MS: Final = 5000
#: Above the length at which SQLite begins the log anew (1000 pages), so that it is cut only after a burst.
_LOG_LIMIT_BYTES: Final = 16 * 1024 * 1024
#: The execution option under which a connection's transactions begin.
_BEGIN: Final = "wardian_begin"


class Found(NamedTuple):
    """What a file says of itself: whose it is, its schema, and how many tables it has."""

    application_id: int
    version: int
    tables: int

    @property
    def is_empty(self) -> bool:
        """Whether nothing was ever kept in it."""
        return self == (0, 0, 0)


def refuse_what_is_not_ours(path: Path) -> None:
    """Look whether the file may become or be our database, before anything is made beside it.

    Raises:
        StoreFailed: It may not, or its folder is missing.
    """
    with explaining(path):
        found = look_at(path)
        if found is not None and not found.is_empty:
            refuse_foreign(path, found)


def open_for_writing(path: Path, lock: DatabaseLock) -> Engine:
    """Return an engine on the database at this path, made or brought up to date if need be.

    Raises:
        StoreFailed: What lies there is not ours, newer than this program, damaged or lost.
    """
    with explaining(path):
        found = look_at(path)
        if found is None or found.is_empty:
            _refuse_loss(path, was_made=lock.was_made and found is not None)
        else:
            refuse_foreign(path, found)
        engine = _engine(partial(_connect_to_write, path))
        try:
            _prepare(path, engine, found)
        except BaseException:
            engine.dispose()
            raise
        lock.mark_made()
    return engine


def open_for_reading(path: Path) -> Engine:
    """Return an engine that reads beside a live writer, writes nothing and makes no file.

    Raises:
        StoreFailed: There is no database of ours with the present schema.
    """
    with explaining(path):
        found = look_at(path)
        if found is None or found.is_empty:
            raise failed(path, "there is no database yet; `wardian run` makes it")
        refuse_foreign(path, found)
        if found.version < schema.SCHEMA_VERSION:
            raise failed(path, "made by an older wardian; start `wardian run` once to bring it up to date")
        return _engine(partial(_connect_to_read, path))


@contextlib.contextmanager
def asking(path: Path) -> Iterator[Connection]:
    """Open a short transaction that writes beside a live writer; for what is asked of it, and nothing else."""
    engine = _engine(partial(_connect_to_write, path, makes=False))
    try:
        with writing(engine).begin() as connection:
            yield connection
    finally:
        engine.dispose()
        # The last to close puts the log away, and that may have been us.
        if not log_of(path).exists():
            mark_whole(path)


def writing(engine: Engine) -> Engine:
    """Return the same engine with transactions that take the write lock as they begin.

    One that reads first and writes later is refused at once when another wrote in between.
    """
    return engine.execution_options(**{_BEGIN: "BEGIN IMMEDIATE"})


# ------------------------------------------------------------------------------------- looking


def look_at(path: Path) -> Found | None:
    """Return what the file says of itself, or None where there is no file."""
    if not path.parent.is_dir():
        raise failed(path, f"the folder {path.parent} does not exist; make it first")
    if not path.exists():
        return None
    if not path.is_file():
        raise failed(path, "is not a file")
    with contextlib.closing(sqlite3.connect(reading_uri(path), uri=True)) as connection:
        ask = (
            "PRAGMA application_id",
            "PRAGMA user_version",
            "SELECT count(*) FROM sqlite_master",
        )
        return Found(*(connection.execute(question).fetchone()[0] for question in ask))


def reading_uri(path: Path) -> str:
    """Return how to open a database so that no file is made or changed.

    A writer keeps its log beside the file as long as it lives, and a killed one leaves it: then it
    must be read. Without a log nobody writes, and a plain read-only open would make an empty one.
    """
    return f"{path.as_uri()}?{'mode=ro' if log_of(path).exists() else 'immutable=1'}"


def log_of(path: Path) -> Path:
    """Return where the log of a database is while somebody has it open, and after a writer was killed."""
    return path.with_name(f"{path.name}-wal")


def _refuse_loss(path: Path, *, was_made: bool) -> None:
    log_file = log_of(path)
    if was_made:
        raise failed(
            path, f"was a database and is empty now; put back a backup, or delete it and {path}-lock"
        )
    if log_file.exists() and log_file.stat().st_size:
        raise failed(path, f"is missing or empty, but what was last written is in {log_file}; put it back")


def refuse_foreign(path: Path, found: Found) -> None:
    """Refuse what is another program's, or of a newer one of ours.

    Raises:
        StoreFailed: It is.
    """
    if found.application_id != schema.APPLICATION_ID:
        raise failed(path, "is another program's database; name another file in store.url")
    if found.version > schema.SCHEMA_VERSION:
        raise failed(
            path,
            f"made by a newer wardian (schema {found.version}; this one knows up to "
            f"{schema.SCHEMA_VERSION}); nothing was changed, install the newer one",
        )


# ------------------------------------------------------------------------------------- opening


def _prepare(path: Path, engine: Engine, found: Found | None) -> None:
    if found is None or found.is_empty:
        _make(path)
        log.info("database created", extra={"path": str(path)})
    elif found.version < schema.SCHEMA_VERSION:
        _back_up(path, engine)
        from wardian.adapters.stores.upgrading import upgrade

        with writing(engine).begin() as connection:
            upgrade(connection)
            schema.stamp(connection)
        log.info("database upgraded", extra={"path": str(path), "schema": schema.SCHEMA_VERSION})


def _make(path: Path) -> None:
    """Make a database beside its place and put it there whole: a start that is cut off leaves none, not half of one."""
    unfinished = Path(f"{path}.new")
    for end in ("", "-wal", "-shm", "-journal"):
        Path(f"{unfinished}{end}").unlink(missing_ok=True)
    engine = _engine(partial(_connect_to_write, unfinished))
    try:
        with writing(engine).begin() as connection:
            schema.create(connection)
        with engine.connect() as connection:
            _move_log_into_file(connection)
    finally:
        engine.dispose()
    unfinished.replace(path)
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)


def _move_log_into_file(connection: Connection) -> None:
    """A file whose tables were still in its log alone would look empty to whoever copied just the file."""
    driver_of(connection).execute("PRAGMA wal_checkpoint(TRUNCATE)")


def _back_up(path: Path, engine: Engine) -> None:
    """Keep the database as it was before the step, complete or not at all."""
    backup = Path(f"{path}.before-{schema.SCHEMA_VERSION}")
    unfinished = Path(f"{backup}.part")
    unfinished.unlink(missing_ok=True)
    with engine.connect() as connection:
        driver_of(connection).execute("VACUUM INTO ?", (str(unfinished),))
    with unfinished.open("rb") as written:
        os.fsync(written.fileno())
    unfinished.replace(backup)
    log.info("database backed up", extra={"path": str(backup)})


def driver_of(connection: Connection) -> sqlite3.Connection:
    """Return the driver's connection, for the few statements that must not run in a transaction."""
    driver = connection.connection.dbapi_connection
    assert isinstance(driver, sqlite3.Connection)
    return driver


def _engine(connect: Callable[[], sqlite3.Connection]) -> Engine:
    engine = create_engine("sqlite://", creator=connect, poolclass=QueuePool, pool_size=2, max_overflow=8)

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        driver_of(connection).execute(connection.get_execution_options().get(_BEGIN, "BEGIN"))

    return engine


def _connect_to_write(path: Path, *, makes: bool = True) -> sqlite3.Connection:
    address = f"{path.as_uri()}?mode={'rwc' if makes else 'rw'}"
    # The driver's own transactions leave out SELECT and the making of tables; ours begin in _engine.
    connection = sqlite3.connect(address, uri=True, isolation_level=None, check_same_thread=False)
    connection.execute(f"PRAGMA busy_timeout = {_BUSY_TIMEOUT_MS}")
    (mode,) = connection.execute("PRAGMA journal_mode = WAL").fetchone()
    if mode != "wal":
        connection.close()
        raise failed(path, "this file system cannot hold the database's log; use a local disk")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute(f"PRAGMA journal_size_limit = {_LOG_LIMIT_BYTES}")
    return connection


def _connect_to_read(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(reading_uri(path), uri=True, isolation_level=None, check_same_thread=False)
    connection.execute(f"PRAGMA busy_timeout = {_BUSY_TIMEOUT_MS}")
    return connection
