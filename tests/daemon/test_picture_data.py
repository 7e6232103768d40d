"""What a picture shows: every excursion, the bands behind it, alarms from raise to return, care, and what is unknown."""

from dataclasses import replace

import numpy as np
import pytest
from pictured import (
    DAY_MS,
    MINUTE_MS,
    SPAN,
    START_MS,
    TRAY,
    day,
    entry,
    mark,
    pictured,
    with_value,
    without_minutes,
)

from wardian.daemon.picture import AlarmShown, Curve, Picture
from wardian.daemon.picture_data import Told, picture_of
from wardian.daemon.tongue import Tongue
from wardian.rules.air import vapour_pressure_deficit_kpa
from wardian.rules.plans import Masses
from wardian.rules.uncertainty import expanded_uncertainty


def curve_of(picture: Picture, quantity: str) -> Curve:
    return next(one for panel in picture.panels for one in panel.curves if one.quantity == quantity)


def at(minute: int) -> int:
    return START_MS + minute * MINUTE_MS


def test_one_warm_reading_is_in_the_picture() -> None:
    picture = pictured(with_value(day(), "air_temperature", 700, 31.5))
    assert np.nanmax(curve_of(picture, "air_temperature").columns.high) == 31.5


def test_the_bands_of_each_stage_lie_behind_from_when_to_when_they_hold() -> None:
    rooting_ms = START_MS + 7 * DAY_MS
    span = (rooting_ms - DAY_MS, rooting_ms + DAY_MS)
    picture = picture_of(TRAY, Told(day(), (), {}), span, Tongue(TRAY.plan.zone))
    callusing, rooting = curve_of(picture, "air_temperature").bands
    assert (callusing.from_ms, callusing.to_ms, rooting.from_ms, rooting.to_ms) == (
        span[0],
        rooting_ms,
        rooting_ms,
        span[1],
    )
    assert [one.name for one in picture.stages] == ["callusing", "rooting"]
    assert (rooting.band.threshold("low_low"), rooting.band.threshold("high")) == (15, 24)


def test_a_deficit_has_its_uncertainty_around_it() -> None:
    curve = curve_of(pictured(day()), "vapour_pressure_deficit")
    value = vapour_pressure_deficit_kpa(25.0, 95.0)
    spread = expanded_uncertainty("vapour_pressure_deficit", [25.0, 95.0], TRAY.plan.accuracies)
    assert spread is not None
    assert curve.columns.low[100] == pytest.approx(value, abs=1e-12)
    assert curve.doubt is not None
    assert curve.doubt.high[100] == pytest.approx(value + spread, abs=1e-12)
    assert curve.doubt.low[100] == pytest.approx(max(value - spread, 0), abs=1e-12)


def test_humidity_above_saturation_is_drawn_as_saturated() -> None:
    picture = pictured(with_value(day(), "relative_humidity", 60, 103.0))
    assert np.nanmax(curve_of(picture, "relative_humidity").columns.high) == 100.0


def test_silence_is_unknown_from_when_the_last_reading_stands_no_longer() -> None:
    curve = curve_of(pictured(without_minutes(day(), "air_temperature", 600, 700)), "air_temperature")
    assert curve.unknown == ((at(604), at(700)),)
    assert np.isnan(curve.columns.high).sum() > 30


def test_a_sensor_that_was_promised_and_never_heard_has_a_panel_that_is_all_unknown() -> None:
    curve = curve_of(pictured({}), "air_temperature")
    assert curve.unknown == (SPAN,)
    assert "unknown all the time" in pictured({}).words


def test_an_alarm_is_drawn_from_its_raise_to_its_return() -> None:
    picture = pictured(day(), [entry(60, "raised"), entry(90, "acknowledged"), entry(200, "returned")])
    assert picture.alarms == (
        AlarmShown("air-too-warm", "medium", "air_temperature", at(60), at(200), stands=False),
    )


def test_an_alarm_from_before_the_picture_that_stands_covers_all_of_it() -> None:
    picture = pictured(day(), [entry(-5000, "raised")])
    assert [(one.from_ms, one.to_ms, one.stands) for one in picture.alarms] == [(*SPAN, True)]


def test_what_returned_before_or_was_raised_after_the_picture_is_not_in_it() -> None:
    entries = [entry(-500, "raised"), entry(-400, "returned"), entry(1500, "raised")]
    assert pictured(day(), entries).alarms == ()


def test_a_return_whose_raise_lies_further_back_covers_what_is_before_it() -> None:
    picture = pictured(day(), [entry(200, "returned")])
    assert [(one.from_ms, one.to_ms, one.stands) for one in picture.alarms] == [(SPAN[0], at(200), False)]
    later = pictured(day(), [entry(1500, "returned")])
    assert [(one.from_ms, one.to_ms, one.stands) for one in later.alarms] == [(*SPAN, True)]


def test_the_alarms_of_another_tray_are_not_in_it() -> None:
    assert pictured(day(), [entry(60, "raised", tray="tray-b")]).alarms == ()


def test_care_is_marked_within_the_picture_alone() -> None:
    marks = (mark(-1), mark(5), mark(1440))
    assert pictured(day(), (), marks).marks == (mark(5),)


def test_light_is_told_by_lit_spans_and_by_the_hours_of_each_day() -> None:
    chunk = without_minutes(day(), "illuminance", 1080, 1440)
    light = pictured(chunk).light
    assert light is not None
    assert light.lit == ((at(0), at(1084)),)
    assert light.unknown == ((at(1084), SPAN[1]),)
    assert [round(one.lit_h, 2) for one in light.days] == [18.07]


def test_a_tray_on_a_balance_shows_the_water_it_has_lost_in_place_of_its_mass() -> None:
    weighed = replace(TRAY, plan=replace(TRAY.plan, masses=(Masses(0, 3000, 1000),)))
    picture = pictured(day(tray_mass=2500), tray=weighed)
    assert curve_of(picture, "water_lost").columns.low[0] == pytest.approx(25)
    assert "mass" not in [panel.name for panel in picture.panels]
    assert "mass" in [panel.name for panel in pictured(day(tray_mass=2500)).panels]


def test_its_words_say_what_can_be_seen() -> None:
    picture = pictured(day(), [entry(60, "raised")], (mark(5),), fahrenheit=True)
    assert picture.title == "tray-a: coleus, Tue 3 Mar 00:00 to Wed 4 Mar 00:00"
    assert "Air under the cover: 77.0 to 77.0 °F." in picture.words
    assert "air-too-warm (medium) from Tue 3 Mar 01:00 and it stands" in picture.words


def test_a_picture_of_no_time_is_refused() -> None:
    with pytest.raises(ValueError, match="its end is not after its beginning"):
        picture_of(TRAY, Told({}, (), {}), (5, 5), Tongue(TRAY.plan.zone))
