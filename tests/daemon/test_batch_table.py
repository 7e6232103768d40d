"""Batches as a table: they come back exactly, and every bad cell is named with its line and column, all or nothing."""

import contextlib
import csv
import string
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

import pytest
from base_config import BASE, built
from batch_records import DAY_MS, STUCK_MS, Said
from hypothesis import assume, given
from hypothesis import strategies as st

from wardian.adapters.table_file import read_table, write_table
from wardian.daemon.acts import one_line
from wardian.daemon.batch_fields import FIELDS
from wardian.daemon.batch_table import COLUMNS, NEEDED, Row, table, taken_in
from wardian.rules.batch_checks import impossible
from wardian.rules.batches import REASONS, Batch, Closed, Details, Note, Removal, Scores, batches, left_before
from wardian.rules.errors import BadConfig
from wardian.rules.records import NOTE, Record

CONFIG = built(BASE)
CROP = CONFIG.trays[0].crop.name
NOW_MS = STUCK_MS + 100 * DAY_MS


def taken(rows: Sequence[Row], known: Sequence[Record] = ()) -> list[Record]:
    return list(taken_in(CONFIG, "past.csv", rows, "whoever brings it")(known, NOW_MS))


def numberless(batch: Batch) -> Batch:
    return replace(
        batch,
        number=0,
        removals=tuple(one._replace(number=0) for one in batch.removals),
        scores=tuple(one._replace(number=0) for one in batch.scores),
        notes=tuple(one._replace(number=0) for one in batch.notes),
        closed=batch.closed and batch.closed._replace(number=0),
    )


# ----------------------------------------------------------------------------------- there and back

#: Letters that separate, escape, quote and begin formulas, among others.
LETTERS = st.sampled_from(string.ascii_letters + " |\\,\"'=+-@%;:äß日")
SENTENCES = st.text(LETTERS, max_size=30).map(one_line)
SAID = SENTENCES.filter(bool)
NAMES = st.text(string.ascii_letters, min_size=1, max_size=8)
AMOUNTS = {"held_c": (-40, 80), "medium_ph": (0, 14), "medium_ec_ms_cm": (0, 20), "length_mm": (0, 5000)}
INSTANTS = st.integers(STUCK_MS, STUCK_MS + 20 * DAY_MS)


def sixth(number: float) -> float:
    return round(number, 6)


@st.composite
def details(draw: st.DrawFn) -> Details:
    """Return details of which each may be unsaid."""
    kinds: dict[str, st.SearchStrategy[object]] = {
        "is_flowering": st.booleans(),
        "taken_ms": st.integers(STUCK_MS - DAY_MS, STUCK_MS),
        "sensors": st.lists(NAMES, min_size=1, max_size=3).map(tuple),
        **dict.fromkeys(("leaves", "cells"), st.integers(0, 1000)),
        **dict.fromkeys(("hormone_mg_l", "dip_s"), st.floats(0, 600_000).map(sixth)),
        **{name: st.floats(low, high).map(sixth) for name, (low, high) in AMOUNTS.items()},
    }
    drawn: dict[str, Any] = {field.name: draw(st.none() | kinds.get(field.name, SAID)) for field in FIELDS}
    return Details(**drawn)


_Happened = TypeVar("_Happened", Removal, Scores, Note)


def in_time(each: list[_Happened]) -> tuple[_Happened, ...]:
    return tuple(sorted(each, key=lambda one: one.time_ms))


@st.composite
def any_batch(draw: st.DrawFn) -> Batch:
    removals = st.builds(Removal, INSTANTS, st.integers(1, 5), st.sampled_from(REASONS), SAID, SENTENCES)
    counts = st.lists(st.integers(0, 3), min_size=6, max_size=6).filter(any).map(tuple)
    scores = st.builds(Scores, INSTANTS, counts, SAID, SENTENCES)
    lost = st.dictionaries(st.sampled_from(REASONS), st.integers(1, 3), max_size=3)
    closed = st.builds(
        Closed, st.just(STUCK_MS + 21 * DAY_MS), st.just(7), st.integers(0, 7), lost, SAID, SENTENCES
    )
    notes = st.builds(Note, INSTANTS, SAID, SAID)

    return Batch(
        draw(NAMES), "tray-a", CROP, STUCK_MS, 60, draw(details()),
        removals=draw(st.lists(removals, max_size=4).map(in_time)),
        scores=draw(st.lists(scores, max_size=2).map(in_time)),
        closed=draw(st.none() | closed),
        notes=draw(st.lists(notes, max_size=3).map(in_time)),
        who=draw(SAID), why=draw(SENTENCES),
    )  # fmt: skip


@given(any_batch())
def test_a_batch_comes_back_from_its_row_exactly(batch: Batch) -> None:
    assume(impossible(batch) is None)
    head, row = table([batch])
    (back,) = batches(taken([(1, head), (2, row)])).values()
    assert numberless(back) == numberless(batch)


CELLS = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)


@given(st.lists(st.lists(CELLS, min_size=2, max_size=4).filter(any), max_size=5))
def test_cells_come_back_from_a_file_exactly(
    tmp_path_factory: pytest.TempPathFactory, rows: list[list[str]]
) -> None:
    path = tmp_path_factory.mktemp("table") / "any.csv"
    write_table(path, rows)
    assert [cells for _, cells in read_table(path)] == rows


FORMULAS = ["=1+1", "+1", "-1+1", "@SUM(A1)", "\t=1", "\r=1", "'=1", "=cmd|' /C calc'!A0"]


@pytest.mark.threat(6)
@pytest.mark.parametrize("cell", FORMULAS)
def test_no_cell_is_taken_for_a_formula(tmp_path: Path, cell: str) -> None:
    write_table(tmp_path / "a.csv", [["first", cell]])
    with (tmp_path / "a.csv").open(encoding="utf-8", newline="") as file:
        ((_, seen),) = csv.reader(file)
    assert seen == f"'{cell}"
    assert read_table(tmp_path / "a.csv") == [(1, ["first", cell])]


def test_a_number_below_nothing_stays_a_number_for_spreadsheets(tmp_path: Path) -> None:
    write_table(tmp_path / "a.csv", [["-2.5", "'tis"]])
    assert (tmp_path / "a.csv").read_bytes() == b"-2.5,''tis\r\n"


# ------------------------------------------------------------------------------------ what is refused

PLAIN = dict(zip(NEEDED, ("autumn", "old tray", CROP, "2026-03-02", "20"), strict=True))
ENDED = {"closed": "2026-03-20", "potted": "12", "fit": "10"}


def rows_of(*each: dict[str, str]) -> list[Row]:
    head = list(each[0])
    return [(1, head), *((line, [one[column] for column in head]) for line, one in enumerate(each, start=2))]


def mistakes_of(*each: dict[str, str], known: Sequence[Record] = ()) -> list[str]:
    with pytest.raises(BadConfig) as refused:
        taken(rows_of(*each), known)
    return str(refused.value).split("\n")


def test_a_past_batch_of_a_tray_that_is_gone_is_taken_in_as_a_grower_writes_it() -> None:
    said = {
        "length_mm": "7 cm",
        "hormone_mg_l": "0.3 %",
        "removals": "2026-03-05 | 3 rot\n2026-03-06 | 1 wilt | helper | dropped",
    }
    (batch,) = batches(taken(rows_of({**PLAIN, **ENDED, **said, "discarded": "no-roots=4"}))).values()
    assert (batch.details.length_mm, batch.details.hormone_mg_l, batch.who) == (70, 3000, "whoever brings it")
    assert [(one.cuttings, one.reason, one.who, one.why) for one in batch.removals] == [
        (3, "rot", "whoever brings it", ""),
        (1, "wilt", "helper", "dropped"),
    ]
    assert batch.closed is not None
    assert batch.closed.discarded == {"no-roots": 4}


@pytest.mark.parametrize(
    ("column", "cell", "why"),
    [
        ("batch", "", "batch: is empty"),
        ("batch", "-x", "batch: '-x' does not begin with a letter or a digit"),
        ("crop", "colius", f"crop: 'colius' is no crop here; did you mean {CROP}?"),
        ("stuck", "2026-02-30", "stuck: '2026-02-30' is no day of the calendar"),
        ("stuck", "2 March", "stuck: '2 March': "),
        ("stuck", "2036-03-02", "stuck: '2036-03-02' lies ahead of the clock"),
        ("count_stuck", "many", "count_stuck: 'many' is no whole number; 0 to 1000000 is accepted"),
        ("count_stuck", "0", "count_stuck: 0 cuttings cannot be stuck"),
        ("count_stuck", "5", "closed: 12 would be potted or discarded where 5 are left"),
        ("fit", "13", "closed: 13 would be fit of 12 potted"),
        ("potted", "", "potted: is empty"),
        ("taken", "2026-03-03", "taken: the cuttings would be stuck before they were taken"),
        ("medium_ph", "15", "medium_ph: '15' is out of reach; 0 to 14 pH is accepted"),
        ("length_mm", "7,5", "length_mm: '7,5' has a decimal comma; write a decimal point"),
        ("flowering", "maybe", "flowering: 'maybe' says neither yes nor no"),
        ("removals", "2026-03-05 | 3 sorrow", "removals: '3 sorrow' is no removal"),
        ("removals", "3 rot", "removals: '3 rot' is no TIME | WHAT | WHO | WHY"),
        ("removals", "2026-03-05 | 21 rot", "removals: 21 would be taken out where 20 are left"),
        ("removals", "2026-03-01 | 1 rot", "removals: something would happen to it before it was stuck"),
        ("scores", "2026-03-12 | 6=3", "scores: '6=3' has '6=3', which is no count of anything here"),
        ("scores", "2026-03-12 | 1=3,1=2", "scores: '1=3,1=2' counts '1' twice"),
        ("scores", "2026-03-12 | 1=x", "scores: '1=x' has '1=x': 'x' is no whole number"),
        ("scores", "2026-03-12 | 3=21", "scores: 21 would be scored where 20 are left"),
        ("notes", "2026-03-12 | ", "notes: '' is too long or says nothing"),
    ],
)  # fmt: skip
def test_a_bad_cell_is_named_with_its_line_and_column(column: str, cell: str, why: str) -> None:
    good = {**PLAIN, **ENDED, "discarded": "", column: PLAIN.get(column, ENDED.get(column, ""))}
    mistakes = mistakes_of({**good, "batch": "good"}, {**good, column: cell})
    assert mistakes[0].startswith(f"past.csv:3: {why}")


def test_every_mistake_of_every_row_is_named_at_once() -> None:
    bad = {**PLAIN, "crop": "moss", "count_stuck": "x"}
    assert [one.split(":")[1] for one in mistakes_of(bad, {**bad, "stuck": "then"})] == [
        "2",
        "2",
        "3",
        "3",
        "3",
    ]


def test_two_batches_have_two_names_also_beside_those_that_are_there() -> None:
    there = Said("autumn")
    there.stick()
    ended = {**PLAIN, **ENDED}
    (twice,) = mistakes_of({**ended, "batch": "new"}, {**ended, "batch": "new"})
    assert twice == "past.csv:3: batch: there is a batch new already; another name is accepted"
    (once,) = mistakes_of(ended, known=there.records)
    assert once.startswith("past.csv:2: batch: there is a batch autumn already")


def test_one_open_batch_is_in_a_tray_and_the_tray_is_there() -> None:
    there = Said("spring")
    there.stick()
    (second,) = mistakes_of({**PLAIN, "tray": "tray-a"}, known=there.records)
    assert second == "past.csv:2: closed: is empty, but batch spring is in tray tray-a, too"
    (nowhere,) = mistakes_of(PLAIN)
    assert nowhere == "past.csv:2: closed: is empty, but there is no tray 'old tray' that it could be in"


@pytest.mark.parametrize(
    ("rows", "why"),
    [
        ([], "1: batch: is missing as a column"),
        ([(1, ["batch;tray;crop"])], "1: 'batch;tray;crop' is no column"),
        ([(1, [*NEEDED, "batch"])], "1: batch: is there twice"),
        ([(1, [*NEEDED, "hormon"])], "1: 'hormon' is no column; did you mean hormone?"),
        ([(1, [*NEEDED]), (2, ["a"])], "2: has 1 cells where the head of the table has 5"),
    ],
)
def test_a_table_that_is_none_is_refused(rows: list[Row], why: str) -> None:
    with pytest.raises(BadConfig) as refused:
        taken(rows)
    assert f"past.csv:{why}" in str(refused.value)


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"batch,tray\n\xff\xfe,\n", "2: is not UTF-8; save it as CSV in UTF-8"),
        (b'batch,tray\n"a"b,c\n', "2: is no row of CSV"),
        (b'batch,tray\n"a,c\n', "2: is no row of CSV"),
        (b"a" * (16 << 20) + b"a", "1: is larger than 16 MiB"),
    ],
)
def test_a_file_that_is_no_table_is_refused_with_its_line(tmp_path: Path, content: bytes, why: str) -> None:
    path = tmp_path / "past.csv"
    path.write_bytes(content)
    with pytest.raises(BadConfig) as refused:
        read_table(path)
    assert f"past.csv:{why}" in str(refused.value)


@given(
    st.lists(
        st.lists(CELLS | st.sampled_from([*COLUMNS, "2026-03-05 | 3 rot", "5", CROP]), max_size=8), max_size=4
    )
)
def test_whatever_a_table_holds_it_is_taken_in_or_refused(rows: list[list[str]]) -> None:
    """Nothing else is raised."""
    numbered = list(enumerate(rows, start=1))
    for head in ([], [(0, list(NEEDED))], [(0, [*NEEDED, "removals", "scores", "notes"])]):
        with contextlib.suppress(BadConfig):
            taken([*head, *numbered])


def test_a_row_begins_on_the_line_where_it_begins(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(b'\xef\xbb\xbfbatch,notes\r\n,\r\na,"one\ntwo"\r\nb,c')
    assert read_table(tmp_path / "a.csv") == [
        (1, ["batch", "notes"]),
        (3, ["a", "one\ntwo"]),
        (5, ["b", "c"]),
    ]


def test_every_detail_has_its_field_in_the_same_order() -> None:
    assert [field.name for field in FIELDS] == list(Details.__dataclass_fields__)
    assert len(set(COLUMNS)) == len(COLUMNS)


def test_a_note_holds_what_its_record_says() -> None:
    said = Said()
    said.stick()
    said.put(NOTE, 1, why="a | b \\ c")
    head, row = table(batches(said.records).values())
    assert row[head.index("notes")] == "2026-03-02T21:20:00.000Z | a \\| b \\\\ c | evening class"
    assert left_before(batches(said.records)["spring"], NOW_MS) == 40
