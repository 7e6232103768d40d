"""What every store promises about what people ask of alarms, and about the last that was said of each."""

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from threading import Event, Thread
from typing import Final

import pytest
from store_rounds import HOUR_MS, NOON_MS, change, journal, to_tell

from wardian.adapters.stores.sql import SqlStore
from wardian.rules import life
from wardian.rules.errors import StoreFailed
from wardian.rules.ports import Act, Alarm, Round, Store
from wardian.rules.readings import Reading

TOO_WARM: Final = Alarm("tray-a", "air_temperature", "high")
SILENT: Final = Alarm("tray-a", "air_temperature", "sensor-silent")


def act(
    event: str = life.ACKNOWLEDGE, alarm: Alarm = TOO_WARM, why: str = "seen", until_ms: int | None = None
) -> Act:
    return Act(NOON_MS, alarm, event, "the teacher", why, until_ms)


# ------------------------------------------------------------------------------- what is asked


def test_what_was_asked_comes_back_in_order_with_every_field(store: Store) -> None:
    first = [act(), act(life.SHELVE, SILENT, "", NOON_MS + HOUR_MS)]
    second = [Act(NOON_MS + 1, Alarm("tray-b", "ppfd", "low"), life.REMOVE, "a helper", "new lamp")]
    assert store.acts() == {}
    store.ask(first)
    store.ask([])
    store.ask(second)
    assert list(store.acts().items()) == [(1, first[0]), (2, first[1]), (3, second[0])]


def test_what_is_done_goes_with_the_round_that_did_it(store: Store) -> None:
    store.ask([act(why=str(place)) for place in range(3)])
    done = Round(NOON_MS, journal=[(NOON_MS, "tray-a", change("acknowledged"))], acts_done=[1, 3])
    store.keep(done)
    assert [(number, one.why) for number, one in store.acts().items()] == [(2, "1")]
    assert [entry.fields["event"] for entry in store.journal()] == ["acknowledged"]


def test_a_number_that_is_not_there_is_done_already(store: Store) -> None:
    store.ask([act()])
    store.keep(Round(NOON_MS, acts_done=[1, 1, 99]))
    store.keep(Round(NOON_MS, acts_done=[1]))
    assert store.acts() == {}


@pytest.mark.parametrize(
    "broken",
    [
        Round(NOON_MS, acts_done=[1], notes={"n": float("nan")}),
        Round(NOON_MS, acts_done=[1], readings=[Reading(NOON_MS, "tray-a", "ppfd", float("inf"))]),
        Round(NOON_MS, acts_done=[1], journal=[(NOON_MS, "tray-a", {"event": "acknowledged"})]),
    ],
    ids=["a note", "a reading", "an entry"],
)
def test_a_round_that_fails_leaves_what_was_asked(store: Store, broken: Round) -> None:
    store.ask([act()])
    with pytest.raises(StoreFailed):
        store.keep(broken)
    assert store.acts() == {1: act()}
    assert store.journal() == []


@pytest.mark.parametrize(
    "text",
    ["", "déjà vu, ça va", "%s ' \" ; -- {}", "two\nlines\x00 and \x1b[2J", "🌱" * 100, "x" * 200],
)
def test_any_text_is_kept_as_it_was_written(store: Store, text: str) -> None:
    asked = Act(NOON_MS, TOO_WARM, life.SHELVE, text, text, -5)
    store.ask([asked])
    assert store.acts() == {1: asked}


def test_text_that_no_file_can_hold_is_written_out_and_a_novel_is_cut(store: Store) -> None:
    store.ask([Act(NOON_MS, TOO_WARM, life.ACKNOWLEDGE, "\udcff", "x" * 100_000)])
    (kept,) = store.acts().values()
    assert (kept.who, len(kept.why)) == ("\\udcff", 200)


def test_what_is_asked_is_written_down_all_or_nothing(store: Store) -> None:
    impossible = act()._replace(until_ms=2**70)
    with pytest.raises(StoreFailed):
        store.ask([act(), impossible])
    assert store.acts() == {}
    store.ask([act()])
    assert list(store.acts().values()) == [act()]


def test_asking_changes_nothing_else(store: Store) -> None:
    store.keep(
        Round(NOON_MS, readings=[Reading(NOON_MS, "tray-a", "ppfd", 9.0)], due=[to_tell("mail", "one")])
    )
    before = store.counts(), store.journal(), store.notes(), store.waiting()
    store.ask([act()])
    assert (store.counts(), store.journal(), store.notes(), store.waiting()) == before


# -------------------------------------------------------------------------- the last of alarms


def test_the_last_of_an_alarm_is_its_last_entry_whatever_its_time(store: Store) -> None:
    assert store.last_of_alarms() == {}
    store.keep(journal(change("raised"), change("raised", "low"), change("raised", tray="tray-b")))
    store.keep(Round(NOON_MS, journal=[(NOON_MS - HOUR_MS, "tray-a", change("acknowledged", who="teacher"))]))
    last = store.last_of_alarms()
    assert {alarm: entry.number for alarm, entry in last.items()} == {
        TOO_WARM: 4,
        TOO_WARM._replace(condition="low"): 2,
        TOO_WARM._replace(tray="tray-b"): 3,
    }
    assert last[TOO_WARM] == store.journal()[-1]
    assert last[TOO_WARM].fields["who"] == "teacher"


def test_an_alarm_about_a_sensor_is_known_by_its_condition_whatever_people_call_it(store: Store) -> None:
    silent = change("raised", None, condition="sensor-silent")
    doubted = {**change("raised", None, condition="sensor-implausible"), "alarm": "wet-probe"}
    store.keep(journal(silent, doubted, {**silent, "event": "returned"}))
    assert {alarm: entry.number for alarm, entry in store.last_of_alarms().items()} == {
        SILENT: 3,
        SILENT._replace(condition="sensor-implausible"): 2,
    }


# ------------------------------------------------------------------- beside a writer's process


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


def asks_elsewhere(path: Path) -> None:
    """Ask in a process of its own, as a command beside the daemon does."""
    program = (
        "import sys; from pathlib import Path\n"
        "from wardian.adapters.stores.sql import SqlStore\n"
        "from wardian.rules.ports import Act, Alarm\n"
        "store = SqlStore.open(Path(sys.argv[1]), read_only=True)\n"
        "store.ask([Act(1, Alarm('tray-a', 'ppfd', 'low'), 'acknowledge', 'a helper', '')])\n"
        "assert len(store.acts()) == 1\n"
    )
    subprocess.run([sys.executable, "-c", program, str(path)], check=True, timeout=30)


def test_another_process_asks_beside_a_live_writer_who_sees_it_and_goes_on(
    path: Path, writer: SqlStore
) -> None:
    writer.keep(journal(change("raised")))
    asks_elsewhere(path)
    assert [one.who for one in writer.acts().values()] == ["a helper"]
    writer.keep(Round(NOON_MS, acts_done=list(writer.acts())))
    assert writer.acts() == {}


def test_what_was_asked_while_nobody_wrote_is_there_for_the_next_writer(path: Path) -> None:
    asks_elsewhere(path)
    store = SqlStore.open(path)
    assert [one.who for one in store.acts().values()] == ["a helper"]
    store.close()


def test_who_asks_waits_for_a_writer_who_holds_the_database_for_a_moment(
    path: Path, writer: SqlStore
) -> None:
    asker = SqlStore.open(path, read_only=True)
    is_asking = Event()
    failures: list[BaseException] = []

    def ask() -> None:
        is_asking.set()
        try:
            asker.ask([act()])
        except BaseException as error:  # noqa: BLE001  # looked at by the test
            failures.append(error)

    thread = Thread(target=ask)
    with writer._writing():
        thread.start()
        assert is_asking.wait(5)
        thread.join(0.2)
        assert thread.is_alive()
    thread.join(10)
    asker.close()
    assert failures == []
    assert list(writer.acts().values()) == [act()]


def test_whoever_only_reads_may_ask_and_do_nothing_more(path: Path) -> None:
    reader = SqlStore.open(path, read_only=True)
    reader.ask([act()])
    with pytest.raises(StoreFailed, match="open for reading only"):
        reader.keep(Round(NOON_MS, acts_done=[1]))
    assert list(reader.acts().values()) == [act()]
    reader.close()


def test_asking_of_a_database_that_is_gone_fails_and_makes_none(path: Path) -> None:
    reader = SqlStore.open(path, read_only=True)
    for file in path.parent.glob("bench.db*"):
        file.unlink()
    with pytest.raises(StoreFailed, match=r"bench\.db: the database cannot be opened"):
        reader.ask([act()])
    reader.close()
    assert list(path.parent.glob("bench.db*")) == []
