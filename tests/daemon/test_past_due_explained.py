"""What may be behind roots that are past due is told once to each who hears it: through restarts, quiet and failures."""

import logging
from datetime import UTC, time
from typing import TYPE_CHECKING, Final

import pytest
from loop_rig import BEGIN_MS, FlakyStore, Rig

from wardian.daemon.lives import Lives
from wardian.daemon.past_due import NOTE, PAUSE_MS, PastDueExplained
from wardian.daemon.people import LOW, MEDIUM, Person
from wardian.daemon.quiet import Quiet
from wardian.daemon.tongue import utc_text
from wardian.rules import life
from wardian.rules.errors import StoreFailed
from wardian.rules.observing.tending import PAST_DUE
from wardian.rules.ports import Act, Alarm, JournalEntry, Message

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

MINUTE_MS: Final = 60_000
HOUR_MS: Final = 60 * MINUTE_MS
ALARM: Final = Alarm("tray-a", "medium_temperature", PAST_DUE)
#: BEGIN_MS is half past nine in the evening, UTC.
NIGHT: Final = Quiet(time(21), time(6, 30), UTC)


class Bench:
    """A loop whose tray is past due from its first minute on, on a store that outlives it."""

    def __init__(self, *people: Person, store: FlakyStore | None = None) -> None:
        self.people: Sequence[Person] = people or (Person("teacher", ("bell",)),)
        self.store = store or FlakyStore()
        self.made: list[str] = []
        self.slip: Callable[[], None] = lambda: None
        self.minutes = 0.0
        self.raise_alarm()
        self.begin()

    def raise_alarm(self, since_ms: int = BEGIN_MS) -> None:
        fields = {
            **ALARM._asdict(),
            "limit": None,
            "alarm": PAST_DUE,
            "event": "raised",
            "priority": "low",
            "time": utc_text(since_ms),
            "since": utc_text(since_ms),
            "message": "Past due.",
            "life": life.UNACKNOWLEDGED,
            "abnormal": True,
            "told": True,
            "sent": True,
        }
        self.entry = JournalEntry(1, since_ms, "tray-a", fields)

    def begin(self) -> None:
        """Begin anew, as after a kill: what was not committed is gone."""
        self.rig = Rig(self.store, begun_minutes=self.minutes)
        # The rig watches for no such condition and would let its alarm return.
        self.rig.loop.lives = Lives({ALARM: self.entry})
        self.part = PastDueExplained(self.people, self._make, self.store.notes().get(NOTE))
        self.rig.loop.beside = [self.part]

    def _make(self, tray: str, _now_ms: int, key: str) -> Message:
        self.slip()
        self.made.append(tray)
        return Message(key, "no roots yet?", "as it was", {"event": "explained"})

    def rounds(self, minutes: float, times: int = 4) -> None:
        """Go round some times, a second apart, each time waiting for what that began to make."""
        for number in range(times):
            self.minutes = minutes + number / 60
            self.rig.round_at(self.minutes)
            self.part.stop()

    def told(self) -> list[str]:
        return [due.channel for due in self.store.waiting() if "explained" in due.message.key]


def test_it_is_told_once_through_every_channel_of_whoever_hears_it() -> None:
    bench = Bench(Person("teacher", ("bell", "mail")))
    bench.rounds(1, times=20)
    assert bench.told() == ["bell", "mail"]
    assert bench.made == ["tray-a"]


def test_it_is_told_once_over_restarts() -> None:
    bench = Bench()
    bench.rounds(1)
    for minutes in (2, 60, 24 * 60):
        bench.minutes = minutes
        bench.begin()
        bench.rounds(minutes)
    assert bench.told() == ["bell"]


def test_what_was_made_and_not_committed_is_made_again() -> None:
    bench = Bench()
    bench.rounds(1, times=1)
    bench.begin()
    bench.rounds(2)
    assert (bench.made, bench.told()) == (["tray-a", "tray-a"], ["bell"])


def test_whoever_hears_only_what_is_more_urgent_is_not_told() -> None:
    bench = Bench(Person("caretaker", ("mail",), hears=MEDIUM), Person("teacher", ("bell",), hears=LOW))
    bench.rounds(1)
    assert bench.told() == ["bell"]


def test_nobody_is_told_in_their_quiet_hours_and_each_after_their_own() -> None:
    bench = Bench(Person("teacher", ("bell",), quiet=NIGHT), Person("night owl", ("mail",)))
    bench.rounds(1)
    assert bench.told() == ["mail"]
    bench.rounds(8 * 60)
    assert bench.told() == ["mail"]
    bench.begin()
    bench.rounds(10 * 60)
    assert bench.told() == ["mail", "bell"]


def test_while_everybody_is_quiet_nothing_is_made() -> None:
    bench = Bench(Person("teacher", ("bell",), quiet=NIGHT))
    bench.rounds(1)
    assert bench.made == []


def test_whoever_is_told_later_is_told_only_while_nobody_has_acknowledged() -> None:
    late = Person("caretaker", ("mail",), after_ms=HOUR_MS)
    bench = Bench(late)
    bench.rounds(30)
    assert bench.told() == []
    bench.rounds(61)
    assert bench.told() == ["mail"]
    seen = Bench(late)
    seen.rig.loop.lives.do(Act(BEGIN_MS, ALARM, life.ACKNOWLEDGE, "teacher", ""), BEGIN_MS)
    seen.rounds(61)
    assert seen.told() == []


def test_what_somebody_has_shelved_is_not_explained() -> None:
    bench = Bench()
    until_ms = BEGIN_MS + 24 * HOUR_MS
    bench.rig.loop.lives.do(Act(BEGIN_MS, ALARM, life.SHELVE, "teacher", "", until_ms), BEGIN_MS)
    bench.rounds(1)
    assert bench.told() == []


def test_the_next_batch_in_the_tray_is_explained_anew() -> None:
    bench = Bench()
    bench.rounds(1)
    bench.raise_alarm(BEGIN_MS + 20 * 24 * HOUR_MS)
    bench.minutes = 20 * 24 * 60 + 1
    bench.begin()
    bench.rounds(bench.minutes)
    assert bench.told() == ["bell", "bell"]
    assert len({due.message.key for due in bench.store.waiting()}) == 2


def test_until_what_is_judged_is_what_is_known_nothing_is_told() -> None:
    bench = Bench()
    bench.part.is_ready = lambda: False
    bench.rounds(1)
    assert bench.made == []


@pytest.mark.parametrize(
    "error", [StoreFailed("store", "the database is locked", may_heal=True), ZeroDivisionError()]
)
def test_what_cannot_be_made_is_tried_again_later_and_ends_nothing(
    error: Exception, caplog: pytest.LogCaptureFixture
) -> None:
    bench = Bench()

    def slip() -> None:
        raise error

    bench.slip = slip
    with caplog.at_level(logging.ERROR):
        bench.rounds(1)
    assert [record.message for record in caplog.records] == ["explanation not made"]
    bench.slip = lambda: None
    bench.rounds(2)
    assert bench.told() == []
    bench.rounds(2 + PAUSE_MS / MINUTE_MS)
    assert bench.told() == ["bell"]


def test_a_round_that_cannot_be_kept_tells_it_once_it_can() -> None:
    bench = Bench()
    bench.rounds(1, times=1)
    bench.store.failures = [StoreFailed("store", "the disk is full", may_heal=True)]
    bench.rounds(2, times=1)
    assert bench.told() == []
    bench.rounds(30)
    assert bench.told() == ["bell"]
