"""What every store promises about what people put on record: numbered, in order, all or nothing, and never changed."""

import sqlite3
import subprocess
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Final

import pytest
from store_rounds import HOUR_MS, NOON_MS, change, journal

from wardian.adapters.stores.sql import SqlStore
from wardian.rules.errors import StoreFailed
from wardian.rules.ports import Round, Store
from wardian.rules.records import CARE, KINDS, NOTE, STAGE, WITHDRAWN, Record

MISTED: Final = Record(
    CARE, NOON_MS, NOON_MS + 1, "tray-a", "b-1", "a helper", "dry", {"event": "misted", "grams": 20.5}
)


def noted(words: str, time_ms: int = NOON_MS) -> Record:
    return Record(NOTE, time_ms, NOON_MS, "tray-a", who="a helper", why=words)


def numbered(*records: Record, after: int = 0) -> list[Record]:
    return [one._replace(number=number) for number, one in enumerate(records, after + 1)]


def test_records_come_back_numbered_in_the_order_of_recording_with_every_field(store: Store) -> None:
    first = [MISTED, noted("earlier, said later", NOON_MS - HOUR_MS)]
    second = Record(WITHDRAWN, NOON_MS, NOON_MS, "tray-a", who="a helper", corrects=1)
    assert store.records() == []
    assert store.record(lambda _: first) == numbered(*first)
    assert store.record(lambda _: [second]) == numbered(second, after=2)
    assert store.records() == numbered(*first, second)
    assert store.records(after=1) == numbered(*first, second)[1:]
    assert store.records(after=3) == store.records(after=99) == []


def test_who_makes_records_is_shown_all_there_are(store: Store) -> None:
    store.record(lambda _: [MISTED])
    shown: list[Sequence[Record]] = []

    def make(known: Sequence[Record]) -> list[Record]:
        shown.append(list(known))
        return []

    assert store.record(make) == []
    assert shown == [numbered(MISTED)]
    assert store.records() == numbered(MISTED)


def test_nothing_is_put_on_record_where_making_it_fails_and_the_failure_is_passed_on(store: Store) -> None:
    store.record(lambda _: [MISTED])

    def make(_: Sequence[Record]) -> list[Record]:
        raise ValueError("there is no tray 'tray-q'")

    with pytest.raises(ValueError, match="tray-q"):
        store.record(make)
    assert store.records() == numbered(MISTED)
    assert store.record(lambda _: [noted("goes on")])[0].number == 2


@pytest.mark.parametrize(
    "broken",
    [
        MISTED._replace(kind="gossip"),
        MISTED._replace(time_ms=2**70),
        MISTED._replace(fields={"grams": float("nan")}),
        MISTED._replace(fields={"grams": object()}),
    ],
    ids=["a kind that is none", "a time beyond any", "no number", "no value"],
)
def test_several_are_put_on_record_all_or_nothing(store: Store, broken: Record) -> None:
    with pytest.raises(StoreFailed):
        store.record(lambda _: [noted("fine"), broken])
    with pytest.raises(StoreFailed):
        store.keep(Round(NOON_MS, journal=[(NOON_MS, "tray-a", change("raised"))], records=[broken]))
    assert (store.records(), store.journal()) == ([], [])


def test_a_round_puts_its_records_down_with_all_that_it_keeps(store: Store) -> None:
    store.record(lambda _: [MISTED])
    store.keep(Round(NOON_MS, records=[noted("by a button"), noted("again")], notes={"n": 1}))
    assert store.records(after=1) == numbered(noted("by a button"), noted("again"), after=1)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_kept(store: Store, kind: str) -> None:
    record = Record(kind, NOON_MS, NOON_MS, fields={"event": "any", "list": [1, None, {"a": True}]})
    assert store.record(lambda _: [record]) == numbered(record)
    assert store.records() == numbered(record)


@pytest.mark.parametrize(
    "text", ["", "déjà vu, ça va", "%s ' \" ; -- {}", "two\nlines\x00 and \x1b[2J", "🌱" * 100, "x" * 200]
)
def test_any_text_is_kept_as_it_was_written(store: Store, text: str) -> None:
    record = Record(NOTE, NOON_MS, NOON_MS, text, text, text, text, {"words": text})
    store.record(lambda _: [record])
    assert store.records() == numbered(record)


def test_text_that_no_file_can_hold_is_written_out(store: Store) -> None:
    store.record(lambda _: [noted("\udcff")._replace(fields={"words": "\ud800"})])
    (kept,) = store.records()
    assert kept.why == "\\udcff"
    assert kept.fields == {"words": "\ud800"}


def test_what_was_returned_is_nobodys_to_change(store: Store) -> None:
    fields = {"event": "misted", "places": [1]}
    store.record(lambda _: [MISTED._replace(fields=fields)])
    fields["places"].append(2)  # type: ignore[attr-defined]  # a list, as everyone can see
    store.records()[0].fields["places"].append(3)
    store.records().clear()
    assert store.records()[0].fields == {"event": "misted", "places": [1]}


def test_putting_on_record_changes_nothing_else(store: Store) -> None:
    store.keep(journal(change("raised")))
    before = store.counts(), store.journal(), store.notes(), store.acts()
    store.record(lambda _: [MISTED])
    assert (store.counts(), store.journal(), store.notes(), store.acts()) == before


def test_nobody_comes_between_what_was_shown_and_what_is_made_of_it(store: Store) -> None:
    """Each of many writers counts what is there; none counts the same."""

    def count(known: Sequence[Record]) -> list[Record]:
        return [noted(str(len(known)))]

    with ThreadPoolExecutor(4) as pool:
        for job in [pool.submit(store.record, count) for _ in range(40)]:
            job.result(timeout=30)
    assert [one.why for one in store.records()] == [str(number) for number in range(40)]


# ------------------------------------------------------------------------ beside a writer's process


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "bench.db"
    SqlStore.open(path).close()
    return path


@pytest.fixture
def writer(path: Path) -> Iterator[SqlStore]:
    store = SqlStore.open(path)
    yield store
    store.close()


PROGRAM: Final = """\
import sys; from pathlib import Path
from wardian.adapters.stores.sql import SqlStore
from wardian.rules.records import Record
store = SqlStore.open(Path(sys.argv[1]), read_only=True)
for _ in range(20):
    store.record(lambda known: [Record("note", 1, 1, why=str(len(known)))])
"""


def test_another_process_puts_on_record_beside_a_live_writer_who_sees_it_and_goes_on(
    path: Path, writer: SqlStore
) -> None:
    with subprocess.Popen([sys.executable, "-c", PROGRAM, str(path)]) as process:
        for number in range(200):
            writer.keep(Round(NOON_MS + number, notes={"round": number}))
            if number % 50 == 0:
                writer.record(lambda known: [noted(str(len(known)))])
        assert process.wait(timeout=30) == 0
    assert [one.why for one in writer.records()] == [str(number) for number in range(24)]


def test_what_is_on_record_can_be_neither_changed_nor_removed(path: Path, writer: SqlStore) -> None:
    writer.record(lambda _: [MISTED, Record(STAGE, NOON_MS, NOON_MS)])
    with sqlite3.connect(path) as connection:
        for statement in ("UPDATE records SET why = 'another'", "DELETE FROM records WHERE number = 1"):
            with pytest.raises(sqlite3.IntegrityError, match="only ever added to"):
                connection.execute(statement)
    connection.close()
    assert writer.records()[0] == MISTED._replace(number=1)
