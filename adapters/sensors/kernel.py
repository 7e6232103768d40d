"""The chips that the Linux kernel reads for us: iio, hwmon and 1-wire files below /sys.

Needs no library and no rights beyond reading the files; the chip's driver must be loaded. A path
that numbers may change (``hwmon3``) can be written with ``*``, when exactly one file fits.

A read takes as long as the chip does (a 1-wire conversion 0.75 s), and a broken bus may hold it for
good: ``poll`` runs in the scheduler's thread, never in the loop's, and a read that hangs holds up
this sensor alone. Every SensorUnreachable means "try again": chips come back.
"""

import errno
import logging
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Final, NamedTuple

from wardian.adapters.sysfs import ACCEPTED_NAMES, decimal_text, dimension_of, files_beside
from wardian.rules.errors import BadReading, SensorUnreachable
from wardian.rules.ports import (
    Arrival,
    Clock,
    Decoded,
    HandOver,
    Measured,
    Refused,
)
from wardian.rules.quantities import QUANTITIES
from wardian.rules.readings import Series
from wardian.rules.wire_health import SensorHealth

log = logging.getLogger(__name__)

#: No kernel attribute is longer than a page.
_PAGE_BYTES: Final = 4096
#: Arrivals kept while the loop has no room; the oldest give way.
MOST_WAITING: Final = 10_000
_SHOWN_CHARACTERS: Final = 200

_WORDS: Final = {
    errno.ENOENT: "is not there",
    errno.ENODEV: "is not there any more",
    errno.ENODATA: "has no data: is the channel switched off?",
    errno.EIO: "does not answer",
    errno.EACCES: "may not be read by this user",
}


@dataclass(frozen=True, slots=True)
class KernelChannel:
    """One file and what it measures: ``file`` is a path below the root, its name says unit and scaling."""

    tray: str
    quantity: str
    file: str

    def __post_init__(self) -> None:
        """Refuse a path out of the root, a file no rule is known for, and a quantity it cannot bring."""
        path = PurePosixPath(self.file)
        if path.is_absolute() or ".." in path.parts or "**" in self.file:
            raise ValueError(f"{self.file}: a path below the root is accepted, without '..' and '**'")
        dimension = dimension_of(path.name)
        if dimension is None:
            raise ValueError(f"{self.file}: {ACCEPTED_NAMES} is accepted as the file's name")
        measured = [name for name, quantity in QUANTITIES.items() if not quantity.derived]
        accepted = [name for name in measured if QUANTITIES[name].dimension == dimension]
        if self.quantity not in accepted:
            raise ValueError(f"{self.file} measures {' or '.join(accepted)}, not {self.quantity}")


@dataclass(frozen=True, slots=True)
class KernelSettings:
    """What a kernel sensor needs: its files, read every ``every_s`` seconds."""

    name: str
    channels: tuple[KernelChannel, ...]
    root: Path = Path("/sys")
    every_s: float = 10.0


class KernelMessage(NamedTuple):
    """What one channel's file and those beside it held, by file name, as read."""

    channel: KernelChannel
    contents: Mapping[str, bytes]


class KernelSensor:
    """Reads kernel files; what the kernel's documents call a fault is refused, never guessed at."""

    def __init__(
        self, settings: KernelSettings, clock: Clock, read: Callable[[Path], bytes] | None = None
    ) -> None:
        """Nothing is read before the first poll; ``read`` stands in where no kernel can be had."""
        self.name = settings.name
        self.expected = frozenset(Series(channel.tray, channel.quantity) for channel in settings.channels)
        self.poll_every_s: float | None = settings.every_s
        self._settings = settings
        self._clock = clock
        self._read_file = read or _page
        self._hand_over: HandOver | None = None
        self._waiting: deque[Arrival] = deque()
        self._health = SensorHealth(works=False, words="not read yet")

    def start(self, hand_over: HandOver) -> None:
        """Take the way to the loop; the files are opened anew by each poll."""
        self._hand_over = hand_over

    def poll(self) -> None:
        """Read every channel once and hand over each value with the time it was read at.

        What the loop has no room for waits here for the next poll, up to MOST_WAITING arrivals.

        Raises:
            SensorUnreachable: One or more channels gave nothing; the others were handed over.
        """
        hand_over = self._hand_over
        if hand_over is None:
            return
        failures = [failure for channel in self._settings.channels if (failure := self._ask(channel))]
        self._pass_on(hand_over)
        asked = len(self._settings.channels)
        self._health = SensorHealth(
            works=not failures,
            words="; ".join([f"{asked - len(failures)} of {asked} files answer", *failures]),
        )
        if failures:
            raise SensorUnreachable(self.name, "; ".join(failures))

    def decode(self, arrival: Arrival) -> Decoded:
        """Return the value of one channel, or why it is none."""
        message: KernelMessage = arrival.message
        channel, contents = message
        try:
            text = decimal_text(PurePosixPath(channel.file).name, contents)
        except BadReading as bad:
            return Decoded(refused=[self._refused(arrival.received_ms, message, bad)])
        return Decoded(measured=[Measured(None, channel.tray, channel.quantity, text)])

    def acknowledge(self, arrivals: Sequence[Arrival]) -> None:
        """Do nothing: a kernel file keeps no past."""

    def hear_live(self, *, only: bool) -> None:
        """Do nothing: nobody waits for an acknowledgement."""

    def health(self) -> SensorHealth:
        """Return how many files answered the last poll, and what is wrong with the others."""
        return self._health

    def stop(self) -> None:
        """Let go of the loop; nothing is held open."""
        self._hand_over = None

    def _ask(self, channel: KernelChannel) -> str:
        """Read one channel; return why there is nothing, or nothing."""
        try:
            contents = self._read(channel)
        except OSError as error:
            why = _WORDS.get(error.errno or 0, error.strerror or "cannot be read")
            return f"{channel.file} {why}"
        except LookupError as error:
            return f"{channel.file} {error}"
        message = KernelMessage(channel, contents)
        self._waiting.append(Arrival(self, self._clock.wall_ms(), message))
        return ""

    def _read(self, channel: KernelChannel) -> dict[str, bytes]:
        path = self._path(channel.file)
        contents = {path.name: self._read_file(path)}
        if not contents[path.name].strip():
            raise LookupError("is empty: is a conversion still running?")
        for name in files_beside(path.name):
            try:
                contents[name] = self._read_file(path.with_name(name))
            except FileNotFoundError:
                continue
        return contents

    def _path(self, file: str) -> Path:
        if "*" not in file:
            return self._settings.root / file
        found = list(self._settings.root.glob(file))
        if len(found) != 1:
            raise LookupError(f"fits {len(found)} files; exactly one is accepted")
        return found[0]

    def _pass_on(self, hand_over: HandOver) -> None:
        while self._waiting and hand_over(self._waiting[0]):
            self._waiting.popleft()
        too_many = len(self._waiting) - MOST_WAITING
        if too_many > 0:
            log.error("readings lost", extra={"sensor": self.name, "count": too_many})
            for _ in range(too_many):
                self._waiting.popleft()

    def _refused(self, received_ms: int, message: KernelMessage, bad: BadReading) -> Refused:
        channel, contents = message
        raw = b" | ".join(content.strip() for content in contents.values())
        return Refused(
            source=f"{self.name}: {channel.file}",
            why=bad.why if bad.source in channel.file else str(bad),
            raw=raw.decode("ascii", "backslashreplace")[:_SHOWN_CHARACTERS],
            time_ms=received_ms,
            tray=channel.tray,
            quantity=channel.quantity,
        )


def _page(path: Path) -> bytes:
    with path.open("rb", buffering=0) as file:
        return file.read(_PAGE_BYTES) or b""
