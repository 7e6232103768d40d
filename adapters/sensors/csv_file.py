"""A CSV file that another program appends readings to: ``time,tray,quantity,value,unit``, a row a reading.

Needs the right to read the file, nothing else. RFC 4180 in UTF-8, times RFC 3339 with an offset; no
field holds a line break, so that one stray quotation mark costs one row and not the rest of the file.

The file is read from its beginning after every start of the program: the store knows a repeated
reading. Every SensorUnreachable means "try again": the file may yet be written or put right.
"""

import csv
import errno
import logging
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Final, NamedTuple

from wardian.adapters.timestamps import parse_ms
from wardian.rules.errors import SensorUnreachable
from wardian.rules.ports import (
    Arrival,
    Clock,
    Decoded,
    HandOver,
    Measured,
    Refused,
)
from wardian.rules.readings import Series
from wardian.rules.wire_health import SensorHealth

log = logging.getLogger(__name__)

HEADER: Final = ("time", "tray", "quantity", "value", "unit")
#: How much one poll takes, so that a long file is no flood.
ROWS_PER_ARRIVAL: Final = 1_000
ARRIVALS_PER_POLL: Final = 20
LONGEST_LINE_BYTES: Final = 4_096
#: So much of what was read last is looked for again, to see whether the file is still the same.
_TAIL_BYTES: Final = 64
_SHOWN_CHARACTERS: Final = 200

#: Three digits of exponent are plenty, and a longer one would be a trap.
_NUMBER: Final = re.compile(r"[+-]?(\d{1,40}(\.\d{0,40})?|\.\d{1,40})([eE][+-]?\d{1,3})?", re.ASCII)


@dataclass(frozen=True, slots=True)
class CsvSettings:
    """What a followed file needs; ``series`` are those it is expected to bring."""

    name: str
    file: Path
    every_s: float = 5.0
    series: frozenset[Series] = frozenset()


class Row(NamedTuple):
    """One line with its number, as it was read; only the beginning where it is too long."""

    line: int
    text: bytes
    is_whole: bool


class _Place(NamedTuple):
    """How far the file was handed over."""

    offset: int = 0
    line: int = 0
    tail: bytes = b""
    in_long_line: bool = False

    def after(self, piece: bytes) -> "_Place":
        return _Place(
            self.offset + len(piece),
            self.line + (not self.in_long_line),
            (self.tail + piece)[-_TAIL_BYTES:],
            not piece.endswith(b"\n"),
        )


class CsvSensor:
    """Follows one growing file; a file that was cut or replaced is read anew."""

    def __init__(self, settings: CsvSettings, clock: Clock) -> None:
        """Nothing is opened before the first poll."""
        self.name = settings.name
        self.expected = settings.series
        self.poll_every_s: float | None = settings.every_s
        self._file = settings.file
        self._clock = clock
        self._hand_over: HandOver | None = None
        self._place = _Place()
        self._health = SensorHealth(works=False, words="not read yet")

    def start(self, hand_over: HandOver) -> None:
        """Take the way to the loop; the file is opened anew by each poll."""
        self._hand_over = hand_over

    def poll(self) -> None:
        """Hand over the whole lines that were added, ROWS_PER_ARRIVAL at a time.

        A line without its end waits for the next poll, and so does what the loop has no room for.

        Raises:
            SensorUnreachable: The file cannot be read, or does not begin with the header.
        """
        hand_over = self._hand_over
        if hand_over is None:
            return
        try:
            with self._open() as file:
                self._follow(file, hand_over)
        except OSError as error:
            raise self._unreachable(f"{self._file} cannot be read: {error.strerror}") from error
        self._health = SensorHealth(works=True, words=f"read up to line {self._place.line}")

    def decode(self, arrival: Arrival) -> Decoded:
        """Return the readings of some rows; a bad row is refused with its line and spoils no other."""
        decoded = Decoded()
        rows: Sequence[Row] = arrival.message
        for row in rows:
            self._decode_row(row, decoded)
        return decoded

    def acknowledge(self, arrivals: Sequence[Arrival]) -> None:
        """Do nothing: the file keeps its rows, and the store knows what it has."""

    def hear_live(self, *, only: bool) -> None:
        """Do nothing: nobody waits for an acknowledgement."""

    def health(self) -> SensorHealth:
        """Return how far the file was read, or why it was not."""
        return self._health

    def stop(self) -> None:
        """Let go of the loop; nothing is held open."""
        self._hand_over = None

    # ----------------------------------------------------------------------------------- reading

    def _open(self) -> BinaryIO:
        if self._file.exists() and not self._file.is_file():
            raise OSError(errno.EINVAL, "it is no regular file")
        return self._file.open("rb")

    def _unreachable(self, why: str) -> SensorUnreachable:
        self._health = SensorHealth(works=False, words=why)
        return SensorUnreachable(self.name, why)

    def _follow(self, file: BinaryIO, hand_over: HandOver) -> None:
        if not self._is_same(file):
            log.info("file begins anew", extra={"sensor": self.name, "file": str(self._file)})
            self._place = _Place()
        file.seek(self._place.offset)
        if not self._place.offset and not self._take_header(file):
            return
        for _ in range(ARRIVALS_PER_POLL):
            rows, place = _next_rows(file, self._place)
            if place == self._place:
                return
            if rows and not hand_over(Arrival(self, self._clock.wall_ms(), rows)):
                return
            self._place = place

    def _is_same(self, file: BinaryIO) -> bool:
        """Whether what was read last still stands where it stood."""
        tail = self._place.tail
        file.seek(self._place.offset - len(tail))
        return file.read(len(tail)) == tail

    def _take_header(self, file: BinaryIO) -> bool:
        line = file.readline(LONGEST_LINE_BYTES)
        if not line.endswith(b"\n") and len(line) < LONGEST_LINE_BYTES:
            return False
        names = line.decode("utf-8-sig", "replace").strip("\r\n").split(",")
        if tuple(name.strip() for name in names) != HEADER:
            raise self._unreachable(
                f"{self._file} begins with {_shown(line)!r}; {','.join(HEADER)} is accepted as its first line"
            )
        self._place = self._place.after(line)
        return True

    # ---------------------------------------------------------------------------------- decoding

    def _decode_row(self, row: Row, decoded: Decoded) -> None:
        fields: list[str] = []
        time_ms = None
        try:
            fields = _fields(row)
            if not fields:
                return
            time_ms = parse_ms(fields[0])
            decoded.measured.append(_measured(time_ms, fields))
        except (ValueError, csv.Error) as error:
            source = f"{self.name}: {self._file.name} line {row.line}"
            _, tray, quantity, *_ = fields if len(fields) == len(HEADER) else [None] * len(HEADER)
            decoded.refused.append(
                Refused(source, str(error), _shown(row.text), time_ms, tray or None, quantity or None)
            )


def _next_rows(file: BinaryIO, place: _Place) -> tuple[tuple[Row, ...], _Place]:
    """Return the next rows that are there as whole lines, and the place after them."""
    rows = []
    for _ in range(ROWS_PER_ARRIVAL):
        piece = file.readline(LONGEST_LINE_BYTES)
        is_whole = piece.endswith(b"\n")
        if not is_whole and len(piece) < LONGEST_LINE_BYTES:
            break
        after = place.after(piece)
        if not place.in_long_line:
            rows.append(Row(after.line, piece if is_whole else piece[:_SHOWN_CHARACTERS], is_whole))
        place = after
    return tuple(rows), place


def _fields(row: Row) -> list[str]:
    """Return the five fields of a row, or none where the line is blank."""
    if not row.is_whole:
        raise ValueError(f"the line is longer than {LONGEST_LINE_BYTES} bytes")
    try:
        line = row.text.decode("utf-8").removesuffix("\n").removesuffix("\r")
    except UnicodeDecodeError:
        raise ValueError("the line is not UTF-8") from None
    if not line:
        return []
    fields = line.split(",") if '"' not in line else next(csv.reader([line], strict=True))
    if len(fields) != len(HEADER):
        raise ValueError(f"the line has {len(fields)} fields; {','.join(HEADER)} is accepted")
    return fields


def _measured(time_ms: int, fields: Sequence[str]) -> Measured:
    _, tray, quantity, value, unit = fields
    if not tray:
        raise ValueError("the tray has no name")
    if not _NUMBER.fullmatch(value.strip()):
        raise ValueError(f"{value[:40]!r} is no decimal number")
    return Measured(time_ms, tray, quantity, value.strip(), unit)


def _shown(text: bytes) -> str:
    return text.decode("utf-8", "backslashreplace").rstrip("\r\n")[:_SHOWN_CHARACTERS]
