"""The engine against worked examples and against the naive reading of the rules, in pieces of any size."""

import json
from collections.abc import Sequence
from dataclasses import replace

import pytest
from engine_cases import CASES, Case
from engine_strategies import Piece, Scenario, light_scenarios, pieces, scenarios
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from reference_engine import reference_journal

from wardian.rules.crops import Band, Limit, Stage, StageSpan
from wardian.rules.engine import Engine
from wardian.rules.plans import LampRule, TrayPlan
from wardian.rules.readings import Reading, chunk_of
from wardian.rules.transitions import Transition

anything = scenarios() | light_scenarios()
some_hundreds = settings(
    max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)


def journal_at_once(
    plans: Sequence[TrayPlan],
    readings: Sequence[Reading],
    end_ms: int,
    refused: Sequence[tuple[int, str, str]] = (),
) -> list[Transition]:
    engine = Engine(plans)
    engine.feed(chunk_of(readings))
    for mark in refused:
        engine.refuse(*mark)
    return engine.advance(end_ms + 1)


def journal_in_pieces(
    scenario: Scenario, parts: Sequence[Piece], restarts: Sequence[bool], *, live: Sequence[bool]
) -> list[Transition]:
    engine = Engine(scenario.plans)
    told: list[Transition] = []
    for number, part in enumerate(parts):
        if live[number]:
            assert engine.take(part.readings) == []
        else:
            engine.feed(chunk_of(part.readings))
        for mark in part.refused:
            engine.refuse(*mark)
        if part.advance_ms is not None:
            told += engine.advance(part.advance_ms + 1)
        if restarts[number]:
            engine = Engine(scenario.plans, json.loads(json.dumps(engine.state())))
    return told + engine.advance(scenario.end_ms + 1)


def comparable(journal: Sequence[Transition]) -> list[Transition]:
    """All but the numbers that are derived."""
    return [
        one._replace(value=None, uncertainty=None, condition=one.limit or one.condition) for one in journal
    ]


def numbers(journal: Sequence[Transition]) -> list[float]:
    """The numbers that are derived, and -1e9 where there is none; the last bit of one is nobody's promise."""
    pairs = ((one.value, one.uncertainty) for one in journal)
    return [-1e9 if number is None else number for pair in pairs for number in pair]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_worked_example_is_judged_as_worked_by_hand(case: Case) -> None:
    journal = journal_at_once(case.plans, case.readings, case.end_ms, case.refused)
    assert [
        (one.time_ms, one.tray, one.quantity, one.limit or one.condition, one.event) for one in journal
    ] == list(case.expected)


@given(anything)
@some_hundreds
def test_the_journal_is_that_of_the_naive_reading_of_the_rules(scenario: Scenario) -> None:
    journal = journal_at_once(scenario.plans, scenario.readings, scenario.end_ms, scenario.refused)
    naive = reference_journal(scenario.plans, scenario.readings, scenario.end_ms, scenario.refused)
    assert comparable(journal) == comparable(naive)
    assert numbers(journal) == pytest.approx(numbers(naive), rel=1e-8, abs=1e-12)


@given(anything, st.data())
@some_hundreds
def test_pieces_advances_and_restarts_change_not_one_entry(scenario: Scenario, data: st.DataObject) -> None:
    parts = data.draw(pieces(scenario))
    some = st.lists(st.booleans(), min_size=len(parts), max_size=len(parts))
    restarts, live = data.draw(some), data.draw(some)
    at_once = journal_at_once(scenario.plans, scenario.readings, scenario.end_ms, scenario.refused)
    in_pieces = journal_in_pieces(scenario, parts, restarts, live=live)
    assert sorted(in_pieces, key=lambda one: one.order) == at_once


@given(anything)
@some_hundreds
def test_readings_taken_one_by_one_as_they_come_make_the_same_journal(scenario: Scenario) -> None:
    engine = Engine(scenario.plans)
    told: list[Transition] = []
    marks = sorted(scenario.refused)
    for time_ms in sorted({one.time_ms for one in scenario.readings} | {mark[0] for mark in marks}):
        told += engine.advance(time_ms)
        assert engine.take([one for one in scenario.readings if one.time_ms == time_ms]) == []
        for mark in marks:
            if mark[0] == time_ms:
                engine.refuse(*mark)
    told += engine.advance(scenario.end_ms + 1)
    at_once = journal_at_once(scenario.plans, scenario.readings, scenario.end_ms, scenario.refused)
    assert sorted(told, key=lambda one: one.order) == at_once


def test_a_quiet_day_of_live_readings_passes_calmly_and_a_drift_still_tells() -> None:
    bands = {
        "air_temperature": Band(
            "air_temperature", (Limit("low", 20, 21, 600_000, 0), Limit("high", 26, 25, 0, 0))
        ),
        "vapour_pressure_deficit": Band("vapour_pressure_deficit", (Limit("high", 0.5, 0.4, 60_000, 0),)),
        "light_hours": Band("light_hours", (Limit("low", 0, 0, 0, 0), Limit("high", 20, 19, 0, 0))),
    }
    plan = TrayPlan(
        "tray-a",
        (StageSpan(-1, Stage("stage", 0, bands)),),
        300_000,
        LampRule("illuminance", 1000, 900),
        {"ppfd": 1},
    )
    engine, readings = Engine([plan]), []
    for number in range(8640):
        drifts = number > 8000
        for quantity, value in (
            ("air_temperature", 24.0 + number % 3 / 4 + 3 * drifts),
            ("relative_humidity", 94.0 + number % 5 - 40 * (number > 8100)),
            ("illuminance", 5000.0 * (1000 < number < 7000)),
        ):
            readings.append(Reading(number * 10_000, "tray-a", quantity, value))
    told, calm = [], 0
    for place in range(0, len(readings), 3):
        engine.take(readings[place : place + 3])
        before = engine.trays["tray-a"]._calm
        told += engine.advance(readings[place].time_ms)
        calm += before is not None and engine.trays["tray-a"]._calm is before
    told += engine.advance(86_400_000)
    assert told == journal_at_once([plan], readings, 86_399_999)
    assert [one.quantity for one in told] == ["air_temperature", "vapour_pressure_deficit"]
    assert calm > 8500


@given(anything, st.data())
@some_hundreds
def test_a_state_resumed_is_the_state_that_was_left(scenario: Scenario, data: st.DataObject) -> None:
    engine = Engine(scenario.plans)
    for part in data.draw(pieces(scenario)):
        engine.feed(chunk_of(part.readings))
        if part.advance_ms is not None:
            engine.advance(part.advance_ms + 1)
    left = engine.state()
    assert Engine(scenario.plans, json.loads(json.dumps(left))).state() == left


def one_limit(threshold: float, name: str = "stage") -> TrayPlan:
    band = Band("air_temperature", (Limit("high", threshold, threshold, 0, 0),))
    return TrayPlan("tray-a", (StageSpan(0, Stage(name, 0, {"air_temperature": band})),), 300_000)


def test_a_reading_older_than_what_was_judged_is_counted_and_judges_nothing() -> None:
    engine = Engine([one_limit(25.0)])
    engine.feed(chunk_of([Reading(60_000, "tray-a", "air_temperature", 20.0)]))
    engine.advance(90_000)
    assert engine.feed(chunk_of([Reading(70_000, "tray-a", "air_temperature", 40.0)])) == 1
    assert engine.advance(200_000) == []


def test_a_band_changed_between_two_runs_takes_effect_where_judgement_stopped() -> None:
    engine = Engine([one_limit(25.0)])
    engine.feed(chunk_of([Reading(60_000, "tray-a", "air_temperature", 24.0)]))
    assert engine.advance(90_000) == []
    stricter = Engine([one_limit(23.0)], engine.state())
    assert [(one.time_ms, one.event, one.threshold) for one in stricter.advance(120_000)] == [
        (90_000, "raised", 23.0)
    ]


def test_an_alarm_whose_limit_is_gone_from_the_configuration_returns() -> None:
    engine = Engine([one_limit(23.0)])
    engine.feed(chunk_of([Reading(60_000, "tray-a", "air_temperature", 24.0)]))
    assert [one.event for one in engine.advance(90_000)] == ["raised"]
    without = TrayPlan("tray-a", (StageSpan(0, Stage("stage", 0, {})),), 300_000)
    after = Engine([without], engine.state())
    assert [(one.time_ms, one.event) for one in after.advance(120_000)] == [(90_000, "returned")]


def test_a_series_that_was_never_heard_is_missed_from_when_somebody_waits_for_it() -> None:
    plan = TrayPlan("tray-a", (), 300_000, silent_after_ms={"air_temperature": 600_000})
    engine = Engine([plan])
    assert engine.advance(10_000_000) == []
    engine.expect(10_000_000)
    assert [(one.time_ms, one.condition) for one in engine.advance(11_000_000)] == [
        (10_600_000, "sensor-silent")
    ]


def test_what_stands_now_is_told_with_what_it_is_beyond_and_what_stood_last() -> None:
    engine = Engine([one_limit(23.0)])
    engine.feed(chunk_of([Reading(60_000, "tray-a", "air_temperature", 24.0)]))
    engine.advance(90_000)
    present = engine.trays["tray-a"].present(90_000)["air_temperature"]
    assert present.stand is not None
    assert present.beyond == ("high",)
    later = engine.trays["tray-a"].present(360_000)["air_temperature"]
    assert later.stand is None
    assert later.last == present.stand
    assert later.beyond == ()


def test_photons_by_another_factor_are_forgotten_and_count_as_unseen() -> None:
    band = Band("daily_light_integral", (Limit("high", 2.0, 2.0, 0, 0),))
    bright = TrayPlan("tray-a", (StageSpan(-1, Stage("stage", 0, {band.quantity: band})),), 3_600_000)
    lamps = [replace(bright, lux_per_umol=factor) for factor in (54.0, 70.0)]
    light = [Reading(hour * 3_600_000, "tray-a", "illuminance", 7000.0) for hour in range(8)]
    for after, seen in ((lamps[0], 7 * 0.36 * 7000 / 5400), (lamps[1], 2 * 0.36)):
        engine = Engine([lamps[0]])
        engine.feed(chunk_of(light[:6]))
        engine.advance(light[5].time_ms + 1)
        resumed = Engine([after], engine.state())
        engine.trays["tray-a"].take_plan(after)
        for one in (engine, resumed):
            one.feed(chunk_of([light[5]._replace(time_ms=light[5].time_ms + 1), *light[6:]]))
            one.advance(light[7].time_ms + 1)
            stand = one.trays["tray-a"].present(light[7].time_ms + 1)["daily_light_integral"].stand
            assert stand is not None
            assert stand.for_high == pytest.approx(seen, rel=1e-4)


def test_air_without_any_vapour_has_no_dew_point_which_is_unknown_and_not_low() -> None:
    band = Band("dew_point", (Limit("low", 10.0, 10.0, 60_000, 0),))
    plan = TrayPlan("tray-a", (StageSpan(-1, Stage("stage", 0, {"dew_point": band})),), 300_000)
    readings = [Reading(0, "tray-a", "air_temperature", 20.0), Reading(0, "tray-a", "relative_humidity", 0.0)]
    readings.append(Reading(240_000, "tray-a", "air_temperature", 20.0))
    assert journal_at_once([plan], readings, 250_000) == reference_journal([plan], readings, 250_000) == []
    moist = [one._replace(value=20.0) for one in readings]
    assert [one.time_ms for one in journal_at_once([plan], moist, 250_000)] == [60_000]
