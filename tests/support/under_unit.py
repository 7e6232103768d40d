"""Run a command as the unit would have it: its system calls, no memory both writable and executable, few address families.

``python under_unit.py UNIT COMMAND…``: a call that the unit forbids is refused where it names an error for that, and else
ends the command. Needs libseccomp and Linux; groups of calls are named by ``systemd-analyze syscall-filter``.
"""

import ctypes
import ctypes.util
import errno
import os
import socket
import subprocess
import sys
from pathlib import Path

KILL_PROCESS = 0x8000_0000
REFUSE = 0x0005_0000
ALLOW = 0x7FFF_0000
MASKED_EQUAL = 7
PROT_WRITE, PROT_EXEC = 2, 4


class Comparison(ctypes.Structure):
    """``struct scmp_arg_cmp`` of libseccomp."""

    _fields_ = (
        ("argument", ctypes.c_uint),
        ("operator", ctypes.c_int),
        ("first", ctypes.c_uint64),
        ("second", ctypes.c_uint64),
    )


def settings(unit: Path, name: str) -> list[str]:
    """Return the words of every line of a unit with this name."""
    lines = unit.read_text(encoding="utf-8").splitlines()
    return [word for line in lines if line.startswith(f"{name}=") for word in line.partition("=")[2].split()]


def calls(group: str) -> set[str]:
    """Return the system calls of a group, those of the groups in it included."""
    told = subprocess.run(
        ["systemd-analyze", "syscall-filter", "--no-pager", group], capture_output=True, text=True, check=True
    )
    names = [line.strip() for line in told.stdout.splitlines()[1:] if line.startswith("    ")]
    found: set[str] = set()
    for name in names:
        if name.startswith("@"):
            found |= calls(name)
        elif not name.startswith("#"):
            found.add(name)
    return found


def allowed(unit: Path) -> set[str]:
    """Return the system calls that a unit allows."""
    found: set[str] = calls("@default")
    takes = True
    for word in settings(unit, "SystemCallFilter"):
        takes = takes and not word.startswith("~")
        names = calls(word.lstrip("~")) if "@" in word else {word.lstrip("~")}
        found = found | names if takes else found - names
    return found


def confine(unit: Path) -> None:
    """Let this process, and all that it starts, do no more than the unit allows."""
    library = ctypes.CDLL(ctypes.util.find_library("seccomp") or "libseccomp.so.2")
    library.seccomp_init.restype = ctypes.c_void_p
    library.seccomp_init.argtypes = [ctypes.c_uint32]
    library.seccomp_rule_add_array.argtypes = [
        ctypes.c_void_p, ctypes.c_uint32, ctypes.c_int, ctypes.c_uint, ctypes.POINTER(Comparison),
    ]  # fmt: skip
    library.seccomp_load.argtypes = [ctypes.c_void_p]
    errors = settings(unit, "SystemCallErrorNumber")
    filter_ = library.seccomp_init(REFUSE | getattr(errno, errors[0]) if errors else KILL_PROCESS)
    number = library.seccomp_syscall_resolve_name
    number.argtypes = [ctypes.c_char_p]
    names = allowed(unit)

    def allow(name: str, *comparisons: Comparison) -> None:
        array = (Comparison * max(len(comparisons), 1))(*comparisons)
        if (found := number(name.encode())) >= 0:
            done = library.seccomp_rule_add_array(filter_, ALLOW, found, len(comparisons), array)
            assert done == 0, name

    def lacks(bits: int, argument: int) -> Comparison:
        return Comparison(argument, MASKED_EQUAL, bits, 0)

    for name in names - {"mmap", "mprotect", "pkey_mprotect", "shmat", "socket"}:
        allow(name)
    # MemoryDenyWriteExecute of systemd.exec(5): no page both, and none made executable afterwards.
    allow("mmap", lacks(PROT_EXEC, 2))
    allow("mmap", lacks(PROT_WRITE, 2))
    allow("mprotect", lacks(PROT_EXEC, 2))
    allow("pkey_mprotect", lacks(PROT_EXEC, 2))
    for family in settings(unit, "RestrictAddressFamilies"):
        allow("socket", Comparison(0, MASKED_EQUAL, 0xFFFF_FFFF, getattr(socket, family)))
    assert library.seccomp_load(filter_) == 0


if __name__ == "__main__":
    confine(Path(sys.argv[1]))
    os.execvp(sys.argv[2], sys.argv[2:])
