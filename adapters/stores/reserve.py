"""Room held back beside the database, so that what has to be said of a full disk can still be kept.

The rule of this file: the room is really taken, and it is given up once: made again only where there is
as much room besides as nobody has to fear the next write.
"""

import contextlib
import os
from pathlib import Path
from typing import Final

RESERVE_BYTES: Final = 4 * 1024 * 1024
#: Free room with which a reserve that was given up is taken again: as much as it, and once more.
_AGAIN_BYTES: Final = 2 * RESERVE_BYTES


def free_bytes(folder: Path) -> int:
    """Return how much an ordinary user may still write where a folder is.

    Raises:
        OSError: The folder is not there.
    """
    found = os.statvfs(folder)
    return found.f_bavail * found.f_frsize


class Reserve:
    """The file ``<database>-reserve``."""

    def __init__(self, database: Path) -> None:
        """Hold room beside this database; nothing is made yet."""
        self._path = Path(f"{database}-reserve")

    @property
    def is_held(self) -> bool:
        """Whether the room is held."""
        try:
            return self._path.stat().st_blocks * 512 >= RESERVE_BYTES
        except OSError:
            return False

    def hold(self) -> None:
        """Take the room where there is enough of it; never raises."""
        with contextlib.suppress(OSError):
            if self.is_held or free_bytes(self._path.parent) < _AGAIN_BYTES:
                return
            try:
                self._take()
            except OSError:
                self.give_up()

    def give_up(self) -> bool:
        """Free the room; return whether there was any."""
        is_some = self._path.exists()
        with contextlib.suppress(OSError):
            self._path.unlink(missing_ok=True)
        return is_some and not self._path.exists()

    def _take(self) -> None:
        descriptor = os.open(self._path, os.O_WRONLY | os.O_CREAT | os.O_CLOEXEC, 0o600)
        try:
            os.posix_fallocate(descriptor, 0, RESERVE_BYTES)
        finally:
            os.close(descriptor)
