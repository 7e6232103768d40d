"""Pieces of five minutes against the engine's own judgement and against a walk over single instants."""

from itertools import pairwise

import pytest
from case_terms import HOUR_MS, MINUTE_MS, high, low, plan, stage
from engine_strategies import Scenario, light_scenarios, scenarios
from hypothesis import HealthCheck, given, settings

from wardian.rules.engine import Engine
from wardian.rules.excursions import excursions
from wardian.rules.plans import TrayPlan
from wardian.rules.readings import Points, Series, chunk_of, merged, points
from wardian.rules.rollups import PIECE_MS, Carried, Rollups, between, one_after_another, roll_up
from wardian.rules.shares import KnownTime, judged_spans, shares
from wardian.rules.shares import merged as joined

AIR = Series("tray-a", "air_temperature")
Piece = tuple[int, float, float, float, int, int, int]


def rolled_up(series: Series, own: Points, tray_plan: TrayPlan, to_ms: int) -> Rollups:
    """Roll up hour by hour, as time goes on."""
    carried: Carried | None = None
    found = []
    for hour_ms in range(int(own.times_ms[0]) // HOUR_MS * HOUR_MS, to_ms, HOUR_MS):
        first, last = own.times_ms.searchsorted((hour_ms, hour_ms + HOUR_MS))
        of_hour = Points(own.times_ms[first:last], own.values[first:last])
        rollups, carried = roll_up(of_hour, carried, tray_plan, (series, hour_ms))
        found.append(rollups)
    return one_after_another(found)


def pieces_of(rollups: Rollups) -> list[Piece]:
    return list(zip(*(column.tolist() for column in rollups), strict=True))


@given(scenarios() | light_scenarios())
@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_each_piece_has_the_time_that_the_engine_knew_and_judged_in_it(scenario: Scenario) -> None:
    to_ms = (scenario.end_ms // HOUR_MS + 10) * HOUR_MS
    chunk = chunk_of(scenario.readings)
    for tray_plan in scenario.plans:
        quantities = {series.quantity for series in chunk if series.tray == tray_plan.tray}
        known = KnownTime(quantities)
        engine = Engine([tray_plan])
        engine.trays[tray_plan.tray].on_stretches = known.hear
        engine.feed(chunk)
        engine.advance(to_ms)
        beyond = excursions([tray_plan], chunk, to_ms)
        for quantity in quantities:
            series = Series(tray_plan.tray, quantity)
            own, _ = merged([chunk[series]])
            found = {piece[0]: piece for piece in pieces_of(rolled_up(series, own, tray_plan, to_ms))}
            excursed = joined((one.from_ms, one.to_ms) for one in beyond if one[:2] == series)
            spans = known.spans(quantity)
            first_ms = int(own.times_ms[0]) // PIECE_MS * PIECE_MS
            for from_ms in range(first_ms, int(own.times_ms[-1]) + tray_plan.hold_ms, PIECE_MS):
                piece = (from_ms, from_ms + PIECE_MS)
                of_band = shares(judged_spans(tray_plan, quantity, piece), spans, excursed)
                known_ms = shares([piece], spans, []).within_ms
                told = found.pop(from_ms)[4:] if known_ms else (0, 0, 0)
                assert told == (known_ms, of_band.within_ms + of_band.beyond_ms, of_band.within_ms)
            assert not found


@given(scenarios())
@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_lowest_mean_and_highest_are_those_of_what_stood(scenario: Scenario) -> None:
    hold_ms = scenario.plans[0].hold_ms
    for series, some in chunk_of(scenario.readings).items():
        own, _ = merged([some])
        to_ms = (scenario.end_ms // HOUR_MS + 2) * HOUR_MS
        tray_plan = next(one for one in scenario.plans if one.tray == series.tray)
        stood: dict[int, list[tuple[int, float]]] = {}
        ends = [*own.times_ms.tolist(), 2**62]
        for (at_ms, next_ms), value in zip(pairwise(ends), own.values.tolist(), strict=True):
            until_ms = min(next_ms, at_ms + hold_ms)
            edges = [edge for edge in range(-HOUR_MS, to_ms, PIECE_MS) if at_ms < edge < until_ms]
            for from_ms, part_end_ms in pairwise([at_ms, *edges, until_ms]):
                stood.setdefault(from_ms // PIECE_MS * PIECE_MS, []).append((part_end_ms - from_ms, value))
        for from_ms, lowest, mean, highest, *_ in pieces_of(rolled_up(series, own, tray_plan, to_ms)):
            parts = stood.pop(from_ms)
            assert (lowest, highest) == (min(value for _, value in parts), max(value for _, value in parts))
            whole = sum(length * value for length, value in parts)
            assert mean == pytest.approx(whole / sum(length for length, _ in parts))
        assert not stood


# Worked by hand.


def test_a_stage_that_begins_within_five_minutes_is_judged_from_its_instant_on() -> None:
    tray_plan = plan(
        (0, stage("callusing", air_temperature=high(26, 1))),
        (2 * MINUTE_MS, stage("striking", air_temperature=high(24, 1))),
        (4 * MINUTE_MS, stage("weaning")),
        hold_ms=5 * MINUTE_MS,
    )
    found = roll_up(points([0], [25.0]), None, tray_plan, (AIR, 0))
    assert pieces_of(found.rollups) == [
        (0, 25.0, 25.0, 25.0, 5 * MINUTE_MS, 4 * MINUTE_MS, 2 * MINUTE_MS),
    ]
    assert found.carried == Carried(0, 25.0, ())


def test_between_limit_and_deadband_an_hour_goes_on_as_the_last_one_ended() -> None:
    tray_plan = plan((0, stage("callusing", air_temperature=(low(20, 1), high(26, 1)))), hold_ms=MINUTE_MS)
    first = roll_up(points([59 * MINUTE_MS], [27.0]), None, tray_plan, (AIR, 0))
    assert first.carried == Carried(59 * MINUTE_MS, 27.0, ("high",))
    again = points([HOUR_MS, HOUR_MS + MINUTE_MS], [25.5, 25.0])
    second = roll_up(again, first.carried, tray_plan, (AIR, HOUR_MS))
    assert pieces_of(second.rollups) == [
        (HOUR_MS, 25.0, 25.25, 25.5, 2 * MINUTE_MS, 2 * MINUTE_MS, MINUTE_MS)
    ]
    assert second.carried == Carried(HOUR_MS + MINUTE_MS, 25.0, ())


def test_a_value_stands_on_into_an_hour_without_readings() -> None:
    tray_plan = plan((0, stage("callusing")), hold_ms=5 * MINUTE_MS)
    first = roll_up(points([HOUR_MS - 1], [21.0]), None, tray_plan, (AIR, 0))
    second = roll_up(points([], []), first.carried, tray_plan, (AIR, HOUR_MS))
    assert pieces_of(first.rollups) == [(HOUR_MS - PIECE_MS, 21.0, 21.0, 21.0, 1, 0, 0)]
    assert pieces_of(second.rollups) == [(HOUR_MS, 21.0, 21.0, 21.0, 5 * MINUTE_MS - 1, 0, 0)]
    assert second.carried == first.carried


def test_above_a_hundred_percent_is_shown_as_it_was_and_judged_as_a_hundred() -> None:
    tray_plan = plan((0, stage("callusing", relative_humidity=high(100, 0))), hold_ms=MINUTE_MS)
    found = roll_up(points([0], [104.0]), None, tray_plan, (Series("tray-a", "relative_humidity"), 0))
    assert pieces_of(found.rollups) == [(0, 104.0, 104.0, 104.0, MINUTE_MS, MINUTE_MS, MINUTE_MS)]


def test_of_nothing_nothing_is_rolled_up() -> None:
    tray_plan = plan((0, stage("callusing")), hold_ms=MINUTE_MS)
    rollups, carried = roll_up(points([], []), None, tray_plan, (AIR, 0))
    assert pieces_of(rollups) == []
    assert carried is None


def test_pieces_between_two_instants_are_those_that_begin_there() -> None:
    tray_plan = plan((0, stage("callusing")), hold_ms=20 * MINUTE_MS)
    rollups, _ = roll_up(points([0], [1.0]), None, tray_plan, (AIR, 0))
    assert between(rollups, 1, 2 * PIECE_MS).from_ms.tolist() == [PIECE_MS]
