"""A disk of some megabytes that a process of ours has for itself, in a mount namespace of its own."""

import os
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

FILLER = "filler"


def why_none_can_be_had() -> str:
    """Return why no such disk can be mounted here, or nothing."""
    if os.geteuid() != 0:
        return "a small disk is mounted by root alone"
    missing = [name for name in ("unshare", "nsenter", "mount") if shutil.which(name) is None]
    if missing:
        return f"needs {', '.join(missing)}"
    tried = subprocess.run(
        ["unshare", "-m", "mount", "-t", "tmpfs", "tmpfs", "/mnt"], capture_output=True, check=False
    )
    return "" if tried.returncode == 0 else "no mount namespace can be had here"


def on_small_disk(folder: Path, size: str, program: Sequence[str], **how: Any) -> subprocess.Popen[Any]:
    """Start a program for which a folder is a disk of this size; its process is the program's own."""
    folder.mkdir(exist_ok=True)
    script = 'mount -t tmpfs -o "size=$1" tmpfs "$2" && shift 2 && exec "$@"'
    command = ["unshare", "-m", "sh", "-c", script, "sh", size, str(folder), *program]
    return subprocess.Popen(command, **how)


def seen_by(process: subprocess.Popen[Any], path: Path) -> Path:
    """Return where a file of a process' own disk can be found from outside."""
    return Path(f"/proc/{process.pid}/root{path}")


def beside(
    process: subprocess.Popen[Any], *command: str, cwd: Path | None = None
) -> subprocess.CompletedProcess[str]:
    """Run a command that sees the disk of a process."""
    inside = ["nsenter", "-t", str(process.pid), "-m", f"--wd={cwd or '/'}", *command]
    return subprocess.run(inside, capture_output=True, text=True, check=False, timeout=60)


def fill(folder: Path) -> int:
    """Write a file until there is no room; return its size."""
    size_bytes = 0
    with (folder / FILLER).open("ab", buffering=0) as file:
        for block_bytes in (1 << 20, 4096):
            try:
                while True:
                    size_bytes += file.write(bytes(block_bytes))
            except OSError:
                continue
    return size_bytes


PYTHON = sys.executable
