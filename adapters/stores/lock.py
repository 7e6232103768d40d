"""One writer a database: a lock beside the file, which dies with its holder.

The file ``<database>-lock`` names the holder's process and remembers that the database was made, so
that an emptied file is not taken for a fresh start, and whether its log was put away. It stays where it is;
only its lock counts. A holder that cannot write its database leaves a word about it here, as a few bytes
written in place need no room.
"""

import contextlib
import fcntl
import os
from pathlib import Path
from threading import Event
from typing import Final, NamedTuple, Self

from wardian.adapters.stores.failures import failed
from wardian.rules.errors import StoreFailed

_MADE: Final = "made"
#: While there is a log beside the database, and after a holder that was killed.
_HAS_LOG: Final = "log"
#: The trouble of a holder that met something it could not read; the next one has to look at everything.
MET_DAMAGE: Final = "something that was kept cannot be read"
_MOST_BYTES: Final = 1000
_TRIES: Final = 10
_PAUSE_S: Final = 0.02


class Holder(NamedTuple):
    """The process that may write a database, and what keeps it from writing, if anything does."""

    pid: int
    trouble: str


def holder(path: Path) -> Holder | None:
    """Return who may write the database at this path now, or None when there is nobody."""
    try:
        descriptor = os.open(f"{path}-lock", os.O_RDONLY | os.O_CLOEXEC)
    except OSError:
        return None
    try:
        fcntl.flock(descriptor, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        named, _, _, trouble = _lines(descriptor)
        return Holder(int(named), trouble) if named.isdigit() else None
    except OSError:
        return None
    finally:
        os.close(descriptor)
    return None


def was_made(path: Path) -> bool:
    """Return whether there was a database of ours at this path before."""
    try:
        descriptor = os.open(f"{path}-lock", os.O_RDONLY | os.O_CLOEXEC)
    except OSError:
        return False
    try:
        return _lines(descriptor)[1] == _MADE
    finally:
        os.close(descriptor)


def mark_whole(path: Path) -> None:
    """Remember, where nobody holds the database, that there is no log beside it any more."""
    if not Path(f"{path}-lock").exists():
        return
    with contextlib.suppress(StoreFailed):
        lock = DatabaseLock.take(path)
        lock.mark_whole()
        lock.release()


class DatabaseLock:
    """The sole right to write one database, held until ``release`` or the end of the process."""

    def __init__(self, path: Path, descriptor: int) -> None:
        self._path = path
        self._descriptor: int | None = descriptor
        _, made, log, trouble = _lines(descriptor)
        self.was_made = made == _MADE
        #: Whether the database had a log beside it when it was last let go.
        self.had_log = log == _HAS_LOG
        self._has_log = self.had_log
        #: Whether the last holder met something that it could not read.
        self.met_damage = trouble == MET_DAMAGE
        self._trouble = ""
        self._write()

    @classmethod
    def take(cls, path: Path) -> Self:
        """Take the lock of the database at this path.

        Raises:
            StoreFailed: Another process holds it, which is named; or there can be no lock here.
        """
        try:
            descriptor = os.open(f"{path}-lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        except OSError as error:
            raise failed(path, f"no lock file can be made beside it: {error.strerror}") from error
        try:
            _lock(descriptor)
        except BlockingIOError as error:
            named = _lines(descriptor)[0] or "unknown"
            os.close(descriptor)
            raise failed(path, f"in use by another wardian, process {named}; stop that one first") from error
        except OSError as error:
            os.close(descriptor)
            raise failed(path, f"this file system has no locks: {error.strerror}") from error
        return cls(path, descriptor)

    def mark_made(self) -> None:
        """Remember that the database exists with a log beside it, so that to miss one is a loss."""
        if not (self.was_made and self._has_log) and self._descriptor is not None:
            self.was_made = self._has_log = True
            self._write()
            os.fsync(self._descriptor)

    def mark_whole(self) -> None:
        """Remember that all that was in the log is in the database now."""
        self._has_log = False
        self._write()

    def announce(self, trouble: str) -> None:
        """Say to whoever looks what keeps us from writing; empty when nothing does."""
        if trouble != self._trouble:
            self._trouble = trouble
            self._write()

    def release(self) -> None:
        """Let others write; idempotent."""
        if self._descriptor is not None:
            os.close(self._descriptor)
            self._descriptor = None

    def _write(self) -> None:
        if self._descriptor is None:
            return
        made, log = _MADE if self.was_made else "", _HAS_LOG if self._has_log else ""
        lines = (str(os.getpid()), made, log, " ".join(self._trouble.split()))
        text = "\n".join(lines).encode()[:_MOST_BYTES]
        # A full disk or a read-only one must not keep the daemon from reading what it has.
        with contextlib.suppress(OSError):
            os.pwrite(self._descriptor, text, 0)
            os.ftruncate(self._descriptor, len(text))


def _lock(descriptor: int) -> None:
    """Take the lock; one who only asks for its ``holder`` has it for a moment, a writer for good."""
    pause = Event()
    for _ in range(_TRIES - 1):
        with contextlib.suppress(BlockingIOError):
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return
        pause.wait(_PAUSE_S)
    fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _lines(descriptor: int) -> list[str]:
    """Return the four lines: process, whether the database was made, whether it has a log, trouble."""
    lines = os.pread(descriptor, _MOST_BYTES, 0).decode("utf-8", "replace").split("\n")
    return [*lines, "", "", "", ""][:4]
