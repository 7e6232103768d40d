"""Probes that jump, and two that speak under one name."""

from functools import partial

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from minute_by_minute import NOON_MS, TRAY, course, ramp, read_by, with_noise
from watching import by_minute, watch, watch_in_pieces, watched_plan

from wardian.rules.evidence import Evidence, difference, moment, number, span
from wardian.rules.observing.jumps import JUMPING, SensorJumping, SensorsDisagree
from wardian.rules.observing.looks import ALCOHOL, Care, ConditionMaker
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.observing.observer import Observer
from wardian.rules.readings import Series

AIR, MEDIUM, HUMIDITY = "air_temperature", "medium_temperature", "relative_humidity"
NAN = float("nan")
AIR_JUMPS = [partial(SensorJumping, AIR)]
BOTH: list[ConditionMaker] = [partial(SensorJumping, AIR), partial(SensorsDisagree, AIR)]
AIRS, HUMIDITIES = [partial(SensorsDisagree, AIR)], [partial(SensorsDisagree, HUMIDITY)]
#: A day under a cover, as humidity shows it: an airing every two hours.
AIRINGS = [*course((100, 95)), 84, 70, 62, 60, 68, 75, 80, *ramp(13, 83, 94)] * 6


def spikes(*at: int, size: float = 12.0, minutes: int = 300) -> list[float]:
    """Air at 24 with single false values."""
    return [24.0 + size * (place in at) for place in range(minutes)]


def turns(minutes: int, off: float, seed: int = 1, level: float = 24.0) -> list[float]:
    """Two probes of which chance says which answers."""
    other = np.random.default_rng(seed).random(minutes) < 0.5
    return list(level + off * other)


# Jumps


def test_two_false_values_in_an_hour_are_a_probe_that_jumps() -> None:
    told = watch(AIR_JUMPS, {AIR: spikes(60, 100)})
    # Returned an hour after the last.
    assert by_minute(told) == [(105, "raised"), (165, "returned")]
    words = "it jumped {} times within a minute, by up to {}, in the last {}"
    assert told[0].evidence == Evidence(words, (number(4), difference(AIR, 12), span(60 * MINUTE_MS)))
    assert told[0].since_ms == NOON_MS + 60 * MINUTE_MS


@pytest.mark.parametrize("at", [[60], [60, 130]])
def test_one_false_value_in_an_hour_is_none(at: list[int]) -> None:
    assert watch(AIR_JUMPS, {AIR: spikes(*at)}) == []


@pytest.mark.parametrize(("size", "count"), [(9.9, 0), (10.0, 2), (-10.0, 2), (-9.9, 0)])
def test_a_jump_is_ten_kelvin_within_a_minute(size: float, count: int) -> None:
    assert len(watch(AIR_JUMPS, {AIR: spikes(60, 80, 100, size=size)})) == count


def test_false_values_among_good_ones_of_a_minute_jump_too() -> None:
    observer = Observer([watched_plan()], AIR_JUMPS)
    observer.feed({Series(TRAY, AIR): read_by(course((200, 24)))})
    for at in (60, 80):
        observer.feed({Series(TRAY, AIR): read_by([45.0], from_ms=NOON_MS + at * MINUTE_MS + 20_000)})
    assert by_minute(observer.advance(NOON_MS + 100 * MINUTE_MS)) == [(85, "raised")]


def test_unknown_time_between_two_values_is_no_jump() -> None:
    assert watch(AIR_JUMPS, {AIR: course(*[(10, 20), (10, NAN), (10, 35), (10, NAN)] * 4)}) == []


def test_a_probe_that_moved_to_another_place_once_does_not_jump() -> None:
    assert watch(AIR_JUMPS, {AIR: course((60, 24), (60, 38))}) == []


@pytest.mark.parametrize(("size", "count"), [(-49.0, 0), (-51.0, 1)])
def test_a_jump_of_humidity_is_fifty_per_cent(size: float, count: int) -> None:
    humidities = [value + 68 for value in spikes(60, 100, size=size, minutes=120)]
    assert len(watch([partial(SensorJumping, HUMIDITY)], {HUMIDITY: humidities})) == count


def test_airing_every_two_hours_is_no_jump() -> None:
    assert watch([partial(SensorJumping, HUMIDITY)], {HUMIDITY: AIRINGS}) == []


# Two probes


@pytest.mark.parametrize("quantity", JUMPING)
def test_two_levels_that_take_turns_for_two_hours_are_two_probes(quantity: str) -> None:
    off = 12.0 if quantity == HUMIDITY else 3.0
    trace = [*course((120, 70.0)), *turns(300, off, level=70.0), *course((120, 70.0))]
    raised, returned = watch([partial(SensorsDisagree, quantity)], {quantity: trace})
    ((raised_at, _), (returned_at, _)) = by_minute([raised, returned])
    assert 120 + 90 < raised_at <= 120 + 120
    assert 420 + 50 <= returned_at <= 420 + 70
    assert raised.evidence is not None
    assert raised.evidence.figures == (difference(quantity, off), span(120 * MINUTE_MS))


@pytest.mark.parametrize(("off", "count"), [(1.4, 0), (1.6, 1)])
def test_temperatures_disagree_by_more_than_one_and_a_half_kelvin(off: float, count: int) -> None:
    assert len(watch(AIRS, {AIR: turns(300, off)})) == count


@pytest.mark.parametrize(("off", "count"), [(7.9, 0), (8.1, 1)])
def test_humidities_disagree_by_more_than_eight_per_cent(off: float, count: int) -> None:
    assert len(watch(HUMIDITIES, {HUMIDITY: turns(300, off)})) == count


def test_alcohol_near_a_humidity_probe_is_offered_as_evidence() -> None:
    care = [Care(ALCOHOL, NOON_MS, NOON_MS)]
    (raised,) = watch(HUMIDITIES, {HUMIDITY: turns(300, 12.0)}, care)
    assert raised.evidence is not None
    assert raised.evidence.words.endswith("alcohol was used near the probe {}")
    assert raised.evidence.figures[-1] == moment(NOON_MS)
    (other,) = watch(AIRS, {AIR: turns(300, 12.0)}, care)
    assert other.evidence is not None
    assert "alcohol" not in other.evidence.words


def test_two_probes_that_answer_every_five_minutes_are_found_within_hours() -> None:
    told = watch(AIRS, {AIR: [*course((120, 24.0)), *turns(1200, 3.0)]}, every=5)
    assert [one.event for one in told] == ["raised"]
    assert by_minute(told)[0][0] <= 120 + 6 * 60


def test_an_hour_of_turns_does_not_last() -> None:
    assert watch(AIRS, {AIR: [*course((120, 24.0)), *turns(60, 3.0), *course((120, 24.0))]}) == []


def test_airing_every_two_hours_is_not_two_probes() -> None:
    assert watch(HUMIDITIES, {HUMIDITY: AIRINGS}) == []


def test_a_mat_that_swings_by_four_kelvin_in_an_hour_is_not_two_probes() -> None:
    swings = [24 + 2 * float(np.sin(minute * np.pi / 30)) for minute in range(900)]
    makers = [partial(SensorsDisagree, MEDIUM)]
    assert watch(makers, {MEDIUM: with_noise(swings, 0.06)}) == []
    assert watch(makers, {MEDIUM: swings}, every=5) == []


def test_two_probes_that_fall_silent_are_not_agreed_upon() -> None:
    told = watch(AIRS, {AIR: [*turns(300, 3.0), *course((40, NAN)), *turns(100, 3.0)]})
    assert [one.event for one in told] == ["raised"]


@settings(max_examples=20, deadline=None)
@given(cuts=st.lists(st.integers(1, 500), max_size=5))
def test_the_same_is_told_however_readings_are_cut(cuts: list[int]) -> None:
    traces = {AIR: [*course((100, 24.0)), *turns(200, 12.0), *course((200, 24.0))]}
    assert len(watch(BOTH, traces)) == 4
    assert watch_in_pieces(BOTH, traces, cuts) == watch(BOTH, traces)
