"""What a tray was beyond, worked by hand and against the journal of the naive reading of the rules."""

import dataclasses

import pytest
from case_terms import high, low, minutes, plan, series, stage, urgent, warm
from engine_strategies import Scenario, light_scenarios, scenarios
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from reference_engine import reference_journal

from wardian.rules.crops import Stage, StageSpan
from wardian.rules.engine import Engine
from wardian.rules.excursions import Excursion, excursions, paired, without_delays
from wardian.rules.plans import TrayPlan
from wardian.rules.readings import Reading, chunk_of
from wardian.rules.transitions import RAISED

anything = scenarios() | light_scenarios()
some_hundreds = settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)


def air(*points: tuple[float, float]) -> list[Reading]:
    return series("air_temperature", [(minutes(at), value) for at, value in points])


def found(some_plan: TrayPlan, readings: list[Reading], until: float) -> list[tuple[str, float, float]]:
    return [
        (f"{one.quantity} {one.limit}", one.from_ms / 60_000, one.to_ms / 60_000)
        for one in excursions([some_plan], chunk_of(readings), minutes(until))
    ]


@pytest.mark.parametrize(
    ("name", "points", "expected"),
    [
        ("begins at the first beyond and ends at the first within", [(0, 20), (3, 27), (6, 20)], [(3, 6)]),
        ("a value on the limit is not beyond", [(0, 26), (3, 20)], []),
        ("between clear and limit it goes on", [(0, 27), (3, 25.5), (6, 25)], [(0, 6)]),
        ("unknown time inside belongs to it", [(0, 27), (30, 27), (33, 20)], [(0, 33)]),
        ("unknown time does not end it", [(0, 27), (30, 20)], [(0, 30)]),
        ("one that lasts ends with judgement", [(0, 20), (3, 27)], [(3, 60)]),
        ("each crossing is one", [(0, 27), (3, 20), (6, 27), (9, 20)], [(0, 3), (6, 9)]),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_an_excursion(
    name: str, points: list[tuple[float, float]], expected: list[tuple[float, float]]
) -> None:
    assert name
    slow = warm(high(26, on_ms=minutes(90), off_ms=minutes(90)))
    assert found(slow, air(*points), 60) == [("air_temperature high", *one) for one in expected]


def test_the_more_urgent_limit_has_excursions_of_its_own() -> None:
    both = warm(high(26), urgent(high(28)))
    assert found(both, air((0, 27), (3, 29), (6, 20)), 9) == [
        ("air_temperature high", 0, 6),
        ("air_temperature high_high", 3, 6),
    ]


def test_what_is_derived_has_excursions_too() -> None:
    dry = plan((0, stage("callusing", vapour_pressure_deficit=high(0.4, 0.1, on_ms=minutes(60)))))
    readings = [
        *air((0, 24), (4, 24), (8, 24)),
        *series("relative_humidity", [(0, 95.0), (minutes(4), 60.0), (minutes(8), 95.0)]),
    ]
    assert found(dry, readings, 12) == [("vapour_pressure_deficit high", 4, 8)]


def test_a_limit_that_the_new_stage_lacks_ends_its_excursion_there() -> None:
    two = plan(
        (0, stage("callusing", air_temperature=high(26))), (minutes(4), stage("striking")), hold_ms=minutes(9)
    )
    assert found(two, air((0, 27)), 60) == [("air_temperature high", 0, 4)]


def test_a_reading_beyond_at_the_very_end_of_a_stage_is_no_excursion() -> None:
    two = plan(
        (0, stage("callusing", air_temperature=high(26))), (minutes(4), stage("striking")), hold_ms=minutes(9)
    )
    assert found(two, air((0, 20), (4, 27)), 60) == []


def test_within_for_no_time_at_a_stage_s_start_does_not_break_an_excursion() -> None:
    """The old stage returns it at the instant at which the new one raises it."""
    two = plan(
        (0, stage("callusing", air_temperature=low(24, 0))),
        (minutes(4), stage("striking", air_temperature=low(26, 0))),
        hold_ms=minutes(9),
    )
    assert found(two, air((0, 20), (4, 25), (8, 30)), 60) == [("air_temperature low", 0, 8)]


def test_alarms_about_sensors_are_no_excursions() -> None:
    silent = plan((0, stage("callusing", air_temperature=high(26))), silent={"air_temperature": 0})
    assert found(silent, air((0, 20), (30, 20)), 60) == []


@given(anything)
@some_hundreds
def test_excursions_are_those_of_the_naive_reading_of_the_rules(scenario: Scenario) -> None:
    until_ms = scenario.end_ms + 1
    at_once = [without_delays(one) for one in scenario.plans]
    naive = paired(reference_journal(at_once, scenario.readings, scenario.end_ms), until_ms)
    assert excursions(scenario.plans, chunk_of(scenario.readings), until_ms) == naive


@given(anything, st.sampled_from((0, 30_000, 90_001, 3_600_000)))
@some_hundreds
def test_excursions_do_not_depend_on_delays(scenario: Scenario, delay_ms: int) -> None:
    others = [_with_delays(one, delay_ms) for one in scenario.plans]
    chunk, until_ms = chunk_of(scenario.readings), scenario.end_ms + 1
    assert excursions(others, chunk, until_ms) == excursions(scenario.plans, chunk, until_ms)


@given(anything)
@some_hundreds
def test_every_alarm_about_a_limit_lies_in_an_excursion(scenario: Scenario) -> None:
    chunk, until_ms = chunk_of(scenario.readings), scenario.end_ms + 1
    known = excursions(scenario.plans, chunk, until_ms)
    engine = Engine(scenario.plans)
    engine.feed(chunk)
    begins = {span.from_ms for one in scenario.plans for span in one.spans}
    for alarm in engine.advance(until_ms):
        if alarm.event == RAISED and alarm.limit and alarm.since_ms not in begins:
            assert any(_holds(one, alarm.alarm, alarm.since_ms, alarm.time_ms) for one in known)


def _holds(one: Excursion, alarm: tuple[str, str, str], since_ms: int, time_ms: int) -> bool:
    return one[:3] == alarm and one.from_ms <= since_ms and time_ms <= one.to_ms


def _with_delays(some_plan: TrayPlan, delay_ms: int) -> TrayPlan:
    spans = tuple(StageSpan(span.from_ms, _delayed(span.stage, delay_ms)) for span in some_plan.spans)
    return dataclasses.replace(some_plan, spans=spans)


def _delayed(some_stage: Stage, delay_ms: int) -> Stage:
    bands = {
        quantity: dataclasses.replace(
            band,
            limits=tuple(one._replace(on_delay_ms=delay_ms, off_delay_ms=delay_ms) for one in band.limits),
        )
        for quantity, band in some_stage.bands.items()
    }
    return dataclasses.replace(some_stage, bands=bands)
