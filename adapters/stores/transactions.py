"""The one writer's connection and everybody's reading ones, on an open database.

The rule of this file: what is written is written by one connection under one lock, in a transaction
that takes the database's write lock as it begins. Reading never waits for that lock.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Lock
from typing import TypeVar

from sqlalchemy import Connection, Engine

from wardian.adapters.stores.failures import explaining, failed
from wardian.adapters.stores.lock import MET_DAMAGE, DatabaseLock
from wardian.adapters.stores.reserve import Reserve, free_bytes
from wardian.adapters.stores.sqlite_file import log_of, writing
from wardian.rules.errors import StoreDamaged, StoreFull
from wardian.rules.kept import Room

Result = TypeVar("Result")


class Transactions:
    """An open database, which may be asked from any thread."""

    def __init__(self, path: Path, engine: Engine, lock: DatabaseLock | None) -> None:
        """Take over an open engine, and the lock that makes this the one writer (None: only read)."""
        self._path = path
        self._engine: Engine | None = engine
        self._database_lock = lock
        self._reserve = Reserve(path)
        self._one_writer = Lock()
        self._writer: Connection | None = None

    def close(self) -> None:
        """Close; idempotent."""
        with self._one_writer, explaining(self._path):
            self._drop_writer()
            if self._engine is not None:
                self._engine.dispose()
                self._engine = None
            if self._database_lock is not None:
                if not log_of(self._path).exists():
                    self._database_lock.mark_whole()
                self._database_lock.release()

    def announce(self, trouble: str) -> None:
        """Say to whoever looks what keeps rounds from being kept; empty when nothing does. Never raises."""
        if self._database_lock is not None:
            self._database_lock.announce(trouble)

    def room(self) -> Room | None:
        """Hold a reserve where there is room for it, and return how much room is left; None where nobody can tell."""
        if self._database_lock is not None:
            self._reserve.hold()
        try:
            return Room(free_bytes(self._path.parent), has_reserve=self._reserve.is_held)
        except OSError:
            return None

    def _write_at_any_cost(self, work: Callable[[Connection], Result]) -> Result:
        """Write; where there is no room for it, once more with the room of the reserve."""
        try:
            with self._writing() as connection:
                return work(connection)
        except StoreFull:
            if not self._reserve.give_up():
                raise
        with self._writing() as connection:
            return work(connection)

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        with self._remembering_damage(), explaining(self._path), self._open_engine().connect() as connection:
            yield connection

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        with self._one_writer, self._remembering_damage(), explaining(self._path):
            if self._database_lock is None:
                raise failed(self._path, "is open for reading only")
            if self._writer is None:
                self._writer = writing(self._open_engine()).connect()
            try:
                with self._writer.begin():
                    yield self._writer
            except BaseException:
                self._drop_writer()
                raise

    @contextmanager
    def _remembering_damage(self) -> Iterator[None]:
        """Leave a word about damage that was met, so that the next start looks at everything."""
        try:
            yield
        except StoreDamaged:
            self.announce(MET_DAMAGE)
            raise

    def _drop_writer(self) -> None:
        """Give the connection back, which rolls back whatever state a failure left it in."""
        if self._writer is not None:
            self._writer.close()
            self._writer = None

    def _open_engine(self) -> Engine:
        if self._engine is None:
            raise failed(self._path, "is closed")
        return self._engine
