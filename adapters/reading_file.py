"""Readings as a file: CSV by RFC 4180, one reading a row, read in blocks and written row by row.

The rule of this file: a row is a reading or is refused with its line and the reason; none is lost
silently. A block without quotes is split at once, which makes a week of rows a matter of a second;
a block in which anything is out of the ordinary is read row by row.
"""

import contextlib
import csv
import gzip
import io
import zlib
from collections.abc import Iterable, Iterator
from functools import lru_cache
from pathlib import Path
from typing import BinaryIO, Final, NamedTuple, cast

import numpy as np
from numpy.typing import NDArray

from wardian.adapters.timestamps import parse_ms, text_of
from wardian.rules.documents import shown
from wardian.rules.errors import BadReading
from wardian.rules.ports import Block, Refused
from wardian.rules.quantities import QUANTITIES, Quantity
from wardian.rules.readings import Chunk, Points, Reading, Rows, Series
from wardian.rules.units import Unit, in_own_unit, unit_named

HEADER: Final = ["time", "tray", "quantity", "value", "unit"]
_HEADER_LINE: Final = ",".join(HEADER)
_BLOCK_BYTES: Final = 1 << 19
#: Distinct texts remembered while reading; a file in order of time repeats each time a few rows on.
_REMEMBERED: Final = 5000
_LONGEST_LINE_BYTES: Final = 4 << 20
#: Half the time of the smallest files, for a tenth more bytes.
_GZIP_LEVEL: Final = 6


class _Kind(NamedTuple):
    """What tray, quantity and unit of a row mean together; ``why`` when they mean nothing."""

    series: Series
    quantity: Quantity | None
    unit: Unit | None
    why: str


def read_blocks(path: Path) -> Iterator[Block]:
    """Yield the rows of a ``.csv`` or ``.csv.gz`` file, block by block.

    Raises:
        BadReading: The file cannot be read or is no readings file at all.
    """
    try:
        with _opened(path) as file:
            header = file.readline(4096).decode("utf-8-sig", errors="replace").strip("\r\n")
            if [name.strip() for name in header.split(",")] != HEADER:
                raise BadReading(str(path), f"line 1 is not the header {_HEADER_LINE}")
            yield from _Rows(path.name).blocks(file)
    except (OSError, EOFError, zlib.error) as error:
        raise BadReading(str(path), f"cannot be read: {getattr(error, 'strerror', None) or error}") from error


def write_rows(path: Path, readings: Iterable[Reading]) -> int:
    """Write readings as a ``.csv`` or ``.csv.gz`` file, each in its own unit; return how many.

    The file appears under its name only when it is whole.

    Raises:
        OSError: It cannot be written there.
    """
    count = 0
    with _written_whole(path) as binary, io.TextIOWrapper(binary, "utf-8", newline="") as text:
        rows = csv.writer(text, lineterminator="\n")
        rows.writerow(HEADER)
        for time_ms, tray, quantity, value in readings:
            rows.writerow((text_of(time_ms), tray, quantity, repr(value), QUANTITIES[quantity].unit))
            count += 1
    return count


def write_pieces(path: Path, pieces: Iterable[Rows]) -> int:
    """Write readings that come as arrays, piece by piece, as ``write_rows`` writes them; return how many.

    Raises:
        OSError: It cannot be written there.
    """
    count = 0
    with _written_whole(path) as file:
        file.write(f"{_HEADER_LINE}\n".encode())
        for piece in pieces:
            file.write("".join(_lines(piece)).encode())
            count += len(piece.codes)
    return count


def _lines(rows: Rows) -> Iterator[str]:
    # Names hold no comma and no quotation mark: the configuration accepts none.
    before = [f"Z,{tray},{quantity}," for tray, quantity in rows.series]
    after = [f",{QUANTITIES[quantity].unit}\n" for _, quantity in rows.series]
    times = np.datetime_as_string(rows.times_ms.astype("datetime64[ms]")).tolist()
    columns = zip(times, rows.codes.tolist(), rows.values.tolist(), strict=True)
    return (f"{time}{before[code]}{value!r}{after[code]}" for time, code, value in columns)


@contextlib.contextmanager
def _written_whole(path: Path) -> Iterator[BinaryIO]:
    """Open a file that appears under its name only when it is whole; the same content gives the same bytes."""
    part = path.with_name(f".{path.name}.part")
    try:
        with part.open("wb") as file:
            if path.suffix == ".gz":
                with gzip.GzipFile("", "wb", _GZIP_LEVEL, file, mtime=0) as packed:
                    yield cast("BinaryIO", packed)
            else:
                yield file
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def _opened(path: Path) -> BinaryIO:
    return cast("BinaryIO", gzip.open(path)) if path.suffix == ".gz" else path.open("rb")


class _Times(dict[bytes, int]):
    """What repeated texts of a time mean; a text that is no time means ``_NO_TIME``."""

    def __missing__(self, text: bytes) -> int:
        time_ms = _time(text)
        self[text] = _NO_TIME if isinstance(time_ms, str) else time_ms
        return self[text]

    def forget(self) -> None:
        """Forget all when it is much: a file in order of time does not come back to it."""
        if len(self) > _REMEMBERED:
            self.clear()


class _Kinds(dict[tuple[bytes, bytes, bytes], int]):
    """What repeated texts of tray, quantity and unit mean: a place in ``known``."""

    def __init__(self, name: str) -> None:
        self._name = name
        self.known: list[_Kind] = []

    def __missing__(self, key: tuple[bytes, bytes, bytes]) -> int:
        if len(self) == _REMEMBERED:
            raise BadReading(self._name, f"has more than {_REMEMBERED} trays, quantities and units")
        self.known.append(_kind(*(field.decode("utf-8", errors="replace") for field in key)))
        self[key] = len(self.known) - 1
        return self[key]


class _Rows:
    """Rows read so far: the line reached, and what repeated texts mean."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._line = 2
        self._times = _Times()
        self._kinds = _Kinds(name)

    def blocks(self, file: BinaryIO) -> Iterator[Block]:
        rest = b""
        while data := file.read(_BLOCK_BYTES):
            end = data.rfind(b"\n") + 1
            if not end:
                rest += data
                if len(rest) > _LONGEST_LINE_BYTES:
                    raise BadReading(f"line {self._line}", "is too long to be a reading")
                continue
            yield self._block(rest + data[:end])
            rest = data[end:]
        if rest.strip():
            yield self._block(rest + b"\n")

    def _block(self, data: bytes) -> Block:
        if b"\r" in data:
            data = data.replace(b"\r\n", b"\n")
        columns = self._split(data) or self._parse(data)
        block = self._readings(*columns)
        self._line += data.count(b"\n")
        return block

    def _split(self, data: bytes) -> tuple[list[bytes], ...] | None:
        """Return the five columns of a block in which every row is plain, else None."""
        if b'"' in data:
            return None
        fields = data.replace(b"\n", b",\n,").split(b",")
        rows = len(fields) // 6
        if len(fields) != rows * 6 + 1 or fields[5::6].count(b"\n") != rows:
            return None
        return tuple(fields[column:-1:6] for column in range(5))

    def _parse(self, data: bytes) -> tuple[list[bytes], ...]:
        """Return the five columns of any block; a row of another length has no time, and says why."""
        rows = [_row(line) for line in data.split(b"\n")[:-1]]
        return tuple([row[column] for row in rows] for column in range(5))

    def _readings(
        self,
        times: list[bytes],
        trays: list[bytes],
        quantities: list[bytes],
        texts: list[bytes],
        units: list[bytes],
    ) -> Block:
        keys = zip(trays, quantities, units, strict=True)
        codes = np.fromiter(map(self._kinds.__getitem__, keys), np.int16, len(trays))
        times_ms = self._timed(times)
        values = self._valued(texts, codes)
        low = np.array([k.quantity.possible_low if k.quantity else np.nan for k in self._kinds.known])
        high = np.array([k.quantity.possible_high if k.quantity else np.nan for k in self._kinds.known])
        good = (values >= low[codes]) & (values <= high[codes]) & (times_ms > _NO_TIME)
        refused = [
            self._refusal(int(row), times[row], texts[row], int(codes[row]), float(values[row]))
            for row in np.flatnonzero(~good)
        ]
        if refused:
            codes, times_ms, values = codes[good], times_ms[good], values[good]
        return Block(
            self._grouped(codes, times_ms, values), len(times), [one for one in refused if one is not None]
        )

    def _timed(self, times: list[bytes]) -> NDArray[np.int64]:
        times_ms = _plain_times(times)
        if times_ms is None:
            times_ms = np.fromiter(map(self._times.__getitem__, times), np.int64, len(times))
            self._times.forget()
        return times_ms

    def _valued(self, texts: list[bytes], codes: NDArray[np.int16]) -> NDArray[np.float64]:
        values = _numbers(texts)
        for code, kind in enumerate(self._kinds.known):
            if kind.unit is not None:
                for row in np.flatnonzero(codes == code):
                    if np.isfinite(values[row]):
                        values[row] = _converted(texts[row], kind.unit)
        return values

    def _refusal(self, row: int, time: bytes, text: bytes, code: int, value: float) -> Refused | None:
        kind = self._kinds.known[code]
        if not (time or text or any(kind.series)):
            return None  # an empty line
        time_ms = _time(time)
        known_ms = None if isinstance(time_ms, str) else time_ms
        why = kind.why or (kind.quantity.why_impossible(value) if kind.quantity else "")
        if kind.quantity and np.isnan(value):
            why = f"{shown(text.decode(errors='replace'))} is not a number"
        if isinstance(time_ms, str):
            why = time_ms
        source = f"{self._name}:{self._line + row}"
        raw = text.decode(errors="replace")
        quantity = kind.series.quantity if kind.quantity else None
        return Refused(source, why, raw, known_ms, kind.series.tray or None, quantity)

    def _grouped(
        self, codes: NDArray[np.int16], times_ms: NDArray[np.int64], values: NDArray[np.float64]
    ) -> Chunk:
        if not len(codes):
            return {}
        order = np.argsort(codes, kind="stable")
        codes, times_ms, values = codes[order], times_ms[order], values[order]
        edges = np.flatnonzero(np.diff(codes, prepend=-1))
        chunk: Chunk = {}
        for first, last in zip(edges, [*edges[1:], len(codes)], strict=True):
            series = self._kinds.known[codes[first]].series
            piece = Points(times_ms[first:last].copy(), values[first:last].copy())
            if series in chunk:
                piece = Points(*(np.concatenate(pair) for pair in zip(chunk[series], piece, strict=True)))
            chunk[series] = piece
        return chunk


_NO_TIME: Final = -(2**62)
#: Stands where the time of a row should, if it has none: why there is no row.
_FIELDS: Final = b" fields"
_NO_ROW: Final = b"the line is no row of CSV: "


def _row(line: bytes) -> list[bytes]:
    """Return the five fields of a line; empty ones where it is blank, and why in place of the time where it is no row."""
    try:
        row = next(csv.reader([line.decode("utf-8", errors="surrogateescape")]), [])
    except csv.Error as error:  # a bare carriage return, or a field beyond what the library takes
        return [_NO_ROW + str(error).encode(), *[b""] * 4]
    if not row:
        return [b""] * len(HEADER)
    if len(row) != len(HEADER):
        return [str(len(row)).encode() + _FIELDS, *[b""] * 4]
    return [field.encode("utf-8", errors="surrogateescape") for field in row]


def _time(text: bytes) -> int | str:
    """Return milliseconds since 1970 UTC, or why the text is no time."""
    try:
        return parse_ms(text.decode())
    except ValueError as error:
        if text.startswith(_NO_ROW):
            return text.decode()
        if text.endswith(_FIELDS):
            return f"the row has {text.decode()}; {_HEADER_LINE} are expected"
        return str(error)


#: The two usual forms of a time, in UTC: where digits stand is a 0.
_PLAIN_FORMS: Final = {
    len(form): np.frombuffer(form, np.uint8)
    for form in (
        b"0000-00-00T00:00:00Z",
        b"0000-00-00T00:00:00.000Z",
    )
}
_SECOND_MS: Final = np.array([36_000_000, 3_600_000, 0, 600_000, 60_000, 0, 10_000, 1_000])


def _plain_times(times: list[bytes]) -> NDArray[np.int64] | None:
    """Return milliseconds since 1970 UTC of times that all have one usual form, else None."""
    form = _PLAIN_FORMS.get(len(times[0])) if times else None
    joined = b"".join(times)
    if form is None or len(joined) != len(times) * len(form):
        return None
    letters = np.frombuffer(joined, np.uint8).reshape(len(times), len(form))
    digits = letters - np.uint8(48)
    is_digit = form == 48
    if not ((letters == form) | is_digit).all() or (digits[:, is_digit] > 9).any():
        return None
    if (digits[:, 11] * 10 + digits[:, 12] > 23).any() or (digits[:, [14, 17]] > 5).any():
        return None
    days_ms = _days_ms(times, letters)
    return None if days_ms is None else days_ms + digits[:, 11:19] @ _SECOND_MS + _fraction_ms(digits)


def _fraction_ms(digits: NDArray[np.uint8]) -> NDArray[np.int64] | int:
    return digits[:, 20:23] @ np.array([100, 10, 1]) if digits.shape[1] > 20 else 0


def _days_ms(times: list[bytes], letters: NDArray[np.uint8]) -> NDArray[np.int64] | None:
    """Return the beginning of each time's day, or None where one has a date that there is not."""
    changes = np.flatnonzero((letters[1:, :10] != letters[:-1, :10]).any(axis=1)) + 1
    first = np.concatenate(([0], changes))
    days = [_time(times[place][:10] + b"T00:00:00Z") for place in first]
    if any(isinstance(day, str) for day in days):
        return None
    return np.repeat(np.array(days, np.int64), np.diff(np.append(first, len(times))))


def _numbers(texts: list[bytes]) -> NDArray[np.float64]:
    if b"_" not in b"".join(texts):
        with contextlib.suppress(ValueError):
            return np.fromiter(map(float, texts), np.float64, len(texts))
    return np.fromiter(map(_number, texts), np.float64, len(texts))


def _number(text: bytes) -> float:
    """Return a number, or not-a-number for a text that is none or is not finite."""
    try:
        value = float(text)
    except ValueError:
        return np.nan
    return np.nan if b"_" in text else value


@lru_cache(maxsize=_REMEMBERED)
def _converted(text: bytes, unit: Unit) -> float:
    try:
        return in_own_unit(text.decode().strip(), unit)
    except ValueError:  # a number so long, or an exponent of so many digits, that nobody measured it
        return np.nan


def _kind(tray: str, quantity: str, unit: str) -> _Kind:
    series = Series(tray, quantity)
    known = QUANTITIES.get(quantity)
    if not tray:
        return _Kind(series, None, None, "the row names no tray")
    if known is None or known.derived:
        measured = ", ".join(name for name, one in QUANTITIES.items() if not one.derived)
        what = "derived, never read" if known else "unknown"
        return _Kind(
            series, None, None, f"quantity {shown(quantity)} is {what}; one of {measured} is accepted"
        )
    meant = unit_named(known.dimension, unit) if unit else None
    if unit and meant is None:
        return _Kind(
            series, None, None, f"unit {shown(unit)} does not fit {quantity}; {known.unit} is its own"
        )
    own = meant is None or meant == Unit()
    return _Kind(series, known, None if own else meant, "")
