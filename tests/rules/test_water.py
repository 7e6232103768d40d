"""Water by weight: the share that is gone, how fast it goes, and in how many hours it is gone."""

import doctest

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from minute_by_minute import course, ramp

from wardian.rules import water
from wardian.rules.plans import Masses
from wardian.rules.readings import Values
from wardian.rules.water import (
    HoursLeft,
    Rate,
    drying_pct_per_h,
    evaporation_g_per_h,
    fraction_lost,
    hours_left,
    lost_pct,
    lost_pct_array,
    mass_at,
    masses_at,
)

HOUR = 60
grams = st.floats(100, 20_000)


def test_the_examples_of_the_documentation_are_true() -> None:
    result = doctest.testmod(water)
    assert (result.failed, result.attempted) == (0, 1)


@given(dry_g=grams, held_g=grams, fraction=st.floats(-0.5, 1.5))
def test_a_share_and_its_mass_lead_there_and_back(dry_g: float, held_g: float, fraction: float) -> None:
    saturated_g = dry_g + held_g
    mass_g = mass_at(fraction, saturated_g, dry_g)
    assert fraction_lost(mass_g, saturated_g, dry_g) == pytest.approx(fraction, abs=1e-9)


@given(dry_g=grams, held_g=grams)
def test_a_full_tray_has_lost_nothing_and_a_dry_one_all(dry_g: float, held_g: float) -> None:
    saturated_g = dry_g + held_g
    assert fraction_lost(saturated_g, saturated_g, dry_g) == 0
    assert fraction_lost(dry_g, saturated_g, dry_g) == 1


@given(dry_g=grams, held_g=grams, mass_g=grams, thing_g=st.floats(0, 1000))
def test_what_lies_on_the_tray_at_every_weighing_does_not_matter(
    dry_g: float, held_g: float, mass_g: float, thing_g: float
) -> None:
    bare = fraction_lost(mass_g, dry_g + held_g, dry_g)
    with_thing = fraction_lost(mass_g + thing_g, dry_g + held_g + thing_g, dry_g + thing_g)
    assert with_thing == pytest.approx(bare, abs=1e-9)


def test_each_mass_is_compared_with_what_held_at_its_time() -> None:
    masses = (Masses(10, 3000, 1200), Masses(20, 3100, 1200))
    assert [masses_at(masses, at) for at in (9, 10, 19, 20)] == [None, masses[0], masses[0], masses[1]]
    lost = lost_pct_array(np.array([9, 10, 19, 20]), np.full(4, 2400.0), masses)
    assert np.isnan(lost[0])
    assert lost[1:].tolist() == [lost_pct(2400, masses[0])] * 2 + [lost_pct(2400, masses[1])]


@given(mass_g=st.lists(grams, min_size=1, max_size=5), from_ms=st.integers(-3, 3))
def test_one_mass_and_many_give_the_same(mass_g: list[float], from_ms: int) -> None:
    masses = (Masses(from_ms, 3000.25, 1200.5),)
    many = lost_pct_array(np.full(len(mass_g), 5), np.array(mass_g), masses)
    assert many.tolist() == [lost_pct(one, masses[0]) for one in mass_g]


# How fast


def all_quiet(level: Values) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    return np.ones(len(level), np.bool_)


def test_an_even_loss_is_found_to_the_gram() -> None:
    mass = np.array(ramp(24 * HOUR, 3000, 2976))
    rate = evaporation_g_per_h(mass, all_quiet(mass))
    assert rate is not None
    assert rate.per_h == pytest.approx(1.0, abs=0.01)
    assert (rate.slow_per_h, rate.fast_per_h) == pytest.approx((1.0, 1.0), abs=0.01)
    assert rate.hours == 24


def test_a_moisture_that_is_read_in_per_cent_dries_alike() -> None:
    moisture = np.array(ramp(24 * HOUR, 90, 78))
    rate = drying_pct_per_h(moisture, all_quiet(moisture))
    assert rate is not None
    assert rate.per_h == pytest.approx(0.5, abs=0.01)


def test_day_and_night_are_averaged_and_shown_as_slower_and_faster_hours() -> None:
    night, day = np.array(ramp(12 * HOUR, 3000, 2994)), np.array(ramp(12 * HOUR, 2994, 2970))
    mass = np.concatenate([night, day])
    rate = evaporation_g_per_h(mass, all_quiet(mass))
    assert rate is not None
    assert rate.per_h == pytest.approx(1.25, abs=0.05)
    assert (rate.slow_per_h, rate.fast_per_h) == pytest.approx((0.5, 2.0), abs=0.05)


def test_one_wild_stretch_hardly_moves_the_rate() -> None:
    mass = np.array(ramp(48 * HOUR, 3000, 2952))
    mass[600:] -= 30  # something was taken off
    rate = evaporation_g_per_h(mass, all_quiet(mass))
    assert rate is not None
    assert rate.per_h == pytest.approx(1.0, abs=0.02)


def test_minutes_that_are_not_quiet_or_not_known_are_left_out() -> None:
    mass = np.array([*ramp(8 * HOUR, 3000, 2992), *course((2 * HOUR, 9999)), *ramp(8 * HOUR, 2990, 2982)])
    quiet = all_quiet(mass)
    quiet[8 * HOUR : 10 * HOUR] = False
    cared = evaporation_g_per_h(mass, quiet)
    unknown = evaporation_g_per_h(np.where(quiet, mass, np.nan), all_quiet(mass))
    assert cared == unknown
    assert cared is not None
    assert cared.per_h == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize(("minutes", "is_known"), [(0, False), (359, False), (360, True)])
def test_less_than_three_stretches_of_two_hours_tell_nothing(minutes: int, *, is_known: bool) -> None:
    mass = np.array(ramp(minutes, 3000, 2990)) if minutes else np.empty(0)
    assert (evaporation_g_per_h(mass, all_quiet(mass)) is not None) is is_known


def test_hours_left_go_by_the_faster_the_mean_and_the_slower_hours() -> None:
    assert hours_left(120, Rate(2, 1, 4, 24)) == HoursLeft(30, 60, 120)


def test_what_is_gone_already_is_due_now_and_what_does_not_go_is_never_gone() -> None:
    assert hours_left(-5, Rate(2, 1, 4, 24)) == HoursLeft(0, 0, 0)
    assert hours_left(120, Rate(2, 0, 4, 24)) == HoursLeft(30, 60, None)
    assert hours_left(120, Rate(-1, -2, 0, 24)) == HoursLeft(None, None, None)
