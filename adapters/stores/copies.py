"""Files of a database put aside, copied and put in place.

The rule of this file: nothing is ever deleted but what we were just making, and what is put in place is there
whole or not at all.
"""

import contextlib
import errno
import os
import shutil
import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final, NamedTuple

from wardian.adapters.stores.failures import explaining, failed, full
from wardian.adapters.stores.flaws import flaws_of
from wardian.adapters.stores.reserve import free_bytes
from wardian.adapters.stores.sqlite_file import look_at, reading_uri, refuse_foreign
from wardian.rules.errors import StoreFailed

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_STAMP: Final = "%Y%m%dT%H%M%SZ"
_ENDING: Final = ".backup"
#: A database and what belongs to it: its log and the index of that.
_PARTS: Final = ("", "-wal", "-shm")
#: Left free beside a copy, so that the watching goes on while it is made.
_BESIDE_BYTES: Final = 16 * 1024 * 1024


class Backup(NamedTuple):
    """A copy of the database, by its name, and from when it is."""

    path: Path
    time_ms: int


def stamp(time_ms: int) -> str:
    """Return an instant as it stands in the names of files."""
    return (_EPOCH + timedelta(milliseconds=time_ms)).strftime(_STAMP)


def free_name(path: Path, word: str, time_ms: int) -> Path:
    """Return a name that nothing has yet, for what is put aside of a database."""
    first = aside = path.with_name(f"{path.name}.{word}-{stamp(time_ms)}")
    number = 1
    while any(Path(f"{aside}{part}").exists() for part in _PARTS):
        number += 1
        aside = first.with_name(f"{first.name}-{number}")
    return aside


def put_aside(path: Path, word: str, time_ms: int) -> Path:
    """Give a database another name, with the files that belong to it, and return that.

    Raises:
        OSError: It cannot be done.
    """
    aside = free_name(path, word, time_ms)
    # The log first: a database without its log can be looked at, a log without its database is refused.
    for part in reversed(_PARTS):
        with contextlib.suppress(FileNotFoundError):
            Path(f"{path}{part}").rename(f"{aside}{part}")
    _settle(path.parent)
    return aside


def put_log_aside(path: Path, time_ms: int) -> Path:
    """Give the log of a database another name, and return that.

    Raises:
        OSError: It cannot be done.
    """
    aside = free_name(path, "strange", time_ms)
    for part in _PARTS[1:]:
        with contextlib.suppress(FileNotFoundError):
            Path(f"{path}{part}").rename(f"{aside}{part}")
    _settle(path.parent)
    return Path(f"{aside}-wal")


@contextlib.contextmanager
def copied(copy: Path, path: Path) -> Iterator[Path]:
    """Copy a file beside the database at a path, to ``put_in_place`` within; what was not is gone afterwards.

    Raises:
        OSError: It cannot be done, as when there is no room.
    """
    part = Path(f"{path}.part")
    try:
        shutil.copyfile(copy, part)
        _sync(part)
        yield part
    finally:
        part.unlink(missing_ok=True)


def put_in_place(part: Path, path: Path) -> None:
    """Make a file the database at a path, where none is any more.

    Raises:
        OSError: It cannot be done.
    """
    if path.exists():
        raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path))
    part.rename(path)
    _settle(path.parent)


def back_up(path: Path, out: Path) -> int:
    """Write a copy of a database, as it is at one instant, beside whoever writes it; return its size in bytes.

    Raises:
        StoreFailed: It cannot be read or written, or there is not room enough; nothing is left of it then.
    """
    part = Path(f"{out}.part")
    with explaining(path):
        found = look_at(path)
        if found is None or found.is_empty:
            raise failed(path, "there is no database yet; `wardian run` makes it")
        refuse_foreign(path, found)
        try:
            out.parent.mkdir(parents=True, exist_ok=True)
            part.unlink(missing_ok=True)
            with contextlib.closing(sqlite3.connect(reading_uri(path), uri=True)) as connection:
                _refuse_without_room(connection, path, out)
                connection.execute("VACUUM INTO ?", (str(part),))
            flaw = flaw_of(part)
            if flaw:
                raise failed(out, f"the copy that was made is not whole: {flaw}")
            _sync(part)
            part.replace(out)
            _settle(out.parent)
        finally:
            part.unlink(missing_ok=True)
        return out.stat().st_size


def flaw_of(copy: Path) -> str:
    """Return why a file cannot be taken in as our database; empty when it can. Reads all of it."""
    try:
        with explaining(copy):
            found = look_at(copy)
            if found is None or found.is_empty:
                return "there is nothing in it" if found else "there is no such file"
            refuse_foreign(copy, found)
            with contextlib.closing(sqlite3.connect(reading_uri(copy), uri=True)) as connection:
                flaws = flaws_of(connection)
    except StoreFailed as error:
        return error.why
    return "; ".join(flaws)


def backups(folder: Path, database: Path) -> list[Backup]:
    """Return the backups of a database in a folder, the newest first."""
    return sorted(_backups(folder, database), key=lambda one: -one.time_ms)


def backup_path(folder: Path, database: Path, time_ms: int) -> Path:
    """Return what a backup of an instant is called."""
    return folder / f"{database.name}.{stamp(time_ms)}{_ENDING}"


def keep_newest(folder: Path, database: Path, most: int) -> list[Path]:
    """Delete all backups but the newest, so many of them; return those that are gone.

    Raises:
        OSError: One cannot be deleted.
    """
    gone = [one.path for one in backups(folder, database)[most:]]
    for path in gone:
        path.unlink()
    return gone


def _backups(folder: Path, database: Path) -> Iterator[Backup]:
    begin = f"{database.name}."
    names = folder.glob("*") if folder.is_dir() else ()
    for path in names:
        middle = path.name.removeprefix(begin).removesuffix(_ENDING)
        if f"{begin}{middle}{_ENDING}" != path.name:
            continue
        with contextlib.suppress(ValueError):
            made = datetime.strptime(middle, _STAMP).replace(tzinfo=UTC)
            yield Backup(path, (made - _EPOCH) // timedelta(milliseconds=1))


def _refuse_without_room(connection: sqlite3.Connection, path: Path, out: Path) -> None:
    pages, page_bytes = (
        connection.execute(f"PRAGMA {name}").fetchone()[0] for name in ("page_count", "page_size")
    )
    needed, free = pages * page_bytes + _BESIDE_BYTES, free_bytes(out.parent)
    if free < needed:
        raise full(
            path,
            f"no room for a backup in {out.parent}: {free // 10**6} MB are free, {needed // 10**6} MB needed",
        )


def _sync(path: Path) -> None:
    with path.open("rb") as written:
        os.fsync(written.fileno())


def _settle(folder: Path) -> None:
    """Let the names in a folder be on the disk."""
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
