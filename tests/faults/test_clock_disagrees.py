"""Sensors that tell their own times, and a clock that is wrong: theirs or ours."""

import pytest
from clock_rig import ClockRig
from fake_clock import FakeClock
from loop_rig import MINUTE_MS

from wardian.daemon.clocks_compared import ClocksCompared

RAISED = ("clocks-disagree", "raised")
RETURNED = ("clocks-disagree", "returned")


def speak(rig: ClockRig, minutes: int, ahead_ms: int) -> None:
    """Let a sensor whose clock is so much ahead of ours speak each minute."""
    for _ in range(minutes):
        rig.machine.step(MINUTE_MS)
        rig.arrive(22.0, rig.clock.wall_ms() + ahead_ms)
        rig.round()


@pytest.mark.fault(19)
@pytest.mark.parametrize("ahead_ms", [15 * MINUTE_MS, -15 * MINUTE_MS, 4 * MINUTE_MS, -2 * MINUTE_MS])
def test_a_sensor_whose_clock_is_steadily_apart_from_ours_is_named_once(ahead_ms: int) -> None:
    rig = ClockRig(FakeClock())
    speak(rig, 30, ahead_ms)
    assert rig.told(of_watch=True) == [RAISED]
    words = rig.entries(of_watch=True)[0].fields["message"]
    assert "sensor bench at tray-a" in words
    assert ("ahead" if ahead_ms > 0 else "behind") in words
    speak(rig, 30, 0)
    assert rig.told(of_watch=True) == [RAISED, RETURNED]


@pytest.mark.fault(19)
@pytest.mark.parametrize("ahead_ms", [0, 60_000, -110_000])
def test_clocks_that_are_a_little_apart_agree(ahead_ms: int) -> None:
    rig = ClockRig(FakeClock())
    speak(rig, 30, ahead_ms)
    assert rig.told(of_watch=True) == []


@pytest.mark.fault(19)
def test_our_own_clock_that_was_set_wrong_is_noticed_by_the_times_of_sensors() -> None:
    rig = ClockRig(FakeClock(), can_move=False)
    speak(rig, 15, 0)
    rig.machine.now_ms += 15 * MINUTE_MS
    speak(rig, 15, -15 * MINUTE_MS)
    assert set(rig.told(of_watch=True)) == {("clock-was-set", "raised"), RAISED}


def test_a_message_that_waited_says_nothing_beside_one_that_did_not() -> None:
    said: list[str] = []
    compared = ClocksCompared(said.append)
    for minute in range(60):
        at_ms = minute * MINUTE_MS
        compared.heard(("probes", "tray-a"), at_ms, at_ms - 30 * MINUTE_MS)
        compared.heard(("probes", "tray-a"), at_ms, at_ms)
    assert said == []


def test_a_backlog_after_a_start_says_nothing() -> None:
    rig = ClockRig(FakeClock())
    for minute in range(200, 100, -1):
        rig.arrive(22.0, rig.clock.wall_ms() - minute * MINUTE_MS)
    rig.round()
    speak(rig, 25, 0)
    assert rig.told(of_watch=True) == []
