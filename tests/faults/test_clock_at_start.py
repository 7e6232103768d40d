"""A start without trusted time, stepped: what is judged, what is dated anew, and what a restart makes of it."""

from itertools import pairwise

import pytest
from clock_rig import ClockRig
from fake_clock import NOON_MS, FakeClock
from hypothesis import given, settings
from hypothesis import strategies as st
from loop_rig import MINUTE_MS

from wardian.daemon.bench_clock import RELEASED_MS

HOUR_MS = 60 * MINUTE_MS
YEAR_MS = 365 * 24 * HOUR_MS
NOT_TRUSTED = ("time-not-trusted", "raised")
TRUSTED = ("time-not-trusted", "returned")


def restarted(rig: ClockRig, *, off_ms: int, shows_ms: int) -> ClockRig:
    """Return a rig on the same store after the board was off for so long and shows another time."""
    rig.loop.close()
    machine = FakeClock(shows_ms, passed_ms=rig.machine.passed_ms + off_ms)
    return ClockRig(machine, rig.store)


@pytest.mark.fault(15)
@pytest.mark.parametrize("after", [0.5, 7, 45, 170])
def test_what_was_read_without_a_clock_is_dated_anew_when_the_time_comes(after: float) -> None:
    rig = ClockRig(FakeClock())
    rig.live(20, lambda _: 22.0)
    rig = restarted(rig, off_ms=3 * HOUR_MS, shows_ms=0)
    rig.live(after, lambda _: 22.0)
    assert rig.told(of_watch=True) == [NOT_TRUSTED]
    came_ms = NOON_MS + 20 * MINUTE_MS + 3 * HOUR_MS + round(after * MINUTE_MS)
    rig.live(10, lambda _: 22.0, {0: came_ms - rig.machine.now_ms})
    assert rig.begun_anew == 1
    assert rig.told(of_watch=True) == [NOT_TRUSTED, ("clock-was-set", "raised"), TRUSTED]
    assert rig.told() == [("power-returned", "raised")]  # as it was
    times_ms = [one.time_ms for one in rig.store.readings(0, 2**62)]
    pauses_ms = sorted(later - earlier for earlier, later in pairwise(times_ms))
    assert max(pauses_ms[:-1]) <= MINUTE_MS
    assert abs(pauses_ms[-1] - 3 * HOUR_MS) <= MINUTE_MS
    assert rig.machine.now_ms - times_ms[-1] <= MINUTE_MS


@pytest.mark.fault(15)
def test_a_run_from_before_the_power_failed_does_not_reach_across_the_time_that_nobody_saw() -> None:
    """Warm for two minutes before and one after is no alarm of five, however long the board was off."""
    rig = ClockRig(FakeClock())
    rig.live(20, lambda minute: 30.0 if minute > 18 else 22.0)
    rig = restarted(rig, off_ms=HOUR_MS, shows_ms=0)
    rig.live(1, lambda _: 30.0)
    rig.live(3, lambda _: 30.0, {0: NOON_MS + 90 * MINUTE_MS})
    assert rig.told() == []
    rig.live(4, lambda _: 30.0)
    assert rig.told() == [("high", "raised")]
    assert rig.entries()[0].time_ms > NOON_MS + 90 * MINUTE_MS


@pytest.mark.fault(15)
def test_an_alarm_without_a_clock_is_raised_once_and_stands_when_the_time_comes() -> None:
    rig = ClockRig(FakeClock(0))
    rig.live(10, lambda _: 30.0)
    assert rig.told() == [("high", "raised")]
    rig.live(10, lambda _: 30.0, {0: NOON_MS})
    assert rig.told() == [("high", "raised")]
    (entry,) = rig.entries()
    assert abs(entry.time_ms - (NOON_MS + 5 * MINUTE_MS)) <= MINUTE_MS
    rig.live(5, lambda _: 22.0)
    assert rig.told() == [("high", "raised"), ("high", "returned")]


@pytest.mark.fault(18)
def test_where_no_time_ever_comes_time_goes_on_over_restarts_and_is_never_trusted() -> None:
    rig, last_ms = ClockRig(FakeClock(0)), RELEASED_MS
    for _ in range(3):
        rig.live(30, lambda _: 22.0)
        assert last_ms < rig.clock.wall_ms() <= last_ms + 31 * MINUTE_MS
        assert not rig.loop.is_sure
        last_ms = rig.clock.wall_ms()
        rig = restarted(rig, off_ms=HOUR_MS, shows_ms=0)
    assert rig.told(of_watch=True) == [NOT_TRUSTED]
    assert rig.told() == []


@pytest.mark.fault(18)
def test_while_nobody_knows_the_time_what_says_to_come_from_ahead_is_dated_by_its_arrival() -> None:
    rig = ClockRig(FakeClock(0))
    rig.round()
    for _ in range(20):
        rig.machine.step(MINUTE_MS)
        rig.arrive(30.0, NOON_MS + rig.machine.passed_ms)
        rig.round()
    assert rig.told() == [("high", "raised")]
    assert max(one.time_ms for one in rig.store.readings(0, 2**62)) <= rig.clock.wall_ms()
    assert rig.store.refused() == []


@pytest.mark.fault(17)
def test_a_clock_put_back_below_what_is_kept_is_not_followed_until_it_is_right() -> None:
    rig = ClockRig(FakeClock())
    rig.live(20, lambda _: 22.0)
    rig = restarted(rig, off_ms=MINUTE_MS, shows_ms=NOON_MS + 21 * MINUTE_MS)
    rig.live(10, lambda _: 22.0)
    rig.live(30, lambda _: 22.0, {0: -YEAR_MS})
    assert rig.begun_anew == 0
    assert rig.told(of_watch=True) == [NOT_TRUSTED, ("clock-was-set", "raised")] or rig.told(
        of_watch=True
    ) == [
        ("clock-was-set", "raised"),
        NOT_TRUSTED,
    ]
    assert rig.clock.wall_ms() >= NOON_MS + 60 * MINUTE_MS
    rig.live(10, lambda _: 22.0, {0: YEAR_MS})
    assert rig.told(of_watch=True)[-1] == TRUSTED
    assert rig.told() == []


@pytest.mark.fault(16)
def test_a_clock_set_ahead_by_mistake_and_back_again_leaves_every_reading_where_it_belongs() -> None:
    rig = ClockRig(FakeClock())
    rig.live(30, lambda _: 22.0, {10: HOUR_MS, 20: -HOUR_MS})
    times_ms = [one.time_ms for one in rig.store.readings(0, 2**62)]
    assert len(times_ms) == 60
    assert {later - earlier for earlier, later in pairwise(times_ms)} == {30_000}


@pytest.mark.fault(16)
def test_a_restart_after_the_clock_was_set_takes_the_leap_for_no_pause() -> None:
    rig = ClockRig(FakeClock(), can_move=False)
    rig.live(30, lambda _: 22.0, {10: 3 * HOUR_MS})
    rig = restarted(rig, off_ms=MINUTE_MS, shows_ms=rig.machine.now_ms + MINUTE_MS)
    rig.live(30, lambda _: 22.0)
    assert rig.told() == []


sets = st.lists(
    st.tuples(
        st.integers(1, 30), st.sampled_from([-10 * YEAR_MS, -HOUR_MS, -90_000, 0, 6_000, HOUR_MS, YEAR_MS])
    ),
    min_size=1,
    max_size=6,
)


@pytest.mark.fault(16)
@pytest.mark.fault(17)
@settings(max_examples=25, deadline=None)
@given(sets, st.booleans())
def test_whatever_is_done_to_the_clock_a_steady_bench_is_silent_and_loses_nothing(
    course: list[tuple[int, int]], can_move: bool
) -> None:
    rig, readings = ClockRig(FakeClock(), can_move=can_move), 0
    for minutes, by_ms in course:
        rig.live(minutes, lambda _: 22.0, {0: by_ms})
        readings += 2 * minutes
    rig.live(1, lambda _: 22.0)
    assert rig.told() == []
    counts = rig.store.counts()
    assert counts["readings"] == readings + 2
    assert counts["refused"] == 0
