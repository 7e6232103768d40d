"""Seams at which the n-th call to the world outside fails, once: database, sockets, files, clock, sensor.

The rule of this file: a call is counted when it is made, whether it is to fail or not, so that a run without a
fault says how many there are.
"""

import errno
import socket
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass, field
from io import StringIO
from typing import Any, BinaryIO, Final, Self, cast

import pytest
from fake_clock import FakeClock

from wardian.adapters.sensors.csv_file import CsvSensor
from wardian.daemon.clock import SystemClock

BEFORE: Final = "before"
#: The call does its work, and its success is not learned.
AFTER: Final = "after"


@dataclass
class Fault:
    """The ``nth`` call of one seam fails with what ``error`` makes; 0: none does."""

    seam: str = ""
    nth: int = 0
    error: Callable[[], Exception] = OSError
    when: str = BEFORE
    calls: int = 0
    place: str = ""

    def call(self, seam: str, place: str, work: Callable[[], Any]) -> Any:
        """Do the work of one call, or fail before or after it."""
        is_it = self.is_next(seam, place)
        if is_it and self.when == BEFORE:
            raise self.error()
        done = work()
        if is_it:
            raise self.error()
        return done

    def is_next(self, seam: str, place: str) -> bool:
        """Count one call; return whether it is the one."""
        if seam != self.seam:
            return False
        self.calls += 1
        if self.calls != self.nth:
            return False
        self.place = place
        return True

    @property
    def has_fired(self) -> bool:
        return bool(self.place)

    def begin(self) -> None:
        """From now on calls are counted."""

    def end(self) -> None:
        """From now on nothing fails."""


def database_error(code: int) -> Callable[[], Exception]:
    """Return what makes an error of SQLite with one of its result codes."""

    def make() -> Exception:
        error = sqlite3.OperationalError("made to fail")
        error.sqlite_errorcode = code
        error.sqlite_errorname = "MADE_TO_FAIL"
        return error

    return make


def system_error(number: int) -> Callable[[], Exception]:
    """Return what makes an error of the operating system."""
    return lambda: OSError(number, "made to fail")


@dataclass
class Seams:
    """All the seams, put in place for one test; ``fault`` may be changed from run to run."""

    clock: FakeClock
    fault: Fault
    terminal: StringIO = field(default_factory=StringIO)

    def begin(self, clock: FakeClock, fault: Fault) -> None:
        """Begin a run of its own."""
        self.clock, self.fault = clock, fault
        self.terminal.seek(0)
        self.terminal.truncate()

    def put_in_place(self, patch: pytest.MonkeyPatch) -> None:
        """Stand between the program and the world."""
        seams = self
        connect, create = sqlite3.connect, socket.create_connection

        class Connection(_Connection):
            pass

        class Cursor(_Cursor):
            pass

        Connection.seams = Cursor.seams = seams
        Connection.cursors = Cursor
        patch.setattr(
            sqlite3,
            "connect",
            lambda *place, **how: seams.fault.call(
                "database", "connect", lambda: connect(*place, **how, factory=Connection)
            ),
        )
        patch.setattr(
            socket,
            "create_connection",
            lambda *place, **how: seams.connected(lambda: create(*place, **how)),
        )
        opened = CsvSensor._open
        patch.setattr(
            CsvSensor,
            "_open",
            lambda sensor: seams.fault.call("file", "open", lambda: _File(seams, opened(sensor))),
        )
        patch.setattr(
            SystemClock, "wall_ms", lambda _: seams.fault.call("clock", "wall", seams.clock.wall_ms)
        )
        patch.setattr(
            SystemClock,
            "monotonic_s",
            lambda _: seams.fault.call("clock", "monotonic", seams.clock.monotonic_s),
        )
        self.terminal = _Stream(seams)

    def connected(self, connect: Callable[[], socket.socket]) -> "_Socket":
        """Connect; one whose success is not learned is left to the other side."""
        made: list[_Socket] = []
        try:
            self.fault.call("socket", "connect", lambda: made.append(_Socket(self, connect())))
        except OSError:
            for one in made:
                one.close()
            raise
        return made[0]


# ------------------------------------------------------------------------------------ database


class _Connection(sqlite3.Connection):
    seams: Seams
    cursors: type["_Cursor"]

    def cursor(self, factory: Any = None) -> Any:
        return super().cursor(factory or self.cursors)

    def commit(self) -> None:
        # The library calls this without a transaction, too; then there is nothing that could fail.
        if self.in_transaction:
            self.seams.fault.call("database", "commit", super().commit)
            self.seams.fault.call("commit", "commit", lambda: None)

    def rollback(self) -> None:
        if self.in_transaction:
            self.seams.fault.call("database", "rollback", super().rollback)


class _Cursor(sqlite3.Cursor):
    seams: Seams

    def execute(self, sql: str, *values: Any) -> Any:
        work = super().execute
        return self.seams.fault.call("database", sql, lambda: work(sql, *values))

    def executemany(self, sql: str, *values: Any) -> Any:
        work = super().executemany
        return self.seams.fault.call("database", sql, lambda: work(sql, *values))

    def fetchone(self) -> Any:
        return self.seams.fault.call("database", "fetchone", super().fetchone)

    def fetchall(self) -> Any:
        return self.seams.fault.call("database", "fetchall", super().fetchall)


# ---------------------------------------------------------------------- sockets, files, streams


class _Socket(socket.socket):
    """A connected socket whose calls can fail."""

    def __init__(self, seams: Seams, connected: socket.socket) -> None:
        super().__init__(connected.family, connected.type, connected.proto, connected.detach())
        self.settimeout(10)
        self._seams = seams

    def sendall(self, *what: Any) -> None:
        self._seams.fault.call("socket", "send", lambda: super(_Socket, self).sendall(*what))

    def recv_into(self, *where: Any, **how: Any) -> int:
        received = self._seams.fault.call(
            "socket", "receive", lambda: super(_Socket, self).recv_into(*where, **how)
        )
        return cast("int", received)


class _File:
    """An open file whose calls can fail."""

    def __init__(self, seams: Seams, file: BinaryIO) -> None:
        self._seams = seams
        self._file = file

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()

    def seek(self, *where: Any) -> Any:
        return self._seams.fault.call("file", "seek", lambda: self._file.seek(*where))

    def read(self, *much: Any) -> Any:
        return self._seams.fault.call("file", "read", lambda: self._file.read(*much))

    def readline(self, *much: Any) -> Any:
        return self._seams.fault.call("file", "read", lambda: self._file.readline(*much))


class _Stream(StringIO):
    """Standard error as a terminal: what was written is what a person has read."""

    def __init__(self, seams: Seams) -> None:
        super().__init__()
        self._seams = seams

    def write(self, text: str) -> int:
        return cast("int", self._seams.fault.call("terminal", "write", lambda: StringIO.write(self, text)))

    def flush(self) -> None:
        self._seams.fault.call("terminal", "flush", lambda: StringIO.flush(self))


#: By its name a kind of fault: the seam, what is raised there, and whether before or after the call did its work.
KINDS: Final[dict[str, tuple[str, Callable[[], Exception], str]]] = {
    "database full": ("database", database_error(sqlite3.SQLITE_FULL), BEFORE),
    "database busy": ("database", database_error(sqlite3.SQLITE_BUSY), BEFORE),
    "database read-only": ("database", database_error(sqlite3.SQLITE_READONLY), BEFORE),
    "database input or output": ("database", database_error(sqlite3.SQLITE_IOERR), BEFORE),
    "commit done and not known": ("commit", database_error(sqlite3.SQLITE_IOERR), AFTER),
    "socket": ("socket", system_error(errno.ECONNRESET), BEFORE),
    "socket after its work": ("socket", system_error(errno.ETIMEDOUT), AFTER),
    "file": ("file", system_error(errno.EIO), BEFORE),
    "terminal": ("terminal", system_error(errno.EIO), BEFORE),
    "terminal after its work": ("terminal", system_error(errno.EPIPE), AFTER),
    # What a clock's call can do beside its work is to fail; clocks that are set have tests of their own.
    "clock": ("clock", system_error(errno.EINVAL), BEFORE),
    "sensor": ("sensor", system_error(errno.EIO), BEFORE),
}


def fault(kind: str, nth: int) -> Fault:
    """Return the failure of a kind at one call."""
    seam, error, when = KINDS[kind]
    return Fault(seam, nth, error, when)
