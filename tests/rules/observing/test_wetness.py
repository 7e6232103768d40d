"""Too much water in the air and in the medium, and a medium that dries too fast."""

import math
from dataclasses import replace

from case_terms import stage
from cases_of_conditions import observed, planned, told
from minute_by_minute import NOON_MS, course, ramp

from wardian.rules.crops import StageSpan
from wardian.rules.observing.looks import MISTED, Care
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.plans import Masses

HOUR, DAY = 60, 24 * 60
HUMIDITY, MASS = "relative_humidity", "tray_mass"
ROOTED = (StageSpan(0, stage("callusing")), StageSpan(1, stage("rooting")))


FULL_AND_DRY = Masses(0, 3000, 1200)


def mistings(*minutes: int) -> list[Care]:
    return [Care(MISTED, NOON_MS + at * MINUTE_MS, NOON_MS + (at + 1) * MINUTE_MS) for at in minutes]


def test_two_days_without_a_dry_spell_are_too_long_before_roots_and_one_is_after() -> None:
    wet = {HUMIDITY: course((2 * DAY + HOUR, 96))}
    assert told(observed(planned("wet-too-long"), wet)) == [(2 * DAY, "wet-too-long", "raised")]
    assert told(observed(planned("wet-too-long", spans=ROOTED), wet)) == [(DAY, "wet-too-long", "raised")]


def test_a_crop_that_wants_it_dry_is_wet_too_long_in_half_the_time() -> None:
    wet = {HUMIDITY: course((2 * DAY, 96))}
    dry = replace(planned("wet-too-long"), is_dry=True)
    assert told(observed(dry, wet)) == [(DAY, "wet-too-long", "raised")]
    rooted = replace(planned("wet-too-long", spans=ROOTED), is_dry=True)
    assert told(observed(rooted, wet)) == [(12 * HOUR, "wet-too-long", "raised")]


def test_dry_minutes_that_add_up_to_a_spell_are_enough_and_end_it() -> None:
    of = planned("wet-too-long", spans=ROOTED)
    aired = course((10 * HOUR, 96), (8, 80), (10 * HOUR, 96), (7, 80))
    assert told(observed(of, {HUMIDITY: aired * 3})) == []
    late = course((DAY + HOUR, 93), (14, 92.9), (HOUR, 93))
    assert told(observed(of, {HUMIDITY: late})) == [(DAY, "wet-too-long", "raised")]
    later = course((DAY + HOUR, 93), (15, 92.9), (HOUR, 93))
    assert [event for _, _, event in told(observed(of, {HUMIDITY: later}))] == ["raised", "returned"]


def test_nothing_is_said_of_wet_air_where_a_tenth_of_the_time_is_unknown() -> None:
    holes = [*course((4 * HOUR, 96)), *[math.nan] * 3 * HOUR] * 4
    assert told(observed(planned("wet-too-long", spans=ROOTED), {HUMIDITY: holes})) == []


def test_wet_air_is_seen_with_a_reading_in_five_minutes() -> None:
    found = observed(planned("wet-too-long", spans=ROOTED), {HUMIDITY: course((DAY + HOUR, 96))}, every=5)
    assert len(told(found)) == 1


def test_a_fifth_misting_within_a_day_is_one_too_many() -> None:
    of, air = planned("over-misted"), {HUMIDITY: course((2 * DAY, 95))}
    four = mistings(60, 240, 480, 720)
    assert told(observed(of, air, four)) == []
    found = observed(of, air, [*four, *mistings(900)])
    assert [event for _, _, event in told(found)] == ["raised", "returned"]
    assert found[0].evidence is not None
    assert [figure.number for figure in found[0].evidence.figures] == [5, 86_400_000]


def test_mist_whose_mass_is_on_record_is_too_much_by_the_day() -> None:
    of, air = planned("over-misted"), {HUMIDITY: course((2 * DAY, 95))}
    heavy = [one._replace(grams=90.0) for one in mistings(60, 240)]
    assert [event for _, _, event in told(observed(of, air, heavy))] == ["raised", "returned"]
    assert told(observed(of, air, [one._replace(grams=80.0) for one in heavy])) == []


def test_a_tray_that_is_heavier_on_each_of_three_days_is_over_misted() -> None:
    of = planned("over-misted")
    assert [one[1:] for one in told(observed(of, {MASS: ramp(3 * DAY + HOUR, 3000, 3045)}))] == [
        ("over-misted", "raised")
    ]
    assert told(observed(of, {MASS: ramp(3 * DAY + HOUR, 3000, 3025)})) == []
    watered = [*ramp(2 * DAY, 3000, 2950), *ramp(DAY + HOUR, 3200, 3150)]
    assert told(observed(of, {MASS: watered})) == []


def test_a_tray_that_stays_much_heavier_than_full_and_drained_is_over_misted() -> None:
    of = replace(planned("over-misted"), masses=(FULL_AND_DRY,))
    # Full is 3000 g, 1800 g of that are water: 5 % of it above full is 3090 g.
    over = course((7 * HOUR, 3091), (HOUR, 3080))
    found = observed(of, {MASS: over})
    assert told(found) == [(6 * HOUR, "over-misted", "raised"), (7 * HOUR + 30, "over-misted", "returned")]
    assert found[0].evidence is not None
    assert [figure.number for figure in found[0].evidence.figures] == [6 * HOUR * MINUTE_MS, 91]
    assert told(observed(of, {MASS: course((8 * HOUR, 3090))})) == []
    assert told(observed(planned("over-misted"), {MASS: over})) == []


def test_a_watering_that_drains_is_no_overfull_tray() -> None:
    of = replace(planned("over-misted"), masses=(FULL_AND_DRY,))
    draining = [*course((HOUR, 2600)), *ramp(5 * HOUR, 3500, 3091), *course((9 * HOUR, 3020))]
    assert told(observed(of, {MASS: draining})) == []


def drying(*hourly: tuple[int, float]) -> list[float]:
    """Return a weight that falls by so many grams an hour for so many hours, part after part."""
    mass, trace = 3200.0, []
    for hours, grams in hourly:
        trace += ramp(hours * HOUR, mass, mass - hours * grams)
        mass -= hours * grams
    return trace


def test_a_tray_that_loses_water_several_times_as_fast_for_hours_dries_fast() -> None:
    of = planned("drying-fast")
    found = told(observed(of, {MASS: drying((20, 1.5), (4, 8), (6, 1.5))}))
    assert [event for _, _, event in found] == ["raised", "returned"]
    assert 21 * HOUR < found[0][0] <= 22 * HOUR + 30


def test_day_and_night_or_too_few_grams_or_too_little_history_are_no_fast_drying() -> None:
    of = planned("drying-fast")
    assert told(observed(of, {MASS: drying((12, 2), (12, 5), (12, 2), (12, 5))})) == []
    assert told(observed(of, {MASS: drying((20, 0.5), (4, 3.9))})) == []
    assert told(observed(of, {MASS: drying((8, 1.5), (2, 9))})) == []


def test_what_was_usual_in_another_stage_does_not_count() -> None:
    toned_ms = NOON_MS + 20 * HOUR * MINUTE_MS
    spans = (StageSpan(0, stage("rooting")), StageSpan(toned_ms, stage("toning")))
    assert told(observed(planned("drying-fast", spans=spans), {MASS: drying((20, 1.5), (9, 8))})) == []


def test_nor_does_what_was_usual_before_a_stage_was_advanced_and_set_back() -> None:
    rooting, toning = stage("rooting"), stage("toning")
    begun = zip((0, 19 * HOUR, 20 * HOUR), (rooting, toning, rooting), strict=True)
    spans = [StageSpan(NOON_MS + minute * MINUTE_MS, of) for minute, of in begun]
    assert told(observed(planned("drying-fast", spans=spans), {MASS: drying((20, 1.5), (9, 8))})) == []


def test_an_hour_with_care_says_nothing_about_drying() -> None:
    of = planned("drying-fast")
    care = mistings(21 * HOUR + 30)
    assert told(observed(of, {MASS: drying((20, 1.5), (2, 8), (3, 1.5))}, care)) == []
