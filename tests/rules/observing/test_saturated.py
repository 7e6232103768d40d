"""A wet humidity probe, and air that is saturated indeed."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from minute_by_minute import NOON_MS, course, ramp, with_noise
from watching import by_minute, watch, watch_in_pieces

from wardian.rules.evidence import Evidence, moment, span, value
from wardian.rules.observing.looks import LIFTED, MISTED, Care
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.observing.saturated import SensorSaturated

HUMIDITY, MASS = "relative_humidity", "tray_mass"
NAN = float("nan")
SATURATED = [SensorSaturated]
MOIST = with_noise(course((60, 94.0)), 0.2)
#: From noon on moist for an hour, then at its end for ten hours, then moist again.
FULL = [*MOIST, *course((600, 100.0)), *MOIST]


def care(at: int, event: str = LIFTED) -> list[Care]:
    return [Care(event, NOON_MS + at * MINUTE_MS, NOON_MS + (at + 4) * MINUTE_MS)]


def test_humidity_at_its_end_for_six_hours_that_passed_over_a_lifted_cover_is_a_wet_probe() -> None:
    told = watch(SATURATED, {HUMIDITY: FULL}, care(200))
    assert by_minute(told) == [(420, "raised"), (690, "returned")]
    words = "it has shown {} or more for {}, and did not dip when the cover was lifted at {}"
    figures = value(HUMIDITY, 99), span(360 * MINUTE_MS), moment(NOON_MS + 200 * MINUTE_MS)
    assert told[0].evidence == Evidence(words, figures)
    assert told[0].since_ms == NOON_MS + 60 * MINUTE_MS


def test_a_lift_after_six_hours_tells_a_quarter_of_an_hour_later() -> None:
    assert by_minute(watch(SATURATED, {HUMIDITY: FULL}, care(500)))[0] == (520, "raised")


@pytest.mark.parametrize(("minutes", "count"), [(350, 0), (360, 1)])
def test_less_than_six_hours_is_no_wet_probe(minutes: int, count: int) -> None:
    told = watch(SATURATED, {HUMIDITY: [*MOIST, *course((minutes, 99.0)), *MOIST]}, care(200))
    assert [one.event for one in told][:1] == ["raised"] * count


def test_humidity_just_below_its_end_is_no_wet_probe() -> None:
    assert watch(SATURATED, {HUMIDITY: [*MOIST, *course((600, 98.9))]}, care(200)) == []


@pytest.mark.parametrize("lifts", [[], care(30), care(655), care(200, MISTED)])
def test_without_a_lift_in_that_time_nobody_can_tell(lifts: list[Care]) -> None:
    assert watch(SATURATED, {HUMIDITY: FULL}, lifts) == []


def test_saturated_air_that_dips_at_each_airing_is_no_wet_probe() -> None:
    airs = [*course((180, 100.0)), 90.0, 80.0, 75.0, *ramp(17, 75, 100)] * 6
    assert watch(SATURATED, {HUMIDITY: airs}) == []


def test_the_balance_tells_of_the_lift() -> None:
    masses = course((200, 3000), (4, 2700), (600, 3000))
    told = watch(SATURATED, {HUMIDITY: FULL, MASS: masses})
    assert by_minute(told)[0] == (420, "raised")


def test_a_wet_probe_that_falls_silent_stays_wet_until_it_shows_less() -> None:
    traces = {HUMIDITY: [*MOIST, *course((400, 100), (120, NAN)), *MOIST]}
    assert by_minute(watch(SATURATED, traces, care(200))) == [(420, "raised"), (590, "returned")]


def test_a_silent_probe_is_not_wet() -> None:
    assert watch(SATURATED, {HUMIDITY: [*MOIST, *course((600, NAN), (60, 100.0))]}, care(200)) == []


def test_a_wet_probe_read_every_five_minutes_is_found_too() -> None:
    assert [one.event for one in watch(SATURATED, {HUMIDITY: FULL}, care(200), every=5)] == [
        "raised",
        "returned",
    ]


@settings(max_examples=20, deadline=None)
@given(cuts=st.lists(st.integers(1, 700), max_size=5))
def test_the_same_is_told_however_readings_are_cut(cuts: list[int]) -> None:
    traces = {HUMIDITY: FULL, MASS: course((200, 3000), (4, 2700), (516, 3000))}
    assert len(watch(SATURATED, traces)) == 2
    assert watch_in_pieces(SATURATED, traces, cuts) == watch(SATURATED, traces)
