"""A table as a file: CSV by RFC 4180 in UTF-8, for spreadsheets and back.

The rule of this file: what is written reads back as exactly the same cells, and no cell that is written is taken for a
formula by a spreadsheet.
"""

import csv
import io
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Final

from wardian.rules.errors import BadConfig, Mistake

#: Many years of batches; a file beyond it is something else.
MOST_BYTES: Final = 16 << 20
#: What begins a formula (or, a tab or a return, hides that it begins one); an apostrophe before it makes it text.
#: Source: OWASP Foundation, CSV Injection (community page); from memory.
_BEGINS_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")
_TEXT_MARK: Final = "'"


def read_table(path: Path) -> list[tuple[int, list[str]]]:
    """Return the rows of a file that are not empty, each with the line on which it begins.

    Raises:
        BadConfig: It is no table in UTF-8, with the line.
        OSError: It cannot be read.
    """
    with path.open("rb") as file:
        content = file.read(MOST_BYTES + 1)
    if len(content) > MOST_BYTES:
        raise _bad(path, 1, f"is larger than {MOST_BYTES >> 20} MiB")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise _bad(path, line, "is not UTF-8", "save it as CSV in UTF-8") from error
    return _rows(path, text)


def _rows(path: Path, text: str) -> list[tuple[int, list[str]]]:
    lines = csv.reader(io.StringIO(text, newline=""), strict=True)
    rows, first_line = [], 1
    try:
        for cells in lines:
            if any(cells):
                rows.append((first_line, [_bare(cell) for cell in cells]))
            first_line = lines.line_num + 1
    except csv.Error as error:
        raise _bad(path, first_line, f"is no row of CSV: {error}") from error
    return rows


def write_table(path: Path, rows: Iterable[Sequence[str]]) -> None:
    """Write rows as a file, which appears under its name only when it is whole.

    Raises:
        OSError: It cannot be written there.
    """
    part = path.with_name(f".{path.name}.part")
    try:
        with part.open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows([_guarded(cell) for cell in row] for row in rows)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def _guarded(cell: str) -> str:
    return (
        _TEXT_MARK + cell
        if cell.startswith((*_BEGINS_FORMULA, _TEXT_MARK)) and not _is_number(cell)
        else cell
    )


def _bare(cell: str) -> str:
    is_guarded = cell.startswith(_TEXT_MARK) and cell[1:].startswith((*_BEGINS_FORMULA, _TEXT_MARK))
    return cell[1:] if is_guarded and not _is_number(cell[1:]) else cell


def _is_number(cell: str) -> bool:
    """Return whether a cell is a plain number, which a spreadsheet may compute with, as ``-2.5``."""
    return cell[1:].replace(".", "", 1).isdecimal() and cell[0] == "-" and cell.isascii()


def _bad(path: Path, line: int, problem: str, hint: str = "") -> BadConfig:
    return BadConfig(str(path), [Mistake("", line, problem, hint)])
