"""Days too dim for roots, and a day too bright for cuttings without."""

import math
from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest
from case_terms import low, stage
from cases_of_conditions import observed, planned, told
from minute_by_minute import NOON_MS

from wardian.rules.crops import Aim, Stage, StageSpan
from wardian.rules.observing.daily_light import DAILY_LIGHT_OFF
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.plans import TrayPlan

DAY = 24 * 60
#: Minutes from noon, when the traces begin, to the midnight after so many whole days.
MIDNIGHTS = [DAY // 2 + day * DAY for day in range(6)]
AIMED = {"daily_light_integral": Aim(8.0, 10.0)}
BARE = (StageSpan(0, Stage("callusing", 0, {}, AIMED)),)


def rooted(**changes: object) -> TrayPlan:
    """Return a tray in its second stage, whose daily light should be 8 to 10."""
    of_stage = Stage("rooting", 0, {}, AIMED)
    spans = (StageSpan(0, stage("callusing")), StageSpan(1, of_stage))
    return replace(planned(DAILY_LIGHT_OFF, spans=spans), **changes)  # type: ignore[arg-type] # fields of the plan


def bare(**changes: object) -> TrayPlan:
    """Return a tray in its first stage, whose daily light should be 8 to 10."""
    return replace(planned(DAILY_LIGHT_OFF, spans=BARE), **changes)  # type: ignore[arg-type] # fields of the plan


def days(*mol: float) -> list[float]:
    """Return photon flux density from noon on, all hours alike: half a day of the first, then whole days."""
    first, *others = mol
    return (
        [first / 0.0864] * (DAY // 2)
        + [one / 0.0864 for one in others for _ in range(DAY)]
        + [mol[-1] / 0.0864] * 90
    )


def test_two_days_below_seven_tenths_of_the_aim_are_too_dim_from_the_midnight_after_until_one_is_not() -> (
    None
):
    found = observed(rooted(), {"ppfd": days(9, 5.5, 5.5, 5.5, 9)})
    assert told(found) == [
        (MIDNIGHTS[2], DAILY_LIGHT_OFF, "raised"),
        (MIDNIGHTS[4], DAILY_LIGHT_OFF, "returned"),
    ]
    assert found[0].since_ms == NOON_MS + MIDNIGHTS[0] * MINUTE_MS
    assert found[0].value == pytest.approx(5.5)
    assert found[0].threshold == pytest.approx(5.6)


def test_one_dim_day_or_days_at_seven_tenths_ask_for_nothing() -> None:
    assert told(observed(rooted(), {"ppfd": days(9, 5.5, 9, 5.5, 9)})) == []
    assert told(observed(rooted(), {"ppfd": days(9, 5.61, 5.61, 5.61)})) == []


def test_one_day_above_half_as_much_again_is_too_bright_for_cuttings_without_roots() -> None:
    found = observed(bare(), {"ppfd": days(9, 15.5, 9)})
    assert told(found) == [
        (MIDNIGHTS[1], DAILY_LIGHT_OFF, "raised"),
        (MIDNIGHTS[2], DAILY_LIGHT_OFF, "returned"),
    ]
    assert found[0].value == pytest.approx(15.5)
    assert found[0].threshold == pytest.approx(15.0)
    assert told(observed(bare(), {"ppfd": days(9, 14.9, 9)})) == []


def test_dim_days_are_no_harm_before_there_are_roots_and_bright_ones_none_after() -> None:
    assert told(observed(bare(), {"ppfd": days(9, 2, 2, 2)})) == []
    assert told(observed(rooted(), {"ppfd": days(9, 30, 30)})) == []


def test_lux_count_by_the_factor_of_the_lamp_and_not_at_all_without() -> None:
    lux = {"illuminance": [70 * one for one in days(9, 5.5, 5.5)]}
    (found,) = observed(rooted(lux_per_umol=70.0), lux)
    assert found.evidence is not None
    assert "(an estimate by {} lx per µmol)" in found.evidence.words
    assert found.evidence.figures[-1].number == 70.0
    assert told(observed(rooted(), lux)) == []
    assert told(observed(rooted(lux_per_umol=70.0), {"ppfd": days(9, 5.5, 5.5)})) == []


def test_days_that_were_seen_too_little_say_nothing_and_change_nothing() -> None:
    dim = days(9, 5.5, 5.5, 5.5)
    holes = [*dim]
    holes[MIDNIGHTS[1] + 100 : MIDNIGHTS[1] + 260] = [math.nan] * 160
    assert told(observed(rooted(), {"ppfd": holes})) == []
    stands = [*days(9, 5.5, 5.5, 9), *days(9, 5.5)[-100:]]
    stands[MIDNIGHTS[2] + 100 : MIDNIGHTS[2] + 260] = [math.nan] * 160
    assert [one[2] for one in told(observed(rooted(), {"ppfd": stands}))] == ["raised"]


def test_what_was_not_seen_is_never_held_against_the_lamp() -> None:
    """A tenth of an evenly lit day: what was seen is 5.2, the whole may have been 5.7."""
    dim = days(9, 5.7, 5.7)
    for midnight in MIDNIGHTS[:2]:
        dim[midnight + 100 : midnight + 240] = [math.nan] * 140
    assert told(observed(rooted(), {"ppfd": dim})) == []


def test_where_a_band_judges_the_daily_light_its_own_alarm_tells() -> None:
    banded = stage("rooting", daily_light_integral=low(8.0))
    spans = (StageSpan(0, stage("callusing")), StageSpan(1, replace(banded, aims=AIMED)))
    assert told(observed(rooted(spans=spans), {"ppfd": days(9, 2, 2)})) == []


def test_without_an_aim_or_before_sticking_nothing_is_off() -> None:
    spans = (StageSpan(0, stage("callusing")), StageSpan(1, stage("rooting")))
    assert told(observed(rooted(spans=spans), {"ppfd": days(9, 0, 0)})) == []
    later = (StageSpan(NOON_MS + MIDNIGHTS[2] * MINUTE_MS, BARE[0].stage),)
    assert told(observed(bare(spans=later), {"ppfd": days(9, 30, 30, 9)})) == []


def test_days_are_those_of_the_zone() -> None:
    """In Kolkata, 5 h 30 min ahead, a day ends at 18:30 of universal time."""
    bright = [one / 0.0864 for one in (9, 16, 9) for _ in range(390 if one == 9 else DAY)]
    found = observed(bare(zone=ZoneInfo("Asia/Kolkata")), {"ppfd": bright})
    assert told(found) == [(390 + DAY, DAILY_LIGHT_OFF, "raised")]
