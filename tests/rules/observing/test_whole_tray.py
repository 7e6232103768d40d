"""What befalls all probes of a tray at once."""

from collections.abc import Mapping

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from minute_by_minute import NOON_MS, course, with_noise
from watching import by_minute, watch, watch_in_pieces

from wardian.rules.evidence import Evidence, difference, moment, number, span
from wardian.rules.observing.looks import ConditionMaker
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.observing.whole_tray import PowerReturned, TrayJumped

AIR, MEDIUM, HUMIDITY, MASS = "air_temperature", "medium_temperature", "relative_humidity", "tray_mass"
LIGHT = "illuminance"
NAN = float("nan")
RETURNED, JUMPED = [PowerReturned], [TrayJumped]
BOTH: list[ConditionMaker] = [PowerReturned, TrayJumped]


# Silence


def gap(minutes: int) -> list[float]:
    return course((60, 24), (minutes, NAN), (300, 22))


def test_a_tray_that_is_read_again_after_hours_had_no_power() -> None:
    told = watch(RETURNED, {AIR: gap(200), MASS: gap(200)})
    # A reading stands for five minutes: known until 13:04, and again from 16:20 on.
    assert by_minute(told) == [(261, "raised"), (501, "returned")]
    figures = span(197 * MINUTE_MS), moment(NOON_MS + 64 * MINUTE_MS)
    assert told[0].evidence == Evidence("nothing was read of this tray for {}, from {} on", figures)


@pytest.mark.parametrize(("minutes", "count"), [(123, 0), (124, 2)])
def test_two_hours_without_a_reading_are_the_limit(minutes: int, count: int) -> None:
    # Of which the last reading stands for the first three minutes and a bit.
    assert len(watch(RETURNED, {AIR: gap(minutes)})) == count


def test_one_probe_that_goes_on_means_that_there_was_power() -> None:
    assert watch(RETURNED, {AIR: gap(200), MASS: course((560, 3000))}) == []


def test_the_first_reading_of_all_ends_no_silence() -> None:
    assert watch(RETURNED, {AIR: course((60, 24))}) == []


def test_any_value_that_comes_back_is_a_sign_of_power() -> None:
    traces = {AIR: course((60, 24)), MASS: course((600, NAN), (60, 3000))}
    assert by_minute(watch(RETURNED, traces)) == [(601, "raised")]


def test_a_tray_that_stays_silent_is_not_back() -> None:
    assert watch(RETURNED, {AIR: course((60, 24), (400, NAN))}) == []


def test_a_probe_read_every_five_minutes_is_not_silent_in_between() -> None:
    assert watch(RETURNED, {AIR: course((900, 24))}, every=5) == []


# Jumps


def jump(
    medium: float, air: float = 2.0, humidity: float = -10.0, mass: float | None = -200.0
) -> Mapping[str, list[float]]:
    """All values rest for an hour, and rest elsewhere after it."""
    steps = {MEDIUM: (24.0, medium), AIR: (23.0, air), HUMIDITY: (90.0, humidity), MASS: (3000.0, mass)}
    return {
        quantity: with_noise(course((60, level), (120, level + step)), 0.05)
        for quantity, (level, step) in steps.items()
        if step is not None
    }


def test_values_that_all_step_at_one_time_are_one_jump_of_the_tray() -> None:
    told = watch(JUMPED, jump(3.0))
    # It is seen for three minutes, and stands for an hour after that.
    assert by_minute(told) == [(61, "raised"), (123, "returned")]
    assert told[0].evidence is not None
    words = "all {} values of this tray jumped at one time, the medium by {} within minutes"
    assert told[0].evidence.words == words
    count, by = told[0].evidence.figures
    assert count == number(4)
    assert by.number == pytest.approx(3.0, abs=0.2)
    assert by._replace(number=0.0) == difference(MEDIUM, 0.0)


@pytest.mark.parametrize(("medium", "count"), [(1.8, 0), (2.2, 2), (-3.8, 0), (-4.2, 2)])
def test_the_medium_must_do_what_neither_heat_nor_water_can(medium: float, count: int) -> None:
    assert len(watch(JUMPED, jump(medium))) == count


@pytest.mark.parametrize("rests", [{"air": 0.0}, {"humidity": 0.0}, {"mass": 0.0}])
def test_one_value_that_rests_means_that_the_tray_did_not_jump(rests: dict[str, float]) -> None:
    assert watch(JUMPED, jump(3.0, **rests)) == []


def test_two_values_are_too_few() -> None:
    two = {quantity: values for quantity, values in jump(3.0).items() if quantity in {AIR, MEDIUM}}
    assert watch(JUMPED, two) == []
    assert len(watch(JUMPED, jump(3.0, mass=None))) == 2


def test_the_light_may_do_what_it_likes() -> None:
    assert len(watch(JUMPED, {**jump(3.0), LIGHT: course((180, 5000))})) == 2


def test_a_watering_with_cold_water_is_no_jump() -> None:
    assert watch(JUMPED, jump(-2.5, air=-2.0, humidity=-20.0, mass=-300.0)) == []


def test_values_that_step_an_hour_apart_did_not_jump_together() -> None:
    later = {MEDIUM: course((120, 24), (120, 27))}
    assert watch(JUMPED, {**jump(3.0), **later}) == []


def test_an_unknown_value_is_not_asked() -> None:
    assert len(watch(JUMPED, {**jump(3.0), "leaf_temperature": course((20, 23), (160, NAN))})) == 2


@settings(max_examples=20, deadline=None)
@given(cuts=st.lists(st.integers(1, 500), max_size=5))
def test_the_same_is_told_however_readings_are_cut(cuts: list[int]) -> None:
    traces = {name: [*values, *course((200, NAN), (60, values[-1]))] for name, values in jump(3.0).items()}
    assert len(watch(BOTH, traces)) == 3
    assert watch_in_pieces(BOTH, traces, cuts) == watch(BOTH, traces)
