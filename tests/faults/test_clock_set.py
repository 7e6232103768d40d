"""The machine's clock is set while the daemon watches, ahead and back, by little and by much: nothing false, nothing missed."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import pytest
from clock_rig import ROUND_MS, ClockRig
from fake_clock import FakeClock
from loop_rig import MINUTE_MS

from wardian.daemon.bench_clock import SLOWER
from wardian.rules.errors import StoreFailed

HOUR_MS = 60 * MINUTE_MS
DAY_MS = 24 * HOUR_MS
SIZES_MS = {
    "6 s": 6_000,
    "30 s": 30_000,
    "2 min": 2 * MINUTE_MS,
    "4 min": 4 * MINUTE_MS,
    "10 min": 10 * MINUTE_MS,
    "1 h": HOUR_MS,
    "3 h": 3 * HOUR_MS,
    "12 h": 12 * HOUR_MS,
    "1 day": DAY_MS,
    "30 days": 30 * DAY_MS,
    "1 year": 365 * DAY_MS,
    "10 years": 3652 * DAY_MS,
}
JUMP_AT = 20.0
LASTS = 40.0
TOO_WARM = [("high", "raised")]


@dataclass(frozen=True)
class Phase:
    """What is read at a minute, and what is to be told of it, when."""

    reading: Callable[[float], float | None]
    told: list[tuple[str, str]]
    minutes: list[float]


PHASES = {
    "nothing stands": Phase(lambda minute: 22.0, [], []),
    "a run is under way": Phase(lambda minute: 30.0 if minute > 17 else 22.0, TOO_WARM, [22.5]),
    "an alarm stands": Phase(
        lambda minute: 30.0 if 5 < minute < 26 else 22.0, [*TOO_WARM, ("high", "returned")], [10.5, 26]
    ),
    "a sensor was just heard for the last time": Phase(
        lambda minute: 22.0 if minute < 18 else None, [("sensor-silent", "raised")], [32.5]
    ),
}


def watched(phase: Phase, by_ms: int, *, can_move: bool) -> tuple[ClockRig, list[float]]:
    """Return the rig after it, and in which real minutes something was told of the tray."""
    rig, minutes = ClockRig(FakeClock(), can_move=can_move), []
    while rig.minute < LASTS:
        before = len(rig.entries())
        rig.live(ROUND_MS / MINUTE_MS, phase.reading, {JUMP_AT: by_ms} if rig.minute < JUMP_AT else {})
        minutes += [rig.minute] * (len(rig.entries()) - before)
    return rig, minutes


@pytest.mark.fault(16)
def test_while_the_store_keeps_nothing_a_step_waits_and_no_reading_is_lost() -> None:
    rig = ClockRig(FakeClock())
    rig.live(10, lambda _: 22.0)
    rig.store.failures = [StoreFailed("store", "the disk is full", may_heal=True)] * 18
    rig.live(2, lambda _: 22.0, {11: HOUR_MS})
    assert rig.begun_anew == 0
    rig.live(8, lambda _: 22.0)
    assert rig.begun_anew == 1
    times_ms = [one.time_ms for one in rig.store.readings(0, 2**62)]
    assert {later - earlier for earlier, later in pairwise(times_ms)} == {30_000}
    assert len(times_ms) == 40


@pytest.mark.fault(16)
@pytest.mark.fault(17)
@pytest.mark.parametrize("can_move", [True, False], ids=["a young era", "an old era"])
@pytest.mark.parametrize("sign", [1, -1], ids=["ahead", "back"])
@pytest.mark.parametrize("size", SIZES_MS)
@pytest.mark.parametrize("phase", PHASES)
def test_a_clock_that_is_set_makes_nothing_false_and_misses_nothing(
    phase: str, size: str, sign: int, can_move: bool
) -> None:
    expected = PHASES[phase]
    rig, minutes = watched(expected, sign * SIZES_MS[size], can_move=can_move)
    assert rig.told() == expected.told
    for at, planned in zip(minutes, expected.minutes, strict=True):
        # Rounds of ten seconds and five to settle; a clock that waits for another goes a tenth slower.
        assert planned - 0.01 <= at <= planned + 0.5 + (SLOWER * 15 if sign < 0 else 0)
    assert ("clock-was-set", "raised") in rig.told(of_watch=True)
    assert all(
        later != earlier for earlier, later in pairwise(rig.judged_ms[3:])
    )  # every round has judged on
    assert rig.begun_anew <= 1
