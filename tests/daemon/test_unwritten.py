"""What falls due while the store can keep nothing leaves from memory, and is in the store once, delivered, afterwards."""

import re
from pathlib import Path

import pytest
from fake_clock import NOON_MS, FakeClock
from hypothesis import given, settings
from hypothesis import strategies as st
from loop_rig import BEGIN_MS, FlakyStore, Rig
from outbox_fakes import FakeNotifier, plain

from wardian.adapters.stores.memory import MemoryStore
from wardian.adapters.yaml_file import parse
from wardian.daemon.failing_store import STORE_PATIENCE_S, UNKEPT_ROOM
from wardian.daemon.library import library
from wardian.daemon.outbox import Outbox
from wardian.daemon.own_troubles import OwnTroubles
from wardian.daemon.unwritten import ROOM, Unwritten
from wardian.rules.errors import StoreFailed
from wardian.rules.ports import Due, DueMessage, Kept, Round

FULL = StoreFailed("store", "the disk is full", may_heal=True)


class FullStore(FlakyStore):
    """A store that can be neither written nor, where it is ``blind``, read by an outbox."""

    def __init__(self) -> None:
        super().__init__()
        self.is_full = False
        self.is_blind = False

    def keep(self, round_: Round) -> Kept:
        if self.is_full:
            raise FULL
        return super().keep(round_)

    def waiting(self) -> list[Due]:
        if self.is_blind:
            raise FULL
        return super().waiting()

    def delivered(self, number: int, now_ms: int) -> None:
        if self.is_full:
            raise FULL
        super().delivered(number, now_ms)

    def postponed(self, number: int, due_ms: int, error: str) -> None:
        if self.is_full:
            raise FULL
        super().postponed(number, due_ms, error)


class Bench(Rig):
    """A loop with an outbox and its own troubles, and a bell that takes what it is told to."""

    def __init__(self) -> None:
        super().__init__(FullStore())
        self.bell = FakeNotifier("bell")
        self.outbox = Outbox(self.store, [self.bell], self.clock, str)
        self.loop.failing.outbox = self.outbox
        troubles = OwnTroubles(library(parse).watch, self.teller)  # type: ignore[arg-type]  # it needs no more of a teller
        self.loop.failing.troubles = troubles
        self.loop.failing.sensors = [self.sensor]
        self.loop.beside = [troubles]

    def go_to(self, minutes: float) -> None:
        self.round_at(minutes)
        self.send()

    def send(self) -> None:
        try:
            self.outbox.run_due(self.clock.now_ms)
        except StoreFailed:
            assert isinstance(self.store, FullStore)
            assert self.store.is_full or self.store.is_blind

    def fill(self, *, is_full: bool = True, is_blind: bool = False) -> None:
        assert isinstance(self.store, FullStore)
        self.store.is_full, self.store.is_blind = is_full, is_blind

    @property
    def told(self) -> list[tuple[str, str]]:
        return [(message.fields["tray"], message.fields["event"]) for message in self.bell.taken]


def alarming(*, is_blind: bool = False) -> Bench:
    """Return a bench on which a tray grew too warm while nothing can be kept."""
    bench = Bench()
    bench.arrive(20.0)
    bench.go_to(0)
    bench.fill(is_blind=is_blind)
    for number in range(10):
        bench.arrive(30.0, minutes=0.5 + number * 0.2)
        bench.go_to(0.6 + number * 0.2)
    return bench


@pytest.mark.parametrize("is_blind", [False, True])
@pytest.mark.fault(22)
@pytest.mark.fault(23)
def test_while_nothing_can_be_kept_people_hear_first_of_that_and_then_of_the_alarms(is_blind: bool) -> None:
    bench = alarming(is_blind=is_blind)
    assert bench.told == [("wardian", "raised"), ("tray-a", "raised")]
    assert all(message.body.startswith("(not written down yet") for message in bench.bell.taken)
    store_failed, _ = bench.bell.taken
    assert "the disk is full; " in store_failed.fields["message"]
    assert "readings wait in memory" in store_failed.fields["message"]
    assert bench.store.journal() == []
    assert bench.sensor.live == [True], "a broker that waits for acknowledgements would send nothing more"


@pytest.mark.parametrize("is_blind", [False, True])
@pytest.mark.fault(22)
def test_once_there_is_room_everything_is_stored_once_and_nothing_is_told_twice(is_blind: bool) -> None:
    bench = alarming(is_blind=is_blind)
    bench.fill(is_full=False)
    for minutes in (3, 4, 5):
        bench.go_to(minutes)
    assert bench.told == [("wardian", "raised"), ("tray-a", "raised"), ("wardian", "returned")]
    assert [entry.fields["event"] for entry in bench.store.journal()] == ["raised", "raised", "returned"]
    assert bench.store.waiting() == []
    assert bench.store.counts()["sent"] == 3
    assert len(list(bench.store.readings(0, 2**62))) == 11
    assert bench.sensor.live == [True, False]


def test_a_moment_in_which_the_store_is_locked_is_told_to_nobody() -> None:
    bench = Bench()
    bench.arrive(30.0)
    bench.fill()
    bench.go_to(0)
    bench.go_to(STORE_PATIENCE_S / 60 - 0.01)
    bench.fill(is_full=False)
    bench.go_to(0.5)
    assert bench.told == []


def test_what_waited_in_the_store_leaves_before_what_is_in_memory_and_is_marked_afterwards() -> None:
    bench = Bench()
    bench.bell.outcomes = ["failed"]
    bench.store.keep(Round(now_ms=BEGIN_MS, due=[DueMessage("bell", plain("earlier"))]))
    bench.send()
    bench.fill()
    bench.outbox.hold([DueMessage("bell", plain("later"))], bench.clock.now_ms)
    bench.clock.step(10_000)
    bench.send()
    bench.send()
    assert bench.bell.keys == ["earlier", "later"]
    bench.fill(is_full=False)
    bench.send()
    assert bench.store.waiting() == []


def test_a_channel_that_fails_too_is_tried_again_from_memory_with_growing_pauses() -> None:
    bench = Bench()
    bench.fill()
    bench.bell.outcomes = ["failed"] * 3
    bench.outbox.hold([DueMessage("bell", plain("1")), DueMessage("bell", plain("2"))], bench.clock.now_ms)
    attempts = []
    for second in range(60):
        bench.send()
        attempts.append(len(bench.bell.attempts))
        bench.outbox.hold([DueMessage("bell", plain("1"))], bench.clock.now_ms)
        bench.clock.step(1_000)
        del second
    assert [attempts.index(number) for number in (1, 2, 3)] == [0, 6, 17]
    assert bench.bell.keys == ["1", "2"]


def test_a_process_that_ends_before_the_store_has_them_repeats_messages_with_the_same_key() -> None:
    bench = alarming()
    again = Bench()
    again.arrive(20.0)
    for number in range(10):
        again.arrive(30.0, minutes=0.5 + number * 0.2)
    again.go_to(2.4)
    again.go_to(2.5)
    (before,) = [message for message in bench.bell.taken if message.fields["tray"] == "tray-a"]
    (after,) = [message for message in again.bell.taken if message.fields["tray"] == "tray-a"]
    assert before.key == after.key


def test_memory_holds_so_many_messages_and_the_rest_is_counted_and_waits_for_the_store(
    caplog: pytest.LogCaptureFixture,
) -> None:
    held, store, mail = Unwritten(), MemoryStore(), FakeNotifier("mail")
    due = [DueMessage("mail", plain(str(number))) for number in range(ROOM + 20)]
    held.hold(due, NOON_MS)
    held.hold(due, NOON_MS)
    assert len(held.of("mail")) == ROOM
    assert held.without_room == 20
    assert caplog.text.count("no room for more messages") == 1
    outbox = Outbox(store, [mail], FakeClock(), str)
    outbox.hold(due, NOON_MS)
    outbox.run_due(NOON_MS)
    store.keep(Round(now_ms=NOON_MS, due=due))
    outbox.written()
    outbox.run_due(NOON_MS)
    assert mail.keys == [str(number) for number in range(ROOM + 20)]
    assert store.waiting() == []


#: What may happen next, by the names of what a course does.
STEPS = st.lists(st.sampled_from(["due", "round", "send", "fails", "full", "blind", "room"]), max_size=40)


class Course:
    """A round that is due, kept or not, and a bell that takes what it is told to."""

    def __init__(self) -> None:
        self.store, self.bell, self.clock = FullStore(), FakeNotifier("bell"), FakeClock()
        self.outbox = Outbox(self.store, [self.bell], self.clock, str)
        self.unkept: list[DueMessage] = []
        self.written = 0

    def due(self) -> None:
        self.unkept.append(DueMessage("bell", plain(str(self.written))))
        self.written += 1

    def fails(self) -> None:
        self.bell.outcomes.append("failed")

    def full(self, *, is_blind: bool = False) -> None:
        self.store.is_full, self.store.is_blind = True, is_blind

    def blind(self) -> None:
        self.full(is_blind=True)

    def room(self) -> None:
        self.store.is_full = self.store.is_blind = False

    def round(self) -> None:
        if not self.unkept:
            return
        try:
            self.store.keep(Round(now_ms=self.clock.now_ms, due=self.unkept))
        except StoreFailed:
            self.outbox.hold(self.unkept, self.clock.now_ms)
        else:
            self.unkept = []
            self.outbox.written()

    def send(self) -> None:
        try:
            self.outbox.run_due(self.clock.now_ms)
        except StoreFailed:
            assert self.store.is_full or self.store.is_blind
        self.clock.step(1_000)


@settings(max_examples=300, deadline=None)
@given(STEPS)
def test_whatever_fails_when_each_message_is_taken_once_in_order_and_stored_as_delivered(
    steps: list[str],
) -> None:
    course = Course()
    for step in [*steps, "room", "round", "send"]:
        getattr(course, step)()
    while course.store.waiting():
        course.clock.step(200_000)
        course.send()
    keys = course.bell.keys
    assert len(keys) == course.written == course.store.counts()["sent"]
    # What a store that cannot be read holds back is overtaken; nothing else is.
    assert keys == sorted(keys, key=int) or "blind" in steps


def test_the_readme_names_troubles_of_the_watch_that_there_are_and_how_much_waits_in_memory() -> None:
    text = Path(__file__).parents[2].joinpath("README.md").read_text(encoding="utf-8")
    section = text.partition("## When the watch itself is in trouble")[2].partition("\n## ")[0]
    named = re.findall(r"^\| `([a-z-]+)` \| ([a-z]+)", section, re.MULTILINE)
    advice = library(parse).watch
    assert len(named) >= 6
    assert {name: advice[name].priority for name, _ in named if name != "not-watching"} == {
        name: priority for name, priority in named if name != "not-watching"
    }
    assert f"at most {ROOM} messages" in section
    assert f"{UNKEPT_ROOM:,} readings" in section
