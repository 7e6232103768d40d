"""A plain tray's day, and what each fault does to it.

The bands are the general default for rooting (75-80 °F, air above 90 %, 18 h of light): common
practice, no source.
"""

import statistics
from collections.abc import Callable
from datetime import datetime
from itertools import pairwise
from typing import NamedTuple
from zoneinfo import ZoneInfo

import pytest

from wardian.rules.air import saturation_vapour_pressure_kpa
from wardian.simulator.faults import FAULTS, Fault
from wardian.simulator.tray import STEP_MS, Tray, TraySettings

LISBON = ZoneInfo("Europe/Lisbon")
START_MS = int(datetime(2026, 3, 2, 12, 0, tzinfo=LISBON).timestamp() * 1000)
MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS


class Moment(NamedTuple):
    hours: float
    air_c: float
    medium_c: float
    humidity_pct: float
    light_lx: float
    mass_g: float


def _life(hours: float, *faults: Fault, seed: int = 1, start_ms: int = START_MS) -> list[Moment]:
    tray = Tray(TraySettings("tray-a", seed, start_ms, timezone=LISBON, faults=faults))
    moments = []
    for since_ms in range(0, int(hours * HOUR_MS), MINUTE_MS):
        tray.advance(start_ms + since_ms)
        moments.append(
            Moment(
                since_ms / HOUR_MS,
                tray.air_c,
                tray.medium_c,
                tray.humidity_pct,
                tray.light_lx,
                tray.mass_g,
            )
        )
    return moments


def _longest_min(moments: list[Moment], beyond: Callable[[Moment], bool]) -> int:
    longest = run = 0
    for moment in moments:
        run = run + 1 if beyond(moment) else 0
        longest = max(longest, run)
    return longest


def _hours_until(moments: list[Moment], after_h: float, beyond: Callable[[Moment], bool]) -> float:
    """Return after how many hours a quantity has been beyond for half an hour."""
    run = 0
    for moment in moments:
        run = run + 1 if moment.hours >= after_h and beyond(moment) else 0
        if run == 30:
            return moment.hours - after_h
    return float("inf")


@pytest.mark.parametrize("seed", range(1, 7))
def test_a_healthy_tray_is_out_of_its_bands_for_minutes_only(seed: int) -> None:
    life = _life(72, seed=seed)
    assert _longest_min(life, lambda now: not 23.9 <= now.air_c <= 26.7) < 10
    assert _longest_min(life, lambda now: now.humidity_pct < 90) < 10
    assert statistics.median(now.humidity_pct for now in life) > 92
    assert all(22 < now.air_c < 26.7 and 24.5 < now.medium_c < 26.5 for now in life)
    assert all(0 < now.humidity_pct <= 100 for now in life)


def test_the_lamp_is_lit_for_eighteen_hours_of_every_day() -> None:
    lit = [now.light_lx > 1000 for now in _life(72)]
    for from_min in range(0, len(lit) - 24 * 60, 60):
        assert sum(lit[from_min : from_min + 24 * 60]) == 18 * 60


def test_the_lamp_keeps_to_the_clock_on_the_wall_when_that_is_put_forward() -> None:
    start_ms = int(datetime(2026, 3, 28, 12, 0, tzinfo=LISBON).timestamp() * 1000)
    lit = {now.hours for now in _life(24, start_ms=start_ms) if now.light_lx > 1000}
    assert min(hour for hour in lit if hour > 12) == 16  # five o'clock comes an hour early


def test_the_cover_is_lifted_three_times_a_day_and_the_tray_is_misted() -> None:
    life = _life(24)
    dips = sum(before.humidity_pct >= 90 > now.humidity_pct for before, now in pairwise(life))
    mistings = sum(now.mass_g - before.mass_g > 5 for before, now in pairwise(life))
    assert (dips, mistings) == (3, 3)


def test_the_tray_slowly_loses_weight_between_mistings() -> None:
    life = _life(48)
    assert 5 < life[0].mass_g - life[-1].mass_g < 60
    falling = sum(now.mass_g < before.mass_g for before, now in pairwise(life))
    assert falling > 0.99 * (len(life) - 7)


def test_the_medium_swings_about_its_set_point_like_a_saw() -> None:
    life = _life(24)
    turns = sum(
        (b.medium_c - a.medium_c) * (c.medium_c - b.medium_c) < 0
        for a, b, c in zip(life, life[1:], life[2:], strict=False)
    )
    assert 100 < turns < 300
    assert 0.4 < max(now.medium_c for now in life) - min(now.medium_c for now in life) < 0.8


def test_no_more_vapour_is_under_the_cover_than_its_temperature_allows() -> None:
    tray = Tray(TraySettings("tray-a", 1, START_MS, timezone=LISBON))
    for since_ms in range(0, 24 * HOUR_MS, STEP_MS):
        tray.advance(START_MS + since_ms)
        assert tray.vapour_kpa <= saturation_vapour_pressure_kpa(tray.air_c)


def test_the_air_is_driest_when_the_room_and_so_the_cover_is_coldest() -> None:
    life = _life(24)  # from noon on; 15 h later it is three at night
    by_day = statistics.median(now.humidity_pct for now in life if 2 < now.hours < 4)
    by_night = statistics.median(now.humidity_pct for now in life if 14 < now.hours < 16)
    assert 91 < by_night + 1 < by_day < 97


@pytest.mark.parametrize("after_h", [0.0, 6.0, 12.0, 18.0])
@pytest.mark.parametrize(
    ("fault", "beyond"),
    [
        ("heater dead", lambda now: now.medium_c < 20),
        ("heater dead", lambda now: now.air_c < 23.9),
        ("heater stuck on", lambda now: now.air_c > 30),
        ("cover left off", lambda now: now.humidity_pct < 80),
        ("cover left off", lambda now: now.air_c < 23.9),
    ],
)
def test_each_fault_of_the_warmth_or_the_cover_shows_within_four_hours(
    fault: str, beyond: Callable[[Moment], bool], after_h: float
) -> None:
    life = _life(after_h + 6, Fault(fault, "tray-a", after_h))
    assert _hours_until(_life(after_h + 6), after_h, beyond) == float("inf")
    assert _hours_until(life, after_h, beyond) < 4


def test_a_dead_lamp_leaves_the_room_light_only() -> None:
    life = _life(24, Fault("lamp dead", "tray-a", 2))
    assert max(now.light_lx for now in life if now.hours >= 2) < 100
    assert min(now.light_lx for now in life if now.hours < 2) > 5000


def test_a_fault_ends_when_it_is_scripted_to() -> None:
    life = _life(30, Fault("cover left off", "tray-a", 3, lasts_h=2))
    out = [now.hours for now in life if now.humidity_pct < 80]
    assert _hours_until(life, 3, lambda now: now.humidity_pct < 80) < 1
    assert _longest_min([now for now in life if now.hours >= 5.5], lambda now: now.humidity_pct < 80) < 10
    assert min(out) >= 1  # the noon misting
    assert _longest_min(life, lambda now: now.humidity_pct < 80) >= 115


def test_two_trays_of_one_seed_differ_and_one_tray_is_always_the_same() -> None:
    first = Tray(TraySettings("tray-a", 1, START_MS))
    again = Tray(TraySettings("tray-a", 1, START_MS))
    other = Tray(TraySettings("tray-b", 1, START_MS))
    for tray in (first, again, other):
        tray.advance(START_MS + HOUR_MS)
    assert (first.air_c, first.humidity_pct, first.mass_g) == (again.air_c, again.humidity_pct, again.mass_g)
    assert first.air_c != other.air_c


def test_a_tray_lives_the_same_however_it_is_asked() -> None:
    often = Tray(TraySettings("tray-a", 1, START_MS))
    once = Tray(TraySettings("tray-a", 1, START_MS))
    for since_ms in range(0, 3 * HOUR_MS, 3_700):
        often.advance(START_MS + since_ms)
    often.advance(START_MS + 3 * HOUR_MS)
    once.advance(START_MS + 3 * HOUR_MS)
    assert (often.air_c, often.vapour_kpa, often.mass_g) == (once.air_c, once.vapour_kpa, once.mass_g)


@pytest.mark.parametrize(
    ("fault", "after_h", "lasts_h"),
    [
        ("heater cold", 1.0, 1.0),
        ("lamp dead", -1.0, 1.0),
        ("lamp dead", float("nan"), 1.0),
        ("lamp dead", 1.0, 0.0),
    ],
)
def test_a_fault_that_cannot_be_is_refused(fault: str, after_h: float, lasts_h: float) -> None:
    with pytest.raises(ValueError, match="accepted"):
        Fault(fault, "tray-a", after_h, lasts_h)


def test_every_fault_says_in_words_what_it_does() -> None:
    assert set(FAULTS) == {"heater dead", "heater stuck on", "cover left off", "lamp dead", "sensor silent"}
    assert all(words.islower() or words[0].islower() for words in FAULTS.values())
