"""Each day's summary leaves once: through restarts, a store that fails, a slow look at it, and clocks that are set."""

import logging
import random
import threading
from datetime import UTC, datetime, time, timedelta
from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

import pytest
from loop_rig import FlakyStore, Rig

from wardian.daemon.daily_summary import DAY_MS, MOST_MS, PAUSE_MS, DailySummary, Plan, Told
from wardian.daemon.watched_time import NOTE as WATCHED
from wardian.daemon.watched_time import NOTED_EVERY_MS, WatchedTime
from wardian.rules.errors import StoreFailed
from wardian.rules.ports import Message
from wardian.rules.shares import Span

if TYPE_CHECKING:
    from collections.abc import Callable

MINUTE_MS: Final = 60_000
HOUR_MS: Final = 60 * MINUTE_MS
ZONE: Final = ZoneInfo("America/New_York")
LOCKED: Final = StoreFailed("store", "the database is locked", may_heal=True)


def ms(written: str) -> int:
    local = datetime.fromisoformat(written).replace(tzinfo=ZONE)
    return (local - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(milliseconds=1)


class Bench:
    """A loop with a daily summary at 7:00 for two channels, on a store that outlives it."""

    def __init__(self, begin: str, store: FlakyStore | None = None, at: time = time(7)) -> None:
        self.store = store or FlakyStore()
        self.at = at
        self.made: list[tuple[Span, int, str]] = []
        self.slip: Callable[[], None] = lambda: None
        self.ready = True
        self.begin(ms(begin))
        self.round(begin)

    def begin(self, now_ms: int) -> None:
        """Begin anew, as after a kill: what was not committed is gone."""
        self.rig = Rig(self.store)
        self.rig.clock.now_ms = now_ms
        notes = self.store.notes()
        told = Told.of(notes["summary"]) if "summary" in notes else None
        watched = WatchedTime(notes.get(WATCHED, ()), 2 * MINUTE_MS)
        plan = Plan(self.at, ZONE, ["bell", "mail"], 5_000)
        self.daily = DailySummary(plan, self._make, watched, told)
        self.daily.is_ready = lambda: self.ready
        self.rig.loop.beside = [self.daily]

    def _make(self, span: Span, watched_ms: int, key: str) -> Message:
        self.slip()
        self.made.append((span, watched_ms, key))
        return Message(key, "summary", "as it should be", {"event": "summary"})

    def round(self, at_ms: int | str) -> None:
        """Go round once, and wait for what that began to make."""
        self.rig.clock.step_to(ms(at_ms) if isinstance(at_ms, str) else at_ms)
        self.rig.loop.round([self.rig.sensor])
        self.daily.stop()

    def rounds(self, at: str, times: int = 3) -> None:
        for number in range(times):
            self.round(ms(at) + 10_000 * number)

    def told(self) -> list[tuple[str, str]]:
        return [(due.channel, due.message.key) for due in self.store.waiting()]

    def days(self) -> list[str]:
        return [key for channel, key in self.told() if channel == "bell"]


def test_a_summary_leaves_through_every_channel_once_its_time_has_come() -> None:
    bench = Bench("2026-03-02T06:50:00")
    bench.rounds("2026-03-02T06:59:30", times=3)
    assert bench.told() == []
    bench.rounds("2026-03-02T07:00:00")
    assert bench.told() == [("bell", "summary/2026-03-02"), ("mail", "summary/2026-03-02")]
    bench.rounds("2026-03-02T07:01:00", times=30)
    assert len(bench.told()) == 2
    assert bench.store.notes()["summary"] == {"day": "2026-03-02", "to_ms": ms("2026-03-02T07:00:00") - 5_000}


def test_who_begins_after_the_time_waits_for_the_next_day_over_restarts() -> None:
    bench = Bench("2026-03-02T08:00:00")
    bench.rounds("2026-03-02T08:00:00")
    bench.begin(ms("2026-03-02T12:00:00"))
    bench.rounds("2026-03-02T12:00:00")
    assert bench.told() == []
    bench.rounds("2026-03-03T07:00:00")
    assert bench.days() == ["summary/2026-03-03"]


def test_who_begins_before_the_time_and_is_away_at_it_tells_it_once_back() -> None:
    bench = Bench("2026-03-02T06:50:00")
    bench.begin(ms("2026-03-02T19:00:00"))
    bench.rounds("2026-03-02T19:00:00")
    assert bench.days() == ["summary/2026-03-02"]


def test_who_is_back_on_another_date_tells_no_more_of_it_than_the_next_summary_covers() -> None:
    bench = Bench("2026-03-02T06:50:00")
    bench.rounds("2026-03-02T07:00:00")
    bench.begin(ms("2026-03-04T01:00:00"))
    bench.rounds("2026-03-04T01:00:00")
    bench.rounds("2026-03-04T07:00:00")
    assert bench.days() == ["summary/2026-03-02", "summary/2026-03-04"]
    span, _, _ = bench.made[-1]
    assert span == (ms("2026-03-02T07:00:00") - 5_000, ms("2026-03-04T07:00:00") - 5_000)


def test_no_summary_covers_more_than_three_days() -> None:
    bench = Bench("2026-03-02T06:50:00")
    bench.rounds("2026-03-02T07:00:00")
    bench.begin(ms("2026-03-12T06:00:00"))
    bench.rounds("2026-03-12T07:00:00")
    (from_ms, to_ms), _, _ = bench.made[-1]
    assert to_ms - from_ms == MOST_MS


def test_a_clock_that_was_ahead_leaves_the_last_24_hours_to_tell() -> None:
    store = FlakyStore()
    bench = Bench("2031-03-02T06:50:00", store)
    bench.rounds("2031-03-02T07:00:00")
    bench.begin(ms("2026-03-02T07:30:00"))
    bench.rounds("2026-03-02T07:30:00")
    (from_ms, to_ms), _, key = bench.made[-1]
    assert key == "summary/2026-03-02"
    assert to_ms - from_ms == DAY_MS


def test_a_board_that_wakes_up_in_1970_tells_no_day_twice_once_its_clock_is_right() -> None:
    bench = Bench("2026-03-02T06:50:00")
    bench.rounds("2026-03-02T07:00:00")
    bench.begin(ms("1970-01-03T12:00:00"))
    bench.rounds("1970-01-03T12:00:00")
    bench.begin(ms("2026-03-02T15:00:00"))
    bench.rounds("2026-03-02T15:00:00")
    bench.rounds("2026-03-03T07:00:00")
    assert bench.days() == ["summary/2026-03-02", "summary/1970-01-03", "summary/2026-03-03"]


def test_a_summary_that_was_made_and_not_committed_is_made_again_after_a_kill() -> None:
    bench = Bench("2026-03-02T06:50:00")
    bench.round("2026-03-02T07:00:00")
    assert len(bench.made) == 1
    assert bench.told() == []
    bench.begin(ms("2026-03-02T07:05:00"))
    bench.rounds("2026-03-02T07:05:00")
    assert len(bench.made) == 2
    assert bench.days() == ["summary/2026-03-02"]


def test_a_store_that_fails_as_the_summary_is_kept_keeps_it_later_and_once() -> None:
    bench = Bench("2026-03-02T06:50:00")
    bench.round("2026-03-02T07:00:00")
    bench.store.failures = [LOCKED, LOCKED]
    bench.rounds("2026-03-02T07:00:10", times=2)
    assert bench.told() == []
    bench.rounds("2026-03-02T07:00:30")
    assert bench.days() == ["summary/2026-03-02"]
    assert len(bench.made) == 1


def test_nothing_is_made_before_the_round_is_kept_that_it_tells_of() -> None:
    bench = Bench("2026-03-02T06:50:00")
    bench.rig.arrive(25.0, minutes=(ms("2026-03-02T06:59:50") - 1_772_400_000_000) / MINUTE_MS)
    bench.store.failures = [LOCKED]
    bench.round("2026-03-02T07:00:00")
    assert bench.made == []
    bench.round("2026-03-02T07:00:10")
    assert len(bench.made) == 1


def test_nothing_is_told_while_the_backlog_of_a_start_comes_in() -> None:
    bench = Bench("2026-03-02T06:50:00")
    bench.ready = False
    bench.rounds("2026-03-02T07:00:00")
    assert bench.made == []
    bench.ready = True
    bench.rounds("2026-03-02T07:01:00")
    assert bench.days() == ["summary/2026-03-02"]


def test_a_slow_look_at_the_store_holds_no_round_up() -> None:
    bench = Bench("2026-03-02T06:50:00")
    going_on = threading.Event()

    def wait() -> None:
        going_on.wait(10)

    bench.slip = wait
    for second in range(60):
        bench.rig.clock.step_to(ms("2026-03-02T07:00:00") + second * 1000)
        bench.rig.loop.round([bench.rig.sensor])
    assert bench.told() == []
    going_on.set()
    bench.daily.stop()
    bench.round("2026-03-02T07:01:00")
    assert bench.days() == ["summary/2026-03-02"]
    assert len(bench.made) == 1


@pytest.mark.parametrize("slip", [LOCKED, ValueError("nobody foresaw this")])
def test_a_summary_that_cannot_be_made_is_tried_again_and_said_in_the_log(
    slip: Exception, caplog: pytest.LogCaptureFixture
) -> None:
    bench = Bench("2026-03-02T06:50:00")

    def fail() -> None:
        raise slip

    bench.slip = fail
    with caplog.at_level(logging.ERROR):
        bench.rounds("2026-03-02T07:00:00", times=10)
    assert [record.message for record in caplog.records] == ["summary not made"]
    bench.slip = lambda: None
    bench.rounds("2026-03-02T07:02:00")
    assert bench.told() == []
    bench.round(ms("2026-03-02T07:00:20") + PAUSE_MS)
    bench.round(ms("2026-03-02T07:00:30") + PAUSE_MS)
    assert bench.days() == ["summary/2026-03-02"]


def test_each_of_sixty_days_is_told_once_whenever_the_program_is_killed() -> None:
    """Over a change of clocks (8 March 2026), with a kill at any round and a commit that fails now and then."""
    chance = random.Random(7)
    bench = Bench("2026-02-20T06:00:00")
    now_ms, end_ms = ms("2026-02-20T06:00:00"), ms("2026-04-21T12:00:00")
    while now_ms < end_ms:
        if chance.random() < 0.2:
            bench.begin(now_ms)
        if chance.random() < 0.1:
            bench.store.failures = [LOCKED]
        bench.round(now_ms)
        now_ms += chance.randrange(1, 40) * MINUTE_MS
    first = datetime(2026, 2, 20, tzinfo=UTC)
    assert bench.days() == [f"summary/{(first + timedelta(days=n)).date()}" for n in range(61)]
    spans = {key: span for span, _, key in bench.made}
    assert [spans[key][0] for key in bench.days()[1:]] == [spans[key][1] for key in bench.days()[:-1]]


# ------------------------------------------------------------------------------ when somebody was there


def watched(rounds: list[int], noted: Any = (), newest_ms: int = 0) -> WatchedTime:
    time_there = WatchedTime(noted, 2 * MINUTE_MS, newest_ms)
    for now_ms in rounds:
        time_there.saw(now_ms)
    return time_there


def test_time_is_watched_as_long_as_rounds_follow_each_other() -> None:
    rounds = [n * MINUTE_MS for n in (0, 1, 2, 3, 10, 11, 13)]
    assert watched(rounds).within_ms((0, HOUR_MS)) == 6 * MINUTE_MS
    assert watched(rounds).within_ms((2 * MINUTE_MS, 11 * MINUTE_MS)) == 2 * MINUTE_MS


def test_what_was_watched_outlives_a_kill_up_to_the_last_reading_that_was_kept() -> None:
    noted = watched([n * MINUTE_MS for n in range(11)]).note(0)[WATCHED]
    again = watched([30 * MINUTE_MS, 31 * MINUTE_MS], noted, newest_ms=18 * MINUTE_MS)
    assert again.within_ms((0, HOUR_MS)) == 19 * MINUTE_MS
    late = watched([300 * MINUTE_MS], noted, newest_ms=200 * MINUTE_MS)
    assert late.within_ms((0, 400 * MINUTE_MS)) == 10 * MINUTE_MS


def test_a_restart_within_the_pause_is_a_pause_all_the_same() -> None:
    noted = watched([0, MINUTE_MS]).note(0)[WATCHED]
    assert watched([2 * MINUTE_MS, 3 * MINUTE_MS], noted).within_ms((0, HOUR_MS)) == 2 * MINUTE_MS


def test_a_clock_that_is_set_back_makes_no_minute_count_twice() -> None:
    assert watched([n * MINUTE_MS for n in (5, 6, 7, 6, 7, 8)]).within_ms((0, HOUR_MS)) == 3 * MINUTE_MS


def test_what_was_watched_is_noted_seldom_and_forgotten_after_days() -> None:
    time_there = watched([0])
    assert time_there.note(0)
    assert time_there.note(NOTED_EVERY_MS - 1) == {}
    assert time_there.note(NOTED_EVERY_MS)
    time_there.saw(30 * DAY_MS)
    assert time_there.note(30 * DAY_MS) == {WATCHED: [[30 * DAY_MS, 30 * DAY_MS]]}
