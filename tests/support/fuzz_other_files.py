"""Truths and tables of batches by the thousand, spoiled: each is taken whole or refused with its place.

As a program: ``python fuzz_other_files.py SEED FILES`` with this folder on the path prints lines of the table of figures.
"""

import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from random import Random

from base_config import BASE, built
from fuzz_figures import Figure, print_figures

from wardian.adapters.table_file import read_table
from wardian.adapters.truth_file import read_truth
from wardian.daemon.batch_table import COLUMNS, taken_in
from wardian.rules.errors import BadConfig, BadReading

CONFIG = built(BASE)
NOW_MS = 1_772_452_800_000
TRUTH = """\
{"seed": 7, "start": "2026-03-02T00:00:00.000Z", "end": "2026-03-09T00:00:00.000Z",
 "faults": [{"tray": "tray-a", "fault": "heater dead", "from": "2026-03-03T06:00:00Z", "to": "2026-03-03T12:00:00Z"},
  {"tray": "tray-b", "fault": "sensor stuck", "from": "2026-03-03T06:00:00Z", "to": "2026-03-04T06:00:00Z", "quantity": "ppfd"}],
 "care": [{"tray": "tray-a", "event": "misted", "from": "2026-03-03T06:00:00Z", "to": "2026-03-03T06:01:00Z"}]}
"""
_ROW: Mapping[str, str] = {
    "batch": "one",
    "tray": "tray-a",
    "crop": "coleus",
    "stuck": "2026-01-02T09:00:00Z",
    "count_stuck": "40",
    "who": "evening class",
    "removals": "2026-01-05T09:00:00Z | 3 rot | somebody | soft stems",
    "scores": "2026-01-12T09:00:00Z | 0=1,2=4 | somebody",
    "notes": '2026-01-06T09:00:00Z | two "pale" leaves, one \\\\| bar',
}
_SCRAPS = (
    *(
        b'"',
        b",",
        b"\n",
        b"\r",
        b"|",
        b"\\",
        b":",
        b"{",
        b"}",
        b"[",
        b"]",
        b"\0",
        b"\xff",
        b"\xed\xa0\x80",
        b"null",
        b"-1",
    ),
    *(
        b"1e999",
        b"9" * 5000,
        b"true",
        b'""',
        b"9999-12-31T23:59:60Z",
        b"0001-01-01T00:00:00Z",
        b"2026-13-01",
        b"=1+1",
    ),
    *(b"[" * 3000, b'{"a":' * 20, b"tray-b", b"\x1b[31m", b"\xe2\x80\xae", b"x" * 100_000),
)


def table() -> str:
    """Return a table of one batch that is taken in as it stands."""
    cells = ['"' + _ROW.get(column, "").replace('"', '""') + '"' for column in COLUMNS]
    return f"{','.join(COLUMNS)}\n{','.join(cells)}\n"


def spoiled(chance: Random, text: str) -> bytes:
    """Return a file with a few pieces otherwise, or cut off."""
    data = bytearray(text.encode())
    for _ in range(chance.choice([1, 1, 2, 4])):
        place = chance.randrange(len(data) + 1)
        data[place : place + chance.choice([0, 1, 3, 20])] = chance.choice(
            [b"", chance.randbytes(1), chance.choice(_SCRAPS), bytes(data[place : place + 9])]
        )
    return bytes(data[: chance.randrange(len(data) + 1)] if chance.random() < 0.2 else data)


def take_table(path: Path) -> object:
    """Take a table of batches in, as a command does before anything is put on record."""
    return list(taken_in(CONFIG, str(path), read_table(path), "somebody")([], NOW_MS))


def tried(seed: int, files: int) -> tuple[Counter[str], list[str]]:
    """Return what came of so many spoiled files of each kind, and what should not have."""
    chance, count, wrong = Random(seed), Counter[str](), list[str]()
    kinds: list[tuple[str, str, Callable[[Path], object]]] = [
        ("truths", TRUTH, read_truth),
        ("tables", table(), take_table),
    ]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "file"
        for kind, text, read in kinds:
            path.write_text(text, encoding="utf-8")
            read(path)
            for _ in range(files):
                data = spoiled(chance, text)
                path.write_bytes(data)
                count[kind] += 1
                try:
                    read(path)
                    count["taken"] += 1
                except (BadReading, BadConfig) as error:
                    if path.name not in str(error) or not str(error).replace("\n", "").isprintable():
                        count["refused without its name in plain words"] += 1
                        wrong.append(f"{error!s:.500} <- {data[:600]!r}")
                except Exception as error:  # noqa: BLE001 - whatever is raised here is what is looked for
                    count["crash"] += 1
                    wrong.append(f"{error!r} <- {data[:600]!r}")
    return count, wrong


def figures(seed: int, files: int) -> Iterator[Figure]:
    """Yield the figures of a run."""
    count, wrong = tried(seed, files)
    yield Figure("truths and tables of batches, spoiled", f"{count['truths'] + count['tables']:,}", "", None)
    yield Figure("tracebacks", f"{count['crash']:,}", "0", count["crash"] == 0)
    unsaid = count["refused without its name in plain words"]
    yield Figure("refused without the file's name in plain words", f"{unsaid:,}", "0", unsaid == 0)
    for line in wrong[:20]:
        print(line, file=sys.stderr)


if __name__ == "__main__":
    sys.exit(print_figures(figures(int(sys.argv[1]), int(sys.argv[2]))))
