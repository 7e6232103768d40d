"""Builds what lets calls of a process fail, and arms it from within: see ``failing_calls.c``."""

import ctypes
import errno
import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import pytest
from failing_once import Fault

SOURCE: Final = Path(__file__).with_suffix(".c")
FILES: Final = 1
ERRORS: Final = {"input or output": errno.EIO, "disk full": errno.ENOSPC}


def built(folder: Path) -> Path:
    """Return the library, built in a folder."""
    compiler = shutil.which("gcc")
    if compiler is None:
        pytest.skip("there is no gcc to build what lets calls fail")
    library = folder / "failing_calls.so"
    command = [compiler, "-Wall", "-Wextra", "-Werror", "-O1", "-shared", "-fPIC", "-o", str(library)]
    subprocess.run([*command, str(SOURCE), "-ldl", "-lpthread"], check=True, timeout=60)
    return library


def environment(library: Path, prefix: Path, **more: object) -> dict[str, str]:
    """Return the environment of a process whose calls on files with that prefix, or on sockets, can fail."""
    told = {name.upper(): str(value) for name, value in more.items()}
    path = os.pathsep.join([*sys.path, str(SOURCE.parent)])
    return {
        **os.environ,
        "PYTHONPATH": path,
        "PYTHONUNBUFFERED": "1",
        "LD_PRELOAD": str(library),
        "FAILING_PREFIX": str(prefix),
        **told,
    }


@dataclass
class FileCall(Fault):
    """The ``nth`` call of the operating system on the database's files fails with ``number``."""

    number: int = errno.EIO

    def begin(self) -> None:
        self._arm(self.nth)

    def end(self) -> None:
        library = ctypes.CDLL(None)
        library.failing_fired.restype = ctypes.c_char_p
        self.calls = library.failing_calls()
        self.place = library.failing_fired().decode()
        self._arm(0)

    def _arm(self, nth: int) -> None:
        ctypes.CDLL(None).failing_arm(FILES, ctypes.c_long(nth), self.number)
