"""The daemon as a service of the machine: put in place, and taken away again, by whoever is root.

The rule of this file: done twice it is the same as once, and nothing is taken away that cannot be made again
unless that is asked for.
"""

import os
import shutil
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from wardian.daemon import service_files as files
from wardian.rules.errors import AdapterError


def refused(why: str) -> AdapterError:
    """Return the error that the service cannot be put in place or taken away."""
    return AdapterError("service", why)


@dataclass
class Hands:
    """What changes a machine, below ``root``; a dry run changes nothing. ``done`` and ``kept`` say what became of it."""

    root: Path = Path("/")
    is_dry: bool = False
    done: list[str] = field(default_factory=list)
    kept: list[str] = field(default_factory=list)

    def at(self, path: Path) -> Path:
        """Return where something is below our root."""
        return self.root / path.relative_to("/")

    def is_this_machine(self) -> bool:
        """Return whether the root is that of the running machine."""
        return self.root == Path("/")

    def owner(self) -> tuple[int, int] | None:
        """Return the numbers of the service's user and group, None where there is no such user."""
        passwd = self.at(Path("/etc/passwd"))
        lines = passwd.read_text(encoding="utf-8", errors="replace").splitlines() if passwd.exists() else []
        fields = next((line.split(":") for line in lines if line.startswith(f"{files.NAME}:")), None)
        return (int(fields[2]), int(fields[3])) if fields else None

    def folder(self, path: Path, mode: int, *, is_theirs: bool) -> None:
        """Make a folder; ``is_theirs`` gives it to the service's user, else to root and their group."""
        place = self.at(path)
        if place.exists():
            self.kept.append(f"{path}, as it was")
            return
        self.done.append(f"make {path}")
        if not self.is_dry:
            place.mkdir(parents=True)
            self._give(place, mode, is_theirs=is_theirs)

    def write(self, path: Path, text: str, mode: int, *, for_group: bool = False) -> None:
        """Write a file whole or not at all; another that is there stays beside it as ``.before``."""
        place = self.at(path)
        if place.exists() and place.read_text(encoding="utf-8", errors="replace") == text:
            self.kept.append(f"{path}, as it was")
            return
        self.done.append(f"write {path}")
        if self.is_dry:
            return
        place.parent.mkdir(parents=True, exist_ok=True)
        fresh = place.with_name(f"{place.name}.new")
        fresh.write_text(text, encoding="utf-8")
        self._give(fresh, mode, is_theirs=False, for_group=for_group)
        if place.exists():
            shutil.copy2(place, place.with_name(f"{place.name}.before"))
        fresh.replace(place)

    def delete(self, path: Path) -> None:
        """Delete a file or a folder with all that is in it, if it is there."""
        place = self.at(path)
        if not (place.exists() or place.is_symlink()):
            return
        self.done.append(f"delete {path}")
        if self.is_dry:
            return
        if place.is_dir() and not place.is_symlink():
            shutil.rmtree(place)
        else:
            place.unlink()

    def run(self, *command: str, may_fail: bool = False) -> None:
        """Run a command of the machine.

        Raises:
            AdapterError: It is not there, or fails and may not.
        """
        self.done.append(f"run {' '.join(command)}")
        if self.is_dry:
            return
        try:
            ended = subprocess.run(command, capture_output=True, text=True, check=False)  # noqa: S603  # by fixed names
        except FileNotFoundError as error:
            raise refused(f"{command[0]} is not there; this needs a system with it") from error
        if ended.returncode and not may_fail:
            said = (ended.stderr or ended.stdout).strip().splitlines()
            raise refused(f"{' '.join(command)} failed: {said[-1] if said else ended.returncode}")

    def _give(self, place: Path, mode: int, *, is_theirs: bool, for_group: bool = True) -> None:
        owner = self.owner()
        if owner is None:
            raise refused(f"there is no user {files.NAME}, though it was made")
        place.chmod(mode)
        if is_theirs or for_group:
            os.chown(place, owner[0] if is_theirs else -1, owner[1])


def install(hands: Hands, program: Path, config: str | None) -> None:
    """Put the service in place and start it; ``config`` is the text of its configuration where that is new.

    Raises:
        AdapterError: Something of the machine is missing or fails.
    """
    elsewhere = [] if hands.is_this_machine() else ["--root", str(hands.root)]
    if hands.owner() is None:
        hands.run("useradd", *elsewhere, *_USER, files.NAME)
    else:
        hands.kept.append(f"the user {files.NAME}")
    hands.folder(files.SETTINGS, 0o750, is_theirs=False)
    hands.folder(files.STATE, 0o700, is_theirs=True)
    if config is not None:
        hands.write(files.CONFIG, config, 0o640, for_group=True)
    hands.write(files.UNIT, files.unit_text(program), 0o644)
    hands.write(files.COMMAND, files.command_text(program), 0o755)
    if elsewhere:
        hands.run("systemctl", *elsewhere, "enable", files.NAME)
        return
    for words in (("daemon-reload",), ("enable", files.NAME), ("restart", files.NAME)):
        hands.run("systemctl", *words)


def remove(hands: Hands, *, with_data: bool) -> None:
    """Stop the service and take it away; ``with_data`` also readings, configuration and user.

    Raises:
        AdapterError: Something of the machine is missing or fails.
    """
    here = hands.is_this_machine()
    elsewhere = [] if here else ["--root", str(hands.root)]
    if hands.at(files.UNIT).exists():
        hands.run("systemctl", *elsewhere, "disable", *(["--now"] if here else []), files.NAME)
    hands.delete(files.UNIT)
    _delete_command(hands)
    if here:
        hands.run("systemctl", "daemon-reload")
    if not with_data:
        hands.kept += [str(path) for path in (files.STATE, files.SETTINGS) if hands.at(path).exists()]
        hands.kept += [f"the user {files.NAME}"] if hands.owner() else []
        return
    hands.delete(files.STATE)
    hands.delete(files.SETTINGS)
    if hands.owner():
        hands.run("userdel", *elsewhere, files.NAME)


def _delete_command(hands: Hands) -> None:
    place = hands.at(files.COMMAND)
    if place.exists() and not files.is_our_command(place.read_text(encoding="utf-8", errors="replace")):
        hands.kept.append(f"{files.COMMAND}, which is not ours")
    else:
        hands.delete(files.COMMAND)


_USER: Sequence[str] = (
    "--system",
    "--user-group",
    "--home-dir",
    str(files.STATE),
    "--no-create-home",
    "--shell",
    "/usr/sbin/nologin",
)
