"""Recorded and pretended weeks: files of readings, the truth about them, and what a store holds.

The rule of this file: as in the wiring, each adapter is imported by the function that opens it.
"""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack
from itertools import zip_longest
from pathlib import Path
from typing import TYPE_CHECKING

from wardian.daemon.config import Config
from wardian.daemon.wiring import load_config, open_store

if TYPE_CHECKING:
    from wardian.daemon.chronicle import Chronicle
    from wardian.daemon.replay import NamedTruth, Replayed
    from wardian.daemon.vary import Varied
    from wardian.daemon.weeks import Week
    from wardian.rules.ports import Refused
    from wardian.rules.readings import Chunk, Rows
    from wardian.rules.truth import Truth


def replay(
    config: Config, path: Path, truth: Path | None = None, chronicle: "Chronicle | None" = None
) -> "Replayed":
    """Judge a file of readings by a configuration, and score that against a truth where there is one.

    With a chronicle also by what shows in the traces.

    Raises:
        BadReading: The file cannot be read, or holds no reading; or the truth is none, or of others.
    """
    from wardian.adapters.reading_file import read_blocks
    from wardian.daemon.replay import NamedBlocks
    from wardian.daemon.replay import replay as judge

    named = load_truth(truth) if truth else None
    plans = (tray.plan for tray in config.trays)
    return judge(plans, NamedBlocks(str(path), read_blocks(path)), named, chronicle)


def of_tray(path: Path, tray: str) -> "tuple[Chunk, list[Refused]]":
    """Return the readings of one tray in a file, in its order, and the rows about it that were refused.

    Raises:
        BadReading: The file cannot be read, or holds no reading of the tray.
    """
    from wardian.adapters.reading_file import read_blocks
    from wardian.rules.errors import BadReading
    from wardian.rules.readings import joined

    chunks, refused = [], []
    for block in read_blocks(path):
        chunks.append({series: points for series, points in block.chunk.items() if series.tray == tray})
        refused += [row for row in block.refused if row.tray == tray]
    chunk = joined(chunks)
    if not chunk:
        raise BadReading(str(path), f"holds no reading of {tray}")
    return chunk, refused


def load_truth(path: Path) -> "NamedTruth":
    """Return the truth in a file.

    Raises:
        BadReading: It cannot be read, or is none.
    """
    from wardian.adapters.truth_file import read_truth
    from wardian.daemon.replay import NamedTruth

    return NamedTruth(str(path), read_truth(path))


def export(config: Config, out: Path, from_text: str | None, to_text: str | None) -> int:
    """Write stored readings to a file and return how many.

    Raises:
        ValueError: A time cannot be read, or the file cannot be one of readings.
        StoreFailed: The store cannot be read.
        OSError: The file cannot be written.
    """
    from wardian.adapters.reading_file import write_rows

    if not out.name.endswith((".csv", ".csv.gz")):
        raise ValueError(f"--out {out}: a name that ends in .csv or .csv.gz is accepted")
    from_ms, to_ms = _between(from_text, to_text)
    with ExitStack() as opened:
        return write_rows(out, open_store(config, opened, read_only=True).readings(from_ms, to_ms))


def write_readings(path: Path, pieces: "Iterable[Rows]") -> int:
    """Write readings that come piece by piece to a file and return how many.

    Raises:
        OSError: The file cannot be written.
    """
    from wardian.adapters.reading_file import write_pieces

    return write_pieces(path, pieces)


def write_truth(path: Path, truth: "Truth") -> None:
    """Write the truth about readings to a file.

    Raises:
        OSError: The file cannot be written.
    """
    from wardian.adapters.truth_file import write_truth as write

    write(path, truth)


def instant_ms(text: str) -> int:
    """Return the instant that a text names, in milliseconds since 1970 UTC.

    Raises:
        ValueError: It is none.
    """
    from wardian.adapters.timestamps import parse_ms

    return parse_ms(text)


def instant_text(time_ms: int) -> str:
    """Return an instant as text, in UTC."""
    from wardian.adapters.timestamps import text_of

    return text_of(time_ms)


def _between(from_text: str | None, to_text: str | None) -> tuple[int, int]:
    from wardian.adapters.timestamps import parse_ms

    return parse_ms(from_text) if from_text else -(2**62), parse_ms(to_text) if to_text else 2**62


# ------------------------------------------------------------------------------------------- batches


def read_table(path: Path) -> list[tuple[int, list[str]]]:
    """Return the rows of a CSV file that are not empty, each with the line on which it begins.

    Raises:
        BadConfig: It is no table in UTF-8.
        OSError: It cannot be read.
    """
    from wardian.adapters.table_file import read_table as read

    return read(path)


def write_table(path: Path, rows: "Iterable[Sequence[str]]") -> None:
    """Write rows to a CSV file.

    Raises:
        OSError: It cannot be written.
    """
    from wardian.adapters.table_file import write_table as write

    write(path, rows)


# ------------------------------------------------------------------------------- settings to compare


def varied(path: Path, keys: Sequence[str]) -> list["Varied"]:
    """Return a configuration with every combination of the values that some of its keys take.

    Raises:
        BadConfig: The configuration cannot be used, or a key or one of its values cannot.
    """
    from wardian.adapters.yaml_file import parse
    from wardian.daemon.vary import varied as varied_by

    return varied_by(load_config(path), path.parent.absolute(), keys, parse)


def weeks(paths: Sequence[Path], truths: Sequence[Path]) -> Iterator["Week"]:
    """Return what each file of readings holds, each read when its turn comes; ``truths`` are of each, or none.

    Raises:
        BadReading: At once for a truth that cannot be read, else in its turn: a file cannot be read, holds no
            reading, or others than its truth is about.
        OSError: A file is not there.
    """
    from wardian.adapters.reading_file import read_blocks
    from wardian.daemon.weeks import gather

    known = [load_truth(path) for path in truths]
    for path in paths:
        path.stat()
    return (gather(read_blocks(path), str(path), truth) for path, truth in zip_longest(paths, known))


def stored_week(config: Config, from_text: str | None, to_text: str | None) -> "Week":
    """Return what a store holds between two instants.

    Raises:
        ValueError: A time cannot be read.
        StoreFailed: The store cannot be read.
        BadReading: It holds no reading.
    """
    from wardian.daemon.weeks import gather, in_blocks

    with ExitStack() as opened:
        store = open_store(config, opened, read_only=True)
        return gather(in_blocks(store.readings(*_between(from_text, to_text))), config.store_url)
