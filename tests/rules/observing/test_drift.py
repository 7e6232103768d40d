"""Drift before a limit, on traces written by hand."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import UTC
from itertools import pairwise

import numpy as np
import pytest
from case_terms import high, low, minutes, stage, urgent
from cases_of_conditions import observed, planned, told
from hypothesis import given, settings
from hypothesis import strategies as st
from minute_by_minute import NOON_MS, TRAY, chunk_by, course, ramp, with_noise

from wardian.rules.crops import Limit, StageSpan
from wardian.rules.observing.drift import foretell
from wardian.rules.observing.looks import LIFTED, WATERED, Care
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.observing.observer import Observer
from wardian.rules.plans import LampRule, LampSchedule, TrayPlan
from wardian.rules.transitions import HEADING_OUT, Transition

HOUR = 60
MEDIUM, LIGHT = "medium_temperature", "illuminance"
LIMITS = (low(21.0, on_ms=minutes(60)), high(26.0, on_ms=minutes(60)), urgent(high(30.0)))


def drifting(limits: Sequence[Limit] = LIMITS, quantity: str = MEDIUM) -> TrayPlan:
    return planned(HEADING_OUT, spans=[StageSpan(0, stage("callusing", **{quantity: limits}))])


def saw_tooth(hours: int, middle: float = 24.0, swing: float = 0.3) -> list[float]:
    period = [*ramp(12, middle - swing, middle + swing), *ramp(28, middle + swing, middle - swing)]
    return (period * (hours * HOUR // 40 + 1))[: hours * HOUR]


def noticed(
    trace: Sequence[float], care: Iterable[Care] = (), of: TrayPlan | None = None
) -> list[Transition]:
    return observed(of or drifting(), {MEDIUM: trace}, care)


def test_a_medium_that_cools_steadily_is_told_before_it_passes_its_limit() -> None:
    found = noticed([*saw_tooth(8), *ramp(4 * HOUR, 24, 20)])
    passed = 8 * HOUR + 3 * HOUR
    assert told(found)[0][1:] == (HEADING_OUT, "raised")
    assert 40 <= passed - told(found)[0][0] <= 65
    assert (found[0].quantity, found[0].threshold) == (MEDIUM, 21)
    evidence = found[0].evidence
    assert evidence is not None
    assert evidence.words.startswith("medium falls by {} and, if that goes on, passes {} in about {}")
    change, limit, about, early, late = (figure.number for figure in evidence.figures)
    assert change == pytest.approx(1.0, abs=0.1)
    assert limit == 21
    assert early <= about <= late
    assert about == pytest.approx((passed - told(found)[0][0]) * MINUTE_MS, rel=0.15)


def test_it_is_returned_when_the_alarm_about_the_limit_must_stand() -> None:
    found = told(noticed([*saw_tooth(8), *ramp(6 * HOUR, 24, 18)]))
    assert [event for _, _, event in found] == ["raised", "returned"]
    assert found[1][0] == pytest.approx(8 * HOUR + 3 * HOUR + 60, abs=10)


def test_it_is_returned_when_the_value_turns() -> None:
    found = told(noticed([*saw_tooth(8), *ramp(150, 24, 21.5), *ramp(150, 21.5, 24)]))
    assert [event for _, _, event in found] == ["raised", "returned"]
    assert 8 * HOUR + 150 < found[1][0] <= 8 * HOUR + 150 + 60


def test_the_more_urgent_limit_is_foretold_after_the_other() -> None:
    found = [one for one in noticed([*saw_tooth(8), *ramp(4 * HOUR, 24, 32)]) if one.event == "raised"]
    assert [one.threshold for one in found] == [26, 30]


def test_a_saw_tooth_near_a_limit_is_not_told() -> None:
    assert noticed(saw_tooth(30, middle=21.5, swing=0.4)) == []
    assert noticed(with_noise(saw_tooth(30, middle=25.5), 0.1)) == []


@pytest.mark.parametrize("to", [22.5, 24.9])
def test_a_value_that_levels_off_within_its_band_is_not_told(to: float) -> None:
    easing = [to + (24 - to) * math.exp(-minute / 50) for minute in range(6 * HOUR)]
    assert noticed([*saw_tooth(8), *easing]) == []


def test_what_is_further_ahead_than_a_person_needs_is_not_told_yet() -> None:
    assert noticed([*saw_tooth(8), *ramp(4 * HOUR, 24, 22.4)]) == []


def test_a_value_that_comes_back_from_beyond_the_other_limit_is_not_told() -> None:
    assert noticed([*saw_tooth(8, 20), *ramp(2 * HOUR, 20, 25.8)]) == []


def test_settling_after_care_is_not_told() -> None:
    trace = [*saw_tooth(8), *ramp(2 * HOUR, 24, 21.1)]
    assert noticed(trace) != []
    for event, ago in ((LIFTED, 45), (WATERED, 0)):
        done_ms = NOON_MS + (9 * HOUR + ago) * MINUTE_MS
        assert noticed(trace, [Care(event, done_ms - MINUTE_MS, done_ms)]) == []


def test_what_the_lamp_does_is_not_told_as_seen_or_as_scheduled() -> None:
    trace = [*saw_tooth(8), *ramp(88, 24, 21.1)]
    lamp = replace(drifting(), lamp=LampRule(LIGHT, 1000, 900))
    dark = {MEDIUM: trace, LIGHT: course((8 * HOUR, 5000), (88, 0))}
    assert observed(lamp, dark) == []
    assert observed(lamp, {MEDIUM: trace, LIGHT: course((10 * HOUR, 5000))}) != []
    # Noon UTC and eight hours: 20:00.
    assert noticed(trace, of=replace(drifting(), schedule=LampSchedule(5 * 60, 20 * 60, UTC))) == []
    assert noticed(trace, of=replace(drifting(), schedule=LampSchedule(5 * 60, 23 * 60, UTC))) != []


def test_nothing_is_foretold_from_holes_or_from_little_history() -> None:
    fall = ramp(4 * HOUR, 24, 20)
    assert noticed([*saw_tooth(2), *ramp(2 * HOUR, 24, 21.1)]) == []
    holes = [value if minute % 30 < 20 else math.nan for minute, value in enumerate(fall)]
    assert noticed([*saw_tooth(8), *holes]) == []


def test_a_sensor_that_is_read_every_five_minutes_is_enough() -> None:
    found = observed(drifting(), {MEDIUM: [*saw_tooth(8), *ramp(4 * HOUR, 24, 20)]}, every=5)
    assert told(found)[0][1:] == (HEADING_OUT, "raised")


def test_a_vapour_pressure_deficit_is_foretold_from_the_air_it_follows_from() -> None:
    of = drifting((high(0.4, 0.05),), "vapour_pressure_deficit")
    traces = {
        "air_temperature": course((12 * HOUR, 24.0)),
        "relative_humidity": [*course((8 * HOUR, 95)), *ramp(4 * HOUR, 95, 85)],
    }
    found = observed(of, traces)
    assert [one.quantity for one in found if one.event == "raised"] == ["vapour_pressure_deficit"]


def test_a_quantity_without_a_band_is_not_looked_at() -> None:
    trace = [*saw_tooth(8), *ramp(4 * HOUR, 24, 20)]
    assert observed(drifting(), {"air_temperature": trace}) == []


def test_a_slope_that_grows_makes_the_interval_begin_earlier_and_one_that_shrinks_end_later() -> None:
    evenly, growing, shrinking = (
        foretell(np.array([24 - bend * minute**2 - 0.03 * minute for minute in range(45)]), low(21.5))
        for bend in (0, 0.0001, -0.0001)
    )
    assert evenly is not None
    assert growing is not None
    assert shrinking is not None
    assert evenly.early_min == pytest.approx(evenly.in_min)
    assert evenly.late_min == pytest.approx(evenly.in_min)
    assert growing.early_min < 0.9 * growing.in_min
    assert shrinking.late_min > 1.1 * shrinking.in_min


@settings(max_examples=15, deadline=None)
@given(
    ends=st.lists(st.floats(19, 27), min_size=2, max_size=4),
    cuts=st.lists(st.integers(1, 12 * HOUR), max_size=5),
)
def test_the_same_is_told_however_readings_are_cut(ends: list[float], cuts: list[int]) -> None:
    trace = saw_tooth(8)
    for end in ends:
        trace += ramp(HOUR, trace[-1], end)
    whole, cut = Observer([drifting()]), Observer([drifting()])
    chunk = chunk_by({MEDIUM: trace})
    whole.feed(chunk)
    [(series, points)] = chunk.items()
    assert series.tray == TRAY
    pieces: list[Transition] = []
    edges = sorted({*cuts, 0, len(trace)})
    for begin, end_ in pairwise(edges):
        cut.feed({series: type(points)(points.times_ms[begin:end_], points.values[begin:end_])})
        pieces += cut.advance(NOON_MS + min(end_, len(trace)) * MINUTE_MS)
    end_ms = NOON_MS + max(*cuts, len(trace)) * MINUTE_MS if cuts else NOON_MS + len(trace) * MINUTE_MS
    assert pieces + cut.advance(end_ms) == whole.advance(end_ms)
