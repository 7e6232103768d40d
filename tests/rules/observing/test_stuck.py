"""A probe that is stuck, and values that rest for good reasons."""

from functools import partial

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from minute_by_minute import NOON_MS, course, ramp, with_noise
from watching import by_minute, watch, watch_in_pieces

from wardian.rules.evidence import Evidence, moment, span, value
from wardian.rules.observing.looks import LIFTED, MISTED, Care
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.observing.stuck import STICKING, SensorStuck

AIR, HUMIDITY = "air_temperature", "relative_humidity"
NAN = float("nan")
AIR_STUCK, HUMIDITY_STUCK = [partial(SensorStuck, AIR)], [partial(SensorStuck, HUMIDITY)]
#: 2026-03-02T12:00Z is a minute that five divides, as are all minutes below.
LIVELY = with_noise(course((240, 24.0)), 0.03)


def lifted(at: int, event: str = LIFTED) -> list[Care]:
    return [Care(event, NOON_MS + at * MINUTE_MS, NOON_MS + (at + 4) * MINUTE_MS)]


@pytest.mark.parametrize("quantity", STICKING[:3])
def test_a_temperature_is_stuck_after_two_hours(quantity: str) -> None:
    told = watch([partial(SensorStuck, quantity)], {quantity: [*LIVELY, *course((200, 24.5)), *LIVELY]})
    assert by_minute(told) == [(360, "raised"), (445, "returned")]
    assert {one.quantity for one in told} == {quantity}


def test_its_evidence_says_at_what_and_for_how_long() -> None:
    (told, _) = watch(AIR_STUCK, {AIR: [*LIVELY, *course((200, 24.5)), *LIVELY]})
    assert told.since_ms == NOON_MS + 240 * MINUTE_MS
    words = "it has been at {} without any change for {}"
    assert told.evidence == Evidence(words, (value(AIR, 24.5), span(120 * MINUTE_MS)))
    assert told.value == 24.5


@pytest.mark.parametrize(("minutes", "count"), [(119, 0), (125, 2)])
def test_a_temperature_that_rests_for_less_is_not_stuck(minutes: int, count: int) -> None:
    assert len(watch(AIR_STUCK, {AIR: [*LIVELY, *course((minutes, 24.5)), *LIVELY]})) == count


@pytest.mark.parametrize(("minutes", "count"), [(355, 0), (365, 2)])
def test_humidity_is_stuck_after_six_hours(minutes: int, count: int) -> None:
    airs = with_noise(course((240, 94.0)), 0.2)
    assert len(watch(HUMIDITY_STUCK, {HUMIDITY: [*airs, *course((minutes, 93.0)), *airs]})) == count


@pytest.mark.parametrize("full", [99.0, 100.0])
def test_humidity_at_its_end_is_not_stuck(full: float) -> None:
    assert (
        watch(HUMIDITY_STUCK, {HUMIDITY: [*with_noise(course((240, 94.0)), 0.2), *course((900, full))]}) == []
    )


def test_humidity_that_does_not_feel_a_lifted_cover_is_stuck_at_once() -> None:
    traces = {HUMIDITY: [*with_noise(course((240, 94.0)), 0.2), *course((120, 93.0))]}
    told = watch(HUMIDITY_STUCK, traces, lifted(300))
    assert by_minute(told) == [(315, "raised")]
    words = "it stayed at {} although the cover was lifted at {}"
    figures = value(HUMIDITY, 93.0), moment(NOON_MS + 300 * MINUTE_MS)
    assert told[0].evidence == Evidence(words, figures)
    assert watch(HUMIDITY_STUCK, traces, lifted(230)) == []
    assert watch(HUMIDITY_STUCK, traces, lifted(300, MISTED)) == []


def test_a_temperature_may_rest_while_the_cover_is_lifted() -> None:
    assert watch(AIR_STUCK, {AIR: [*LIVELY, *course((100, 24.5)), *LIVELY]}, lifted(300)) == []


#: A day and more of a chip that reads whole degrees; it rests for 100 minutes at most.
WHOLE_DEGREES = course(*[(100, 24), (20, 25)] * 13)


@pytest.mark.parametrize(("minutes", "count"), [(1435, 0), (1445, 1)])
def test_a_chip_that_reads_whole_degrees_must_rest_for_a_day(minutes: int, count: int) -> None:
    assert len(watch(AIR_STUCK, {AIR: [*WHOLE_DEGREES, *course((minutes, 24))]})) == count


@pytest.mark.parametrize(("minutes", "count"), [(1915, 0), (1925, 1)])
def test_a_chip_that_is_used_to_rest_must_rest_for_twice_as_long(minutes: int, count: int) -> None:
    assert len(watch(AIR_STUCK, {AIR: course((20, 25), (960, 24), (20, 25), (minutes, 24))})) == count


def test_a_value_that_was_never_another_is_stuck_after_three_days() -> None:
    assert by_minute(watch(AIR_STUCK, {AIR: course((4400, 24))})) == [(4310, "raised")]


def test_a_probe_read_every_five_minutes_is_stuck_in_the_same_time() -> None:
    temperatures = [*ramp(240, 22, 26), *course((300, 26.5)), *ramp(60, 26, 22)]
    told = watch(AIR_STUCK, {AIR: temperatures}, every=5)
    assert by_minute(told) == [(360, "raised"), (545, "returned")]


def test_a_silent_probe_is_not_stuck() -> None:
    assert watch(AIR_STUCK, {AIR: [*LIVELY, 24.5, *course((400, NAN)), 24.5, *LIVELY]}) == []


def test_a_stuck_probe_that_falls_silent_stays_stuck_until_it_shows_something_else() -> None:
    told = watch(AIR_STUCK, {AIR: [*LIVELY, *course((180, 24.5), (300, NAN)), *LIVELY]})
    assert by_minute(told) == [(360, "raised"), (725, "returned")]


def test_a_quantity_that_nobody_reads_is_not_stuck() -> None:
    assert watch(HUMIDITY_STUCK, {AIR: LIVELY}) == []


@settings(max_examples=20, deadline=None)
@given(cuts=st.lists(st.integers(1, 700), max_size=5))
def test_the_same_is_told_however_readings_are_cut(cuts: list[int]) -> None:
    traces = {AIR: [*LIVELY, *course((200, 24.5)), *LIVELY]}
    assert watch_in_pieces(AIR_STUCK, traces, cuts) == watch(AIR_STUCK, traces)
