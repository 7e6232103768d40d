"""Heat and cold that harm any cutting."""

import math

import pytest
from case_terms import low, stage
from cases_of_conditions import observed, planned, told
from hypothesis import given, settings
from hypothesis import strategies as st
from minute_by_minute import NOON_MS, chunk_by, course

from wardian.rules.crops import StageSpan
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.observing.observer import Observer

MEDIUM, AIR = "medium_temperature", "air_temperature"
HOT = planned("medium-overheated", "air-overheated", "medium-chilled")


def test_a_medium_at_the_limit_for_a_quarter_of_an_hour_is_overheated_and_returns_below_the_deadband() -> (
    None
):
    found = observed(HOT, {MEDIUM: course((10, 25), (30, 32), (20, 31.6), (30, 31.4))})
    assert told(found) == [(25, "medium-overheated", "raised"), (75, "medium-overheated", "returned")]
    assert (found[0].value, found[0].threshold, found[0].since_ms) == (32, 32, NOON_MS + 10 * MINUTE_MS)
    assert found[0].evidence is not None
    assert found[0].evidence.words == "medium is at {}, above {} for {}"


@pytest.mark.parametrize("hot", [course((14, 33)), course((60, 31.99)), course((7, 33), (1, 31), (14, 33))])
def test_shorter_or_less_is_not_overheated(hot: list[float]) -> None:
    assert told(observed(HOT, {MEDIUM: [*course((10, 25)), *hot, *course((10, 25))]})) == []


def test_air_far_too_hot_is_told_at_once() -> None:
    assert told(observed(HOT, {AIR: course((10, 25), (5, 35), (20, 25))})) == [
        (11, "air-overheated", "raised"),
        (30, "air-overheated", "returned"),
    ]
    assert told(observed(HOT, {AIR: course((10, 25), (5, 34.9), (20, 25))})) == []


def test_a_tender_crop_is_chilled_after_half_an_hour_and_any_crop_at_once_in_great_cold() -> None:
    cold = course((10, 20), (60, 11.9), (40, 20))
    assert told(observed(HOT, {MEDIUM: cold}))[0] == (40, "medium-chilled", "raised")
    assert told(observed(HOT, {MEDIUM: course((10, 20), (29, 11.9), (40, 20))})) == []
    assert told(observed(HOT, {MEDIUM: course((10, 20), (2, 5), (40, 20))}))[0][0] == 11


def test_a_crop_whose_band_reaches_lower_is_not_tender() -> None:
    hardy = planned("medium-chilled", spans=[StageSpan(0, stage("toning", medium_temperature=low(8)))])
    assert told(observed(hardy, {MEDIUM: course((10, 20), (60, 9), (40, 20))})) == []
    assert told(observed(hardy, {MEDIUM: course((10, 20), (60, 4), (40, 20))}))[0][0] == 11


def test_unknown_time_is_neither_hot_nor_over() -> None:
    gap = [math.nan] * 60
    assert told(observed(HOT, {MEDIUM: [*course((5, 25), (7, 33)), *gap, *course((7, 33), (9, 25))]})) == []
    silent = observed(HOT, {MEDIUM: [*course((5, 25), (20, 33)), *gap]})
    assert told(silent) == [(20, "medium-overheated", "raised")]


def test_a_sensor_that_is_read_every_five_minutes_is_enough() -> None:
    found = observed(HOT, {MEDIUM: course((10, 25), (30, 33), (40, 25))}, every=5)
    assert [event for _, _, event in told(found)] == ["raised", "returned"]


@settings(max_examples=20, deadline=None)
@given(
    values=st.lists(st.sampled_from([4.0, 11.0, 25.0, 31.7, 33.0, 36.0]), min_size=3, max_size=9),
    cuts=st.lists(st.integers(1, 70), max_size=6),
)
def test_the_same_is_told_however_time_is_cut(values: list[float], cuts: list[int]) -> None:
    trace = course(*((11, value) for value in values))
    whole, cut = Observer([HOT]), Observer([HOT])
    end_ms = NOON_MS + len(trace) * MINUTE_MS
    for observer in (whole, cut):
        observer.feed(chunk_by({MEDIUM: trace, AIR: trace}))
    instants = sorted(min(NOON_MS + until * MINUTE_MS, end_ms) for until in cuts)
    pieces = [one for until_ms in instants for one in cut.advance(until_ms)]
    assert pieces + cut.advance(end_ms) == whole.advance(end_ms)
