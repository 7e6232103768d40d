"""Readings as a file: CSV by RFC 4180, one reading a row, read in blocks and written row by row.

The rule of this file: a row is a reading or is refused with its line and the reason; none is lost
silently. A block without quotes is split at once, which makes a week of rows a matter of a second;
a block in which anything is out of the ordinary is read row by row.
"""

import contextlib
import csv
import gzip
import io
from collections.abc import Iterable, Iterator
from functools import lru_cache
from pathlib import Path
from typing import IO, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from wardian.adapters.timestamps import parse_ms, text_of
from wardian.rules.errors import BadReading
from wardian.rules.quantities import QUANTITIES, Quantity
from wardian.rules.readings import Chunk, Points, Reading, Series
from wardian.rules.units import Unit, in_own_unit, unit_named

HEADER: Final = ["time", "tray", "quantity", "value", "unit"]
_HEADER_LINE: Final = ",".join(HEADER)
_BLOCK_BYTES: Final = 1 << 20
#: Distinct texts remembered while reading; a file in order of time repeats each time a few rows on.
_REMEMBERED: Final = 5000
_LONGEST_LINE_BYTES: Final = 4 << 20


class RefusedRow(NamedTuple):
    """A row that is no reading, with as much of its place as is known."""

    line: int
    why: str
    time_ms: int | None = None
    tray: str | None = None
    quantity: str | None = None


class Block(NamedTuple):
    """Some rows of a file, in its order."""

    chunk: Chunk
    rows: int
    refused: list[RefusedRow]


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
        with _opened(path, "rb") as file:
            header = file.readline(4096).decode("utf-8-sig", errors="replace").strip("\r\n")
            if [name.strip() for name in header.split(",")] != HEADER:
                raise BadReading(str(path), f"line 1 is not the header {_HEADER_LINE}")
            yield from _Rows().blocks(file)
    except (OSError, EOFError) as error:
        raise BadReading(str(path), f"cannot be read: {getattr(error, 'strerror', None) or error}") from error


def write_rows(path: Path, readings: Iterable[Reading]) -> int:
    """Write readings as a ``.csv`` or ``.csv.gz`` file, each in its own unit; return how many.

    The file appears under its name only when it is whole.

    Raises:
        OSError: It cannot be written there.
    """
    part = path.with_name(f".{path.name}.part{'.gz' if path.suffix == '.gz' else ''}")
    count = 0
    try:
        with _opened(part, "wb") as binary, io.TextIOWrapper(binary, "utf-8", newline="") as text:
            rows = csv.writer(text, lineterminator="\n")
            rows.writerow(HEADER)
            for time_ms, tray, quantity, value in readings:
                rows.writerow((text_of(time_ms), tray, quantity, repr(value), QUANTITIES[quantity].unit))
                count += 1
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
    return count


def _opened(path: Path, mode: str) -> IO[bytes]:
    if path.suffix == ".gz":
        return gzip.GzipFile(path, mode)
    return path.open(mode)  # type: ignore[return-value]  # the mode is always a binary one


class _Rows:
    """Rows read so far: the line reached, and what repeated texts mean."""

    def __init__(self) -> None:
        self._line = 2
        self._times: dict[bytes, int | str] = {}
        self._codes: dict[tuple[bytes, bytes, bytes], int] = {}
        self._kinds: list[_Kind] = []

    def blocks(self, file: IO[bytes]) -> Iterator[Block]:
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
        rows = []
        for line in data.split(b"\n")[:-1]:
            row = next(csv.reader([line.decode("utf-8", errors="surrogateescape")]), [])
            if len(row) != len(HEADER):
                row = ["", "", "", "", ""] if not row else [f"{len(row)} fields", *[""] * 4]
            rows.append([field.encode("utf-8", errors="surrogateescape") for field in row])
        return tuple([row[column] for row in rows] for column in range(5))

    def _readings(
        self,
        times: list[bytes],
        trays: list[bytes],
        quantities: list[bytes],
        texts: list[bytes],
        units: list[bytes],
    ) -> Block:
        codes = self._coded(trays, quantities, units)
        times_ms = self._timed(times)
        values = self._valued(texts, codes)
        low = np.array([k.quantity.possible_low if k.quantity else np.nan for k in self._kinds])
        high = np.array([k.quantity.possible_high if k.quantity else np.nan for k in self._kinds])
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

    def _coded(self, trays: list[bytes], quantities: list[bytes], units: list[bytes]) -> NDArray[np.int64]:
        known = self._codes
        keys = zip(trays, quantities, units, strict=True)
        return np.fromiter(
            (known[k] if k in known else self._new_code(k) for k in keys), np.int64, len(trays)
        )

    def _new_code(self, key: tuple[bytes, bytes, bytes]) -> int:
        kind = _kind(*(field.decode("utf-8", errors="replace") for field in key))
        if len(self._kinds) == _REMEMBERED:
            raise BadReading(f"line {self._line}", f"more than {_REMEMBERED} trays, quantities and units")
        self._codes[key] = len(self._kinds)
        self._kinds.append(kind)
        return self._codes[key]

    def _timed(self, times: list[bytes]) -> NDArray[np.int64]:
        known = self._times
        if len(known) > _REMEMBERED:
            known.clear()
        for text in set(times).difference(known):
            known[text] = _time(text)
        return np.fromiter(
            (value if isinstance(value := known[text], int) else _NO_TIME for text in times),
            np.int64,
            len(times),
        )

    def _valued(self, texts: list[bytes], codes: NDArray[np.int64]) -> NDArray[np.float64]:
        values = _numbers(texts)
        for code, kind in enumerate(self._kinds):
            if kind.unit is not None:
                for row in np.flatnonzero(codes == code):
                    if np.isfinite(values[row]):
                        values[row] = _converted(texts[row], kind.unit)
        return values

    def _refusal(self, row: int, time: bytes, text: bytes, code: int, value: float) -> RefusedRow | None:
        line, kind = self._line + row, self._kinds[code]
        time_ms = self._times[time] if time in self._times else _time(time)
        if not time and not kind.series.tray and not text:
            return None  # an empty line
        if isinstance(time_ms, str):
            return RefusedRow(line, time_ms, None, kind.series.tray or None, None)
        if kind.quantity is None:
            return RefusedRow(line, kind.why, time_ms)
        why = kind.quantity.why_impossible(value)
        if np.isnan(value):
            why = f"{text.decode(errors='replace')!r} is not a number"
        return RefusedRow(line, why, time_ms, *kind.series)

    def _grouped(
        self, codes: NDArray[np.int64], times_ms: NDArray[np.int64], values: NDArray[np.float64]
    ) -> Chunk:
        order = np.argsort(codes.astype(np.int16), kind="stable")
        codes, times_ms, values = codes[order], times_ms[order], values[order]
        edges = np.flatnonzero(np.diff(codes, prepend=-1))
        chunk: Chunk = {}
        for first, last in zip(edges, [*edges[1:], len(codes)], strict=True):
            series = self._kinds[codes[first]].series
            piece = Points(times_ms[first:last].copy(), values[first:last].copy())
            if series in chunk:
                piece = Points(*(np.concatenate(pair) for pair in zip(chunk[series], piece, strict=True)))
            chunk[series] = piece
        return chunk


_NO_TIME: Final = -(2**62)


def _time(text: bytes) -> int | str:
    """Return milliseconds since 1970 UTC, or why the text is no time."""
    try:
        return parse_ms(text.decode())
    except ValueError as error:
        if text.endswith(b" fields"):
            return f"the row has {text.decode()}; {_HEADER_LINE} are expected"
        return str(error)


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
    return in_own_unit(text.decode().strip(), unit)


def _kind(tray: str, quantity: str, unit: str) -> _Kind:
    series = Series(tray, quantity)
    known = QUANTITIES.get(quantity)
    if not tray:
        return _Kind(series, None, None, "the row names no tray")
    if known is None or known.derived:
        measured = ", ".join(name for name, one in QUANTITIES.items() if not one.derived)
        what = "derived, never read" if known else "unknown"
        return _Kind(series, None, None, f"quantity {quantity!r} is {what}; one of {measured} is accepted")
    meant = unit_named(known.dimension, unit) if unit else None
    if unit and meant is None:
        return _Kind(series, None, None, f"unit {unit!r} does not fit {quantity}; {known.unit} is its own")
    own = meant is None or meant == Unit()
    return _Kind(series, known, None if own else meant, "")
