"""What a disk may hold after the power was cut, worked out from the record of what a program wrote.

The model: a disk that honours sync. What was synced is there. Of what was written since, any part may be there and any
other missing, in whatever order it was written, and a write may be torn between two sectors of 512 bytes. That a file
is there, gone or renamed is certain once its folder was synced. Nothing is said about a card that says it has synced and
has not.
"""

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from pathlib import Path
from typing import Final, NamedTuple

SECTOR_BYTES: Final = 512
#: Of so few pending changes every subset is tried; of more, those with one missing, one alone, or cut off.
EVERY_SUBSET_OF: Final = 6


class Change(NamedTuple):
    """One recorded change: create, write, truncate, unlink, rename (``data`` is the new name) or sync."""

    kind: str
    offset: int
    name: str
    data: bytes


def read_record(record: Path, folder: Path) -> list[Change]:
    """Return the changes of a record, each file by its name in the folder; the folder itself is ``""``."""
    raw, place, changes = record.read_bytes(), 0, []
    while place < len(raw):
        end = raw.index(b"\n", place)
        kind, offset, length, path = raw[place:end].decode().split(" ", 3)
        data = raw[end + 1 : end + 1 + int(length)]
        name = path.removeprefix(str(folder)).removeprefix("/")
        if kind == "rename":
            data = data.decode().removeprefix(str(folder)).removeprefix("/").encode()
        changes.append(Change(kind, int(offset), name, data))
        place = end + 1 + int(length)
    return changes


@dataclass
class Disk:
    """What is certainly there, and the changes that may be: files by number, and numbers by name."""

    names: dict[str, int] = field(default_factory=dict)
    contents: dict[int, bytes] = field(default_factory=dict)
    pending: list[tuple[int, Change]] = field(default_factory=list)
    #: What a running program sees.
    seen: dict[str, int] = field(default_factory=dict)
    made: int = 0

    @classmethod
    def of(cls, folder: Path) -> "Disk":
        """Return a disk on which a folder's files are safe."""
        disk = cls()
        for path in sorted(folder.iterdir()):
            disk.made += 1
            disk.names[path.name] = disk.made
            disk.contents[disk.made] = path.read_bytes()
        disk.seen = dict(disk.names)
        return disk

    def take(self, change: Change) -> None:
        """Let a change happen."""
        if change.kind == "sync":
            self._sync(change.name)
            return
        if change.kind == "create":
            self.made += 1
            self.seen[change.name] = self.made
            self.contents[self.made] = b""
        number = self.seen[change.name]
        if change.kind == "unlink":
            del self.seen[change.name]
        elif change.kind == "rename":
            self.seen[change.data.decode()] = self.seen.pop(change.name)
        self.pending.append((number, change))

    def _sync(self, name: str) -> None:
        is_folder = not name
        mine = [
            one for one in self.pending if (_is_of_names(one[1]) if is_folder else self._is_in(one, name))
        ]
        self.names, changed = self._with(mine)
        self.contents |= changed
        kept = set(map(id, mine))
        self.pending = [one for one in self.pending if id(one) not in kept]

    def _is_in(self, one: tuple[int, Change], name: str) -> bool:
        return not _is_of_names(one[1]) and one[0] == self.seen[name]

    def _with(self, some: Iterable[tuple[int, Change]]) -> tuple[dict[str, int], dict[int, bytes]]:
        """Return the names, and the contents of the files that change, if just these changes reach the disk."""
        names = dict(self.names)
        changed: dict[int, bytes] = {}
        for number, change in some:
            if change.kind == "create":
                names[change.name] = number
            elif change.kind == "unlink":
                names.pop(change.name, None)
            elif change.kind == "rename":
                names.pop(change.name, None)
                names[change.data.decode()] = number
            else:
                before = changed.get(number, self.contents[number])
                changed[number] = _changed(before, change)
        return names, changed

    def after_cut(self) -> Iterator[dict[str, bytes]]:
        """Yield what may be in the folder if the power is cut now, each state once."""
        known: set[bytes] = set()
        for some in subsets(self.pending):
            names, changed = self._with(some)
            files = {name: changed.get(number, self.contents[number]) for name, number in names.items()}
            mark = hashlib.blake2b(
                repr(sorted((n, hashlib.blake2b(b).digest()) for n, b in files.items())).encode()
            )
            if mark.digest() not in known:
                known.add(mark.digest())
                yield files


def _is_of_names(change: Change) -> bool:
    return change.kind in ("create", "unlink", "rename")


def _changed(before: bytes, change: Change) -> bytes:
    if change.kind == "truncate":
        return before[: change.offset].ljust(change.offset, b"\0")
    whole = before.ljust(change.offset, b"\0")
    return whole[: change.offset] + change.data + whole[change.offset + len(change.data) :]


Pending = Sequence[tuple[int, Change]]


def subsets(pending: Pending) -> Iterator[Pending]:
    """Yield what of some changes may have reached the disk."""
    if len(pending) <= EVERY_SUBSET_OF:
        for count in range(len(pending) + 1):
            yield from combinations(pending, count)
    else:
        for count in range(len(pending) + 1):
            yield pending[:count]
            yield pending[count:]
        for place in range(len(pending)):
            yield [pending[place]]
            yield [*pending[:place], *pending[place + 1 :]]
    for place, (number, change) in enumerate(pending):
        for torn in _torn(change):
            yield [*pending[:place], (number, torn)]
            yield [*pending[:place], (number, torn), *pending[place + 1 :]]


def _torn(change: Change) -> Iterator[Change]:
    """Yield the two parts of a write that lies in several sectors, cut at its first, middle and last border."""
    begin, end = change.offset, change.offset + len(change.data)
    first = (begin // SECTOR_BYTES + 1) * SECTOR_BYTES
    borders = range(first, end, SECTOR_BYTES) if change.kind == "write" else range(0)
    for border in sorted({*borders[:1], *borders[len(borders) // 2 :][:1], *borders[-1:]}):
        yield change._replace(data=change.data[: border - begin])
        yield change._replace(offset=border, data=change.data[border - begin :])
