"""The facts of trays whose minutes were written by hand, and that a stage's hours make up all of its time."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from still_trays import BEGIN_MS, CROP, DAY, HOUR, MINUTE_MS, ground, healthy, plan_of, put, stuck_at

from wardian.rules.crops import Aim, Band, Crop, Limit, Stage
from wardian.rules.observing.looks import LIFTED, MISTED, WATERED, Care
from wardian.rules.plans import Masses
from wardian.rules.postmortem.bands import Longest, StageTime, stage_times
from wardian.rules.postmortem.blindness import blindness, unsafe_findings
from wardian.rules.postmortem.facts import Facts, Heard, facts
from wardian.rules.postmortem.ground import Ground
from wardian.rules.postmortem.harm import CHILLED, TOO_COLD, TOO_DRY_AIR, TOO_HOT


def time_of(grown: Ground, stage: str, quantity: str) -> StageTime:
    (one,) = [time for time in stage_times(grown) if (time.stage, time.quantity) == (stage, quantity)]
    return one


def of(grown: Ground) -> Facts:
    return facts(grown, Heard(), 10.0)


def at_ms(minute: int) -> int:
    return BEGIN_MS + minute * MINUTE_MS


def test_a_stage_says_its_hours_and_its_longest_time_beyond_with_its_clock_time() -> None:
    minutes = put(healthy(9), "medium_temperature", slice(100, 160), 19.5)
    minutes = put(minutes, "medium_temperature", slice(1000, 1300), 20.0)
    minutes = put(minutes, "medium_temperature", slice(2000, 2120), 26.0)
    minutes = put(minutes, "medium_temperature", slice(3000, 3030), np.nan)
    one = time_of(ground(minutes), "callusing", "medium_temperature")
    assert (one.below_h, one.above_h, one.unknown_h) == (6.0, 2.0, 0.5)
    assert one.within_h == 7 * 24 - 8.5
    assert one.longest == Longest("below", (at_ms(1000), at_ms(1300)), 20.0)


@given(
    st.lists(st.sampled_from([np.nan, 15.0, 21.0, 23.0, 25.0, 30.0]), min_size=1, max_size=60),
    st.integers(1, 400),
)
def test_the_hours_of_a_stage_make_up_its_time(values: list[float], each: int) -> None:
    minutes = {"medium_temperature": np.repeat([23.0, *values], each)}
    times = [time for time in stage_times(ground(minutes)) if time.quantity == "medium_temperature"]
    for time in times:
        whole = time.within_h + time.above_h + time.below_h + time.unknown_h
        assert whole == pytest.approx((time.span[1] - time.span[0]) / 3_600_000)
    assert sum(time.span[1] - time.span[0] for time in times) == (len(values) + 1) * each * MINUTE_MS


def test_a_quantity_that_nothing_measures_is_told_only_where_it_should_have_been_measured() -> None:
    assert all(time.quantity != "water_lost" for time in stage_times(ground(healthy(9))))


def test_water_lost_has_its_hours_where_somebody_said_what_the_tray_weighs() -> None:
    wanted = {"water_lost": Aim(None, 33.0)}
    crop = Crop("fern", (Stage("callusing", 0, aims=wanted),))
    weighed = replace(plan_of(crop), masses=(Masses(BEGIN_MS, 3000.0, 1200.0),))
    minutes = put(healthy(2), "tray_mass", slice(0, DAY), 2100.0)
    assert stage_times(ground(minutes, crop=crop)) == []
    (one,) = stage_times(ground(minutes, crop=crop, plan=weighed))
    assert (one.above_h, one.within_h) == (24.0, 24.0)
    assert one.longest is not None
    assert one.longest.span == (at_ms(0), at_ms(DAY))
    assert one.longest.worst == pytest.approx(50.0)


def test_the_first_three_days_are_told_apart_from_the_rest() -> None:
    minutes = put(healthy(6), "relative_humidity", slice(600, 700), 50.0)
    minutes = put(minutes, "relative_humidity", slice(4 * DAY, 4 * DAY + 300), 50.0)
    minutes = put(minutes, "medium_temperature", slice(0, 90), 18.0)
    off = np.zeros(6 * DAY)
    off[[600, 601, 5 * DAY]] = 1
    care = [
        Care(LIFTED, at_ms(600), at_ms(602)),
        Care(MISTED, at_ms(601), at_ms(602)),
        Care(WATERED, at_ms(5 * DAY), 0),
    ]
    first = of(ground(minutes, cover_off=off, care=care)).first
    # The dry noons of a healthy tray are 20 minutes each, and above the deficit that is wanted.
    assert (first.dry_air_min, first.cover_off_min, first.too_cold_h) == (100 + 3 * 20, 2, 1.5)
    assert (first.airings, first.mistings, first.waterings) == (1, 1, 0)


def test_warmth_is_counted_above_the_crops_base_and_only_while_it_was_known() -> None:
    minutes = put(healthy(2), "medium_temperature", slice(0, DAY), np.nan)
    warmth = of(ground(minutes)).warmth
    assert warmth is not None
    assert warmth.degree_h == pytest.approx(13.0 * 24)
    assert warmth.known_h == 24.0


def test_wet_hours_and_the_longest_wet_time_are_told() -> None:
    wetness = of(ground(put(healthy(3), "relative_humidity", slice(0, 2 * HOUR), 98.0))).wetness
    assert wetness.sodden_h == 2.0
    assert wetness.wet_h == pytest.approx(3 * 24 - 1.0)
    assert wetness.longest == (at_ms(12 * HOUR + 20), at_ms(DAY + 12 * HOUR))


def test_light_is_told_day_by_day() -> None:
    days = of(ground(put(healthy(3), "illuminance", slice(DAY, 2 * DAY), np.nan))).light
    assert [(day.lit_h, day.unknown_h) for day in days] == [(18.0, 0.0), (0.0, 24.0), (18.0, 0.0)]


def test_the_water_curve_has_a_value_a_day_and_says_when_it_is_estimated() -> None:
    minutes = healthy(3)
    minutes["tray_mass"] = np.linspace(3000.0, 2000.0, 3 * DAY)
    told = of(ground(minutes))
    assert told.is_water_estimated
    assert [round(day.lost or 0, 2) for day in told.water] == [0.19, 0.37, 0.56]
    assert [round(day.change_g or 0) for day in told.water] == [-333, -333, -333]
    assert told.water[2].too_dry_h == 24.0


def test_what_was_not_seen_is_told_by_quantity_and_makes_what_hangs_on_it_unsafe() -> None:
    minutes = put(healthy(4), "relative_humidity", slice(0, 30 * HOUR), np.nan)
    grown = stuck_at(ground(minutes), "medium_temperature", slice(DAY, 2 * DAY))
    blind = {one.quantity: one for one in blindness(grown, {"air_temperature": 7})}
    assert blind["relative_humidity"].unknown_h == 30.0
    assert blind["medium_temperature"].stuck_h == 24.0
    assert blind["air_temperature"].refused == 7
    unsafe = unsafe_findings(list(blind.values()))
    assert {TOO_COLD, CHILLED, TOO_HOT, TOO_DRY_AIR} <= unsafe


def test_what_a_crop_wants_only_where_it_is_measured_is_not_missed() -> None:
    bands = {name: Band(name, (Limit("low", 10.0, 11.0, 0, 0),)) for name in ("medium_moisture", "ppfd")}
    stage = Stage("callusing", 0, bands, optional=frozenset({"medium_moisture"}))
    blind = {one.quantity for one in blindness(ground(healthy(2), crop=Crop("fern", (stage,))), {})}
    assert "ppfd" in blind
    assert "medium_moisture" not in blind


def test_humidity_at_its_end_through_a_lifted_cover_is_no_humidity() -> None:
    minutes = put(healthy(4), "relative_humidity", slice(0, 10 * HOUR), 99.5)
    lift = Care(LIFTED, at_ms(5 * HOUR), at_ms(5 * HOUR + 5))
    quiet, lifted = (blindness(ground(minutes, care=care), {}) for care in ((), (lift,)))
    assert [one.saturated_h for one in quiet if one.quantity == "relative_humidity"] == [0.0]
    assert [one.saturated_h for one in lifted if one.quantity == "relative_humidity"] == [10.0]


def test_a_crop_of_which_nobody_says_what_it_wants_still_has_facts() -> None:
    told = of(ground(healthy(3), crop=Crop("fern", (Stage("rooting", 0),))))
    assert told.stages == ()
    assert told.wetness.wet_h > 0


def test_what_is_told_by_day_ends_with_the_last_reading() -> None:
    minutes = {
        name: np.concatenate([values, np.full(5 * DAY, np.nan)]) for name, values in healthy(3).items()
    }
    told = of(ground(minutes))
    assert (len(told.light), len(told.care), len(told.water)) == (3, 3, 3)
    assert told.last_ms == at_ms(3 * DAY)
    assert told.wetness.unknown_h == 5 * 24.0


def test_a_silence_after_toning_began_makes_nothing_before_it_unsafe() -> None:
    minutes = {
        name: np.concatenate([values, np.full(40 * DAY, np.nan)]) for name, values in healthy(15).items()
    }
    assert unsafe_findings(blindness(ground(minutes), {})) == frozenset()


def test_a_batch_that_was_never_seen_has_facts_that_say_so() -> None:
    nothing = {name: np.full(DAY, np.nan) for name in healthy(1)}
    told = of(ground(nothing, crop=CROP))
    assert all(time.unknown_h == 24.0 for time in told.stages)
    assert told.wetness.longest is None
