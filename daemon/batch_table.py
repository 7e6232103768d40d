"""Batches as the rows of a table, one a row with the whole record, and rows as records again.

The rule of this file: every bad cell is named with its line and column, and nothing is put on record while there is one.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, Final, NamedTuple, TypeAlias

from wardian.daemon.acts import one_line
from wardian.daemon.batch_crops import known_crop
from wardian.daemon.batch_fields import (
    FIELDS,
    Bench,
    Read,
    moment_ms,
    name,
    reason_counts,
    score_counts,
    text,
    whole,
    written_counts,
)
from wardian.daemon.batch_fields import written as written_as
from wardian.daemon.config import Config
from wardian.daemon.putting import Make
from wardian.daemon.tongue import utc_text
from wardian.rules.amounts import NotAnAmount
from wardian.rules.batch_checks import impossible
from wardian.rules.batches import REASONS, Batch, batches, open_batch
from wardian.rules.documents import nearest, shown
from wardian.rules.errors import BadConfig, Mistake
from wardian.rules.records import BATCH, CLOSED, NOTE, REMOVAL, SCORES, Record

#: Every row must have them.
NEEDED: Final = ("batch", "tray", "crop", "stuck", "count_stuck")
_ENDED: Final = ("closed", "potted", "fit", "discarded", "closed_who", "closed_why")
COLUMNS: Final = (
    *NEEDED, *(field.column for field in FIELDS), "who", "why", "removals", "scores", *_ENDED, "notes",
)  # fmt: skip
#: In which column stands what rules call otherwise.
_COLUMN_OF: Final = {field.name: field.column for field in FIELDS}

_HEAD_HINT: Final = "the first line names the columns, with commas between them"

#: A row of a file: the line on which it begins, and its cells.
Row: TypeAlias = tuple[int, list[str]]


# ------------------------------------------------------------------------------------------- to a table


def table(known: Iterable[Batch]) -> Iterator[list[str]]:
    """Yield the head of the table and a row for each batch."""
    yield list(COLUMNS)
    for batch in known:
        cells = _cells(batch)
        yield [cells[column] for column in COLUMNS]


def _cells(batch: Batch) -> dict[str, str]:
    closed = batch.closed
    return {
        "batch": batch.name,
        "tray": batch.tray,
        "crop": batch.crop,
        "stuck": utc_text(batch.stuck_ms),
        "count_stuck": str(batch.count_stuck),
        **{field.column: written_as(field, getattr(batch.details, field.name)) for field in FIELDS},
        "who": batch.who,
        "why": batch.why,
        "removals": _lines((r.time_ms, f"{r.cuttings} {r.reason}", r.who, r.why) for r in batch.removals),
        "scores": _lines((s.time_ms, written_counts(s.counts), s.who, s.why) for s in batch.scores),
        "closed": utc_text(closed.time_ms) if closed else "",
        "potted": str(closed.potted) if closed else "",
        "fit": str(closed.fit) if closed else "",
        "discarded": written_counts(closed.discarded) if closed else "",
        "closed_who": closed.who if closed else "",
        "closed_why": closed.why if closed else "",
        "notes": _lines((n.time_ms, _escaped(n.text), n.who, "") for n in batch.notes),
    }


def _lines(happenings: Iterable[tuple[int, str, str, str]]) -> str:
    """Return a line each: the instant, what, who and why, with bars between them."""
    return "\n".join(" | ".join(_row(*one)) for one in happenings)


def _row(at_ms: int, what: str, who: str, why: str) -> tuple[str, ...]:
    said = (_escaped(who), _escaped(why)) if why else (_escaped(who),) if who else ()
    return utc_text(at_ms), what, *said


def _escaped(written: str) -> str:
    return written.replace("\\", "\\\\").replace("|", "\\|")


def _pieces(line: str) -> list[str]:
    pieces, piece, letters = [], "", iter(line)
    for letter in letters:
        if letter == "|":
            pieces.append(piece)
            piece = ""
        else:
            piece += next(letters, letter) if letter == "\\" else letter
    return [one.strip() for one in (*pieces, piece)]


# --------------------------------------------------------------------------------------- and back again


def taken_in(config: Config, file: str, rows: Sequence[Row], who: str) -> Make:
    """Return what makes the records of all batches of a file; ``who`` says so where a row names nobody.

    It raises BadConfig with every mistake, and then makes none.
    """

    def make(known: Sequence[Record], now_ms: int) -> list[Record]:
        mistakes: list[Mistake] = []
        head = _head(rows, mistakes)
        reader = _Reader(config, Bench(config.site.zone, now_ms), who, mistakes)
        records: list[Record] = []
        there = batches(known)
        for line, cells in rows[1:] if head else ():
            reader.line = line
            if len(cells) != len(head):
                reader.mistake("", f"has {len(cells)} cells where the head of the table has {len(head)}")
                continue
            made = reader.records(dict(zip(head, map(str.strip, cells), strict=True)))
            records += made
            reader.look_over(there, made)
        if mistakes:
            raise BadConfig(file, mistakes)
        return records

    return make


def _head(rows: Sequence[Row], mistakes: list[Mistake]) -> list[str]:
    line, head = rows[0] if rows else (1, [])
    head = [cell.strip() for cell in head]
    before = len(mistakes)
    for place, column in enumerate(head):
        if column not in COLUMNS:
            mistakes.append(
                Mistake("", line, f"{shown(column)} is no column", nearest(column, COLUMNS, listed=99))
            )
        elif column in head[:place]:
            mistakes.append(Mistake(column, line, "is there twice"))
    missing = [column for column in NEEDED if column not in head]
    mistakes += [Mistake(column, line, "is missing as a column", _HEAD_HINT) for column in missing]
    return head if len(mistakes) == before else []


class _Happening(NamedTuple):
    """A line of a cell that holds several."""

    time_ms: int
    what: Any
    who: str
    why: str


class _Reader:
    """Reads one row after the other and notes what is wrong with each."""

    def __init__(self, config: Config, bench: Bench, who: str, mistakes: list[Mistake]) -> None:
        self._config, self._bench, self._who, self._mistakes = config, bench, who, mistakes
        self._trays = {tray.name for tray in config.trays}
        self.line = 0

    def mistake(self, column: str, problem: str, hint: str = "") -> None:
        self._mistakes.append(Mistake(column, self.line, problem, hint))

    def records(self, cells: Mapping[str, str]) -> list[Record]:
        """Return the records of a row, none where something is wrong with a cell."""
        before = len(self._mistakes)
        begun = self._begun(cells)
        happened = [
            *(_of(REMOVAL, one, one.what) for one in self._happenings(cells, "removals", _removal)),
            *(
                _of(SCORES, one, {"counts": one.what})
                for one in self._happenings(cells, "scores", score_counts)
            ),
            *self._closing(cells),
            *(_of(NOTE, one._replace(why=one.what), {}) for one in self._happenings(cells, "notes", text)),
        ]
        if len(self._mistakes) > before:
            return []
        begun = begun._replace(recorded_ms=self._bench.now_ms)
        return [
            begun,
            *(
                one._replace(
                    recorded_ms=self._bench.now_ms,
                    tray=begun.tray,
                    batch=begun.batch,
                    who=one.who or begun.who,
                )
                for one in happened
            ),
        ]

    def look_over(self, there: dict[str, Batch], made: Sequence[Record]) -> None:
        """Note what cannot be true of the batch of a row, by itself or beside those that are there, and add it."""
        for batch in batches(made).values():
            wrong = impossible(batch)
            other = open_batch(there, batch.tray)
            if wrong:
                self.mistake(_COLUMN_OF.get(wrong.part, wrong.part), wrong.why)
            if batch.name in there:
                self.mistake("batch", f"there is a batch {batch.name} already", "another name is accepted")
            elif not batch.closed and batch.tray not in self._trays:
                self.mistake(
                    "closed", f"is empty, but there is no tray {shown(batch.tray)} that it could be in"
                )
            elif other and not batch.closed:
                self.mistake("closed", f"is empty, but batch {other.name} is in tray {batch.tray}, too")
            there.setdefault(batch.name, batch)

    def _begun(self, cells: Mapping[str, str]) -> Record:
        details = {one.name: self._read(cells, one.column, one.read) for one in FIELDS}
        fields = {
            "crop": self._read(
                cells, "crop", lambda written, _: known_crop(self._config, written), needed=True
            ),
            "count_stuck": self._read(cells, "count_stuck", whole, needed=True),
            **{key: value for key, value in details.items() if value is not None},
        }
        return Record(
            kind=BATCH,
            time_ms=self._read(cells, "stuck", moment_ms, needed=True) or 0,
            recorded_ms=0,
            tray=self._read(cells, "tray", name, needed=True) or "",
            batch=self._read(cells, "batch", name, needed=True) or "",
            who=one_line(cells.get("who", "")) or self._who,
            why=one_line(cells.get("why", "")),
            fields=fields,
        )

    def _closing(self, cells: Mapping[str, str]) -> list[Record]:
        if not any(cells.get(column) for column in _ENDED):
            return []
        time_ms = self._read(cells, "closed", moment_ms, needed=True) or 0
        fields = {
            "potted": self._read(cells, "potted", whole, needed=True),
            "fit": self._read(cells, "fit", whole, needed=True),
            "discarded": self._read(cells, "discarded", reason_counts) or {},
        }
        said = [one_line(cells.get(column, "")) for column in ("closed_who", "closed_why")]
        return [_of(CLOSED, _Happening(time_ms, None, *said), fields)]

    def _happenings(self, cells: Mapping[str, str], column: str, read: Read) -> Iterator[_Happening]:
        for line in cells.get(column, "").split("\n"):
            pieces = _pieces(line)
            if pieces == [""]:
                continue
            if not 2 <= len(pieces) <= 4:
                self.mistake(
                    column, f"{shown(line)} is no TIME | WHAT | WHO | WHY", "the last two may be left out"
                )
                continue
            at, what, who, why = (*pieces, "", "")[:4]
            time_ms, found = self._value(column, moment_ms, at), self._value(column, read, what)
            if time_ms is not None and found is not None:
                yield _Happening(time_ms, found, one_line(who), one_line(why))

    def _read(self, cells: Mapping[str, str], column: str, read: Read, *, needed: bool = False) -> Any:
        written = cells.get(column, "")
        if written:
            return self._value(column, read, written)
        if needed:
            self.mistake(column, "is empty")
        return None

    def _value(self, column: str, read: Read, written: str) -> Any:
        try:
            return read(written, self._bench)
        except NotAnAmount as error:
            self.mistake(column, f"{shown(written)} {error.problem}", error.hint)
        except ValueError as error:
            self.mistake(column, f"{shown(written)}: {error}")
        return None


def _removal(written: str, bench: Bench) -> dict[str, Any]:
    count, _, reason = written.partition(" ")
    if reason.strip() not in REASONS:
        hint = f"a count and one of {', '.join(REASONS)} is accepted"
        raise NotAnAmount("is no removal", hint)
    return {"count": whole(count, bench), "reason": reason.strip()}


def _of(kind: str, one: _Happening, fields: Mapping[str, Any]) -> Record:
    return Record(kind, one.time_ms, 0, who=one.who, why=one.why, fields=fields)
