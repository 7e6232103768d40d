"""Files of readings by the thousand: good rows with the reading they mean, and among them rows that are spoiled.

Each row stands for itself: whatever happens to one must cost no other. As a program: ``python
fuzz_reading_files.py SEED FILES`` with this folder on the path prints lines of the table of figures.
"""

import contextlib
import csv
import gzip
import io
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from random import Random
from time import process_time
from typing import TYPE_CHECKING, NamedTuple

from base_config import BASE
from fake_clock import NOON_MS, FakeClock
from fuzz_figures import Figure, print_figures
from fuzz_good_messages import possible_value, written_time
from reference_payloads import POSSIBLE, UNITS, Meaning
from reference_times import YEARS_MS, NoMeaning, rfc3339_ms

from wardian.adapters.reading_file import read_blocks
from wardian.adapters.sensors.csv_file import CsvSensor, CsvSettings
from wardian.daemon.cli import main
from wardian.daemon.guarded import Slips
from wardian.daemon.intake import Intake
from wardian.rules.errors import BadReading, SensorUnreachable

if TYPE_CHECKING:
    from wardian.rules.ports import Arrival

HEADER = b"time,tray,quantity,value,unit"
SLIPS = Slips(lambda *_: None)
TRAYS = ("tray-a", "tray-b", "ledge 3.1", "Ü_9")
_YEAR_MS = 365 * 86_400_000
_BY_COMMAND = 60
_PIECES = (
    *(
        b'"',
        b'""',
        b'","',
        b",",
        b",,",
        b"\r",
        b"\0",
        b"\xff\xfe",
        b"\xc3",
        b"\xef\xbb\xbf",
        b"\t",
        b" ",
        b";",
        b"\x1a",
    ),
    *(
        b"nan",
        b"inf",
        b"-inf",
        b"1e400",
        b"1e-5000",
        b"1e00005",
        b"0x10",
        b"1_0",
        b"1,5",
        b"9" * 400,
        b"0." + b"1" * 1200,
    ),
    *(
        b"1970-01-01T00:00:00Z",
        b"0001-01-01T00:00:00Z",
        b"9999-12-31T23:59:59.999Z",
        b"2026-03-02",
        b"2026-03-02T18:00:00",
    ),
    *(
        b"kg",
        b"degF",
        b"furlong",
        b"=1+1",
        b"\x1b[31m",
        b"\xe2\x80\xae",
        b"x" * 200_000,
        b"time,tray,quantity,value,unit",
    ),
)


class Made(NamedTuple):
    """A file that was made: its bytes, and what its good rows mean."""

    data: bytes
    good: list[Meaning]
    #: How many rows are not as they should be.
    spoiled: int
    #: Whether its header is as it should be.
    is_readable: bool


@dataclass
class Outcome:
    """What came of a run; whatever is in ``wrong`` should not be."""

    count: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)
    slowest_s: float = 0.0

    def fault(self, what: str, data: bytes, found: object) -> None:
        """Note what went wrong, shortly, so that it can be looked at again."""
        self.count[what] += 1
        if len(self.wrong) < 20:
            self.wrong.append(f"{what}: {str(found)[:1500]}\n    {data[:3000]!r}")


# --------------------------------------------------------------------------------------- drawing


def made(chance: Random) -> Made:
    """Return a file of good and spoiled rows."""
    good: list[Meaning] = []
    lines: list[bytes] = []
    spoiled = 0
    quotes = chance.random() < 0.5
    for _ in range(chance.choice([1, 5, 40])):
        line, meaning = _good_row(chance, quotes=quotes)
        if chance.random() < 0.2:
            line = _spoiled(chance, line)
            spoiled += 1
        else:
            good.append(meaning)
        if chance.random() < 0.05:
            lines.append(chance.choice([b"\n", b"\r\n"]))
        lines.append(line + chance.choice([b"\n", b"\n", b"\r\n"]))
    header = HEADER
    if is_spoiled := chance.random() < 0.05:
        header = _spoiled(chance, header)
    data = chance.choice([b"", b"\xef\xbb\xbf"]) + header + chance.choice([b"\n", b"\r\n"]) + b"".join(lines)
    if chance.random() < 0.2:
        data = data.removesuffix(b"\n").removesuffix(b"\r")
    return Made(data, good, spoiled, not is_spoiled)


def _good_row(chance: Random, *, quotes: bool) -> tuple[bytes, Meaning]:
    quantity = chance.choice(tuple(POSSIBLE))
    unit = chance.choice(["", *UNITS[quantity]])
    written, value = possible_value(chance, quantity, unit)
    time_ms = NOON_MS - chance.randrange(_YEAR_MS)
    time = written_time(chance, time_ms, chance.choice(["", "", "9", "000001"]))
    tray = chance.choice(TRAYS)
    fields = [time, tray, quantity, written.text, unit]
    if quotes and chance.random() < 0.3:
        fields = [f'"{one}"' if chance.random() < 0.5 else one for one in fields]
    return ",".join(fields).encode(), Meaning(time_ms, tray, quantity, value)


def _spoiled(chance: Random, line: bytes) -> bytes:
    spoiled = bytearray(line)
    for _ in range(chance.choice([1, 1, 2, 3])):
        place = chance.randrange(len(spoiled) + 1)
        end = place + chance.choice([0, 1, 1, 4, 12])
        spoiled[place:end] = chance.choice([b"", chance.randbytes(2), chance.choice(_PIECES)])
    return bytes(spoiled).replace(b"\n", b" ")


# --------------------------------------------------------------------------------- naive reading


def meant_by(line: bytes) -> Meaning | None:
    """Return the reading of one row, read the naive way; None where it is none."""
    try:
        text = line.decode("utf-8", errors="surrogateescape").removesuffix("\r")
        fields = next(csv.reader([text]), []) if '"' in text else text.split(",")
        time, tray, quantity, value, unit = fields
        time_ms = rfc3339_ms(time)
        number = float(value.encode())
        low, high = POSSIBLE[quantity]
        factor, offset = UNITS[quantity][unit.replace("μ", "µ")] if unit else (Fraction(1), Fraction(0))
        own = number if factor == 1 and not offset else float(Fraction(value.strip()) * factor + offset)
    except (ValueError, KeyError, OverflowError, csv.Error, NoMeaning, UnicodeEncodeError):
        return None
    is_one = low <= own <= high and "_" not in value and tray and time_ms // 1 in YEARS_MS
    return Meaning(int(time_ms // 1), tray, quantity, own + 0.0) if is_one else None


# --------------------------------------------------------------------------------------- running


class Run:
    """One run in a folder of its own."""

    def __init__(self, seed: int, folder: Path) -> None:
        self.outcome = Outcome()
        self._chance = Random(seed)
        self._folder = folder
        self._config = folder / "c.yaml"
        self._config.write_text(BASE, encoding="utf-8")

    def go(self, files: int) -> Outcome:
        """Make so many files, and read each in every way."""
        for number in range(files):
            self.read(made(self._chance), number)
        return self.outcome

    def read(self, file: Made, number: int) -> None:
        """Let both readers have a file, and now and then the command; and cut it off packed."""
        path = self._folder / "r.csv"
        path.write_bytes(file.data)
        self.outcome.count["files"] += 1
        self._by_reader(path, file)
        self._by_sensor(path, file)
        if number % 3 == 0:
            self._packed(file)
        if number % _BY_COMMAND == 0:
            self._by_command(path, file.data)

    def _by_reader(self, path: Path, file: Made) -> None:
        begun_s = process_time()
        try:
            blocks = list(read_blocks(path))
        except BadReading as error:
            self.outcome.count["files refused"] += 1
            if file.is_readable:
                self.outcome.fault("a whole file refused for a row", file.data, error)
            return
        except Exception as error:  # noqa: BLE001 - whatever is raised here is what is looked for
            self.outcome.fault("crash", file.data, repr(error))
            return
        self.outcome.slowest_s = max(self.outcome.slowest_s, process_time() - begun_s)
        got = [
            Meaning(int(time_ms), series.tray, series.quantity, float(value))
            for block in blocks
            for series, points in block.chunk.items()
            for time_ms, value in zip(*points, strict=True)
        ]
        self._compare("reader", file, got)
        all_refused = [one for block in blocks for one in block.refused]
        if len(all_refused) > file.spoiled and file.is_readable:
            self.outcome.fault("a blank line refused", file.data, all_refused)
        for refused in all_refused:
            self.outcome.count["rows refused"] += 1
            if not refused.why or not refused.source.startswith("r.csv:"):
                self.outcome.fault("refused without line or reason", file.data, refused)

    def _by_sensor(self, path: Path, file: Made) -> None:
        arrivals: list[Arrival] = []
        sensor = CsvSensor(CsvSettings("file", path), FakeClock())
        sensor.start(lambda arrival: not arrivals.append(arrival))  # type: ignore[func-returns-value]  # None: taken
        try:
            try:
                sensor.poll()
            except SensorUnreachable:
                assert not file.is_readable
            readings, refused = Intake(TRAYS, SLIPS).take(arrivals, NOON_MS)
            assert not SLIPS.ever, SLIPS.ever
        except Exception as error:  # noqa: BLE001 - whatever is raised here is what is looked for
            self.outcome.fault("crash of the sensor", file.data, repr(error))
            return
        # A last line without its end waits for the rest of it.
        whole = (
            file
            if file.data.endswith(b"\n")
            else Made(file.data, file.good[:-1], file.spoiled, file.is_readable)
        )
        self._compare("sensor", whole, [Meaning(*reading) for reading in readings])
        for one in refused:
            if not one.why or not one.source:
                self.outcome.fault("refused without line or reason", file.data, one)

    def _compare(self, who: str, file: Made, got: list[Meaning]) -> None:
        if not file.is_readable:
            return
        lines = file.data.replace(b"\r\n", b"\n").split(b"\n")[1:]
        possible = Counter(meaning for line in lines if (meaning := meant_by(line)) is not None)
        found = Counter(one for one in got if one.tray in TRAYS)
        self.outcome.count[f"readings by the {who}"] += len(got)
        if missing := Counter(file.good) - found:
            self.outcome.fault("good row refused", file.data, (who, list(missing)[:3]))
        if more := found - possible:
            self.outcome.fault("wrong reading", file.data, (who, list(more)[:3]))

    def _packed(self, file: Made) -> None:
        path, chance = self._folder / "p.csv.gz", self._chance
        data = bytearray(gzip.compress(file.data, 1))
        draw = chance.randrange(3)
        if draw == 0:
            del data[chance.randrange(len(data)) :]
        elif draw == 1:
            data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
        path.write_bytes(data)
        self.outcome.count["packed files"] += 1
        try:
            for _ in read_blocks(path):
                pass
        except BadReading as error:
            if "p.csv.gz" not in str(error):
                self.outcome.fault("a packed file refused without its name", bytes(data), error)
        except Exception as error:  # noqa: BLE001 - whatever is raised here is what is looked for
            self.outcome.fault("crash", bytes(data), repr(error))

    def _by_command(self, path: Path, data: bytes) -> None:
        out, err = io.StringIO(), io.StringIO()
        try:
            with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
                status = main(["replay", str(path), "--config", str(self._config)])
        except BaseException as error:  # noqa: BLE001 - an exit is as wrong as a crash
            self.outcome.fault("crash of the command", data, repr(error))
            return
        self.outcome.count["by the command"] += 1
        if status not in (0, 1, 2) or (status and "r.csv" not in err.getvalue()):
            self.outcome.fault("not told by the command", data, (status, err.getvalue()))


def figures(seed: int, files: int) -> Iterator[Figure]:
    """Yield the figures of a run."""
    with tempfile.TemporaryDirectory() as folder:
        outcome = Run(seed, Path(folder)).go(files)
    count = outcome.count
    yield Figure(
        "files of readings, half of them with quotes",
        f"{count['files']:,}",
        "at least 10,000",
        count["files"] >= 10_000,
    )
    yield Figure("packed ones, two of three cut off or spoiled", f"{count['packed files']:,}", "", None)
    yield Figure(
        "readings, each as it was meant",
        f"{count['readings by the reader'] + count['readings by the sensor']:,}",
        "",
        None,
    )
    yield Figure("rows refused, each with file and line", f"{count['rows refused']:,}", "", None)
    crashes = sum(n for what, n in count.items() if what.startswith("crash"))
    yield Figure("tracebacks", f"{crashes:,}", "0", crashes == 0)
    for what in (
        "wrong reading",
        "good row refused",
        "a whole file refused for a row",
        "a blank line refused",
        "refused without line or reason",
    ):
        yield Figure(what, f"{count[what]:,}", "0", count[what] == 0)
    for line in outcome.wrong:
        print(line, file=sys.stderr)


if __name__ == "__main__":
    sys.exit(print_figures(figures(int(sys.argv[1]), int(sys.argv[2]))))
