"""The naive reading of the rules against examples worked by hand and against the bare definitions."""

from collections import Counter
from collections.abc import Sequence

import pytest
from case_terms import high, plan, stage
from engine_cases import CASES, Case
from engine_strategies import Scenario, light_scenarios, pieces, scenarios
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st
from reference_engine import reference_journal

from wardian.rules.crops import Limit
from wardian.rules.readings import Reading
from wardian.rules.transitions import RAISED, RETURNED, Transition

anything = scenarios() | light_scenarios()
a_few = settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def journal_of(scenario: Scenario, end_ms: int | None = None) -> list[Transition]:
    until_ms = scenario.end_ms if end_ms is None else end_ms
    return reference_journal(scenario.plans, scenario.readings, until_ms, scenario.refused)


# Worked examples.


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_worked_example_is_judged_as_worked_by_hand(case: Case) -> None:
    journal = reference_journal(case.plans, case.readings, case.end_ms, case.refused)
    assert [
        (one.time_ms, one.tray, one.quantity, one.limit or one.condition, one.event) for one in journal
    ] == list(case.expected)
    if case.details is not None:
        for transition, (value, *others) in zip(journal, case.details, strict=True):
            assert transition.value == (None if value is None else pytest.approx(value, abs=1e-4))
            assert [transition.threshold, transition.stage, transition.since_ms] == others


def test_every_worked_example_has_a_name_of_its_own() -> None:
    assert len({case.name for case in CASES}) == len(CASES)


# What holds for any readings.


@given(anything, st.data())
@a_few
def test_what_comes_later_changes_nothing_printed_before(scenario: Scenario, data: st.DataObject) -> None:
    cut_ms = data.draw(st.sampled_from(sorted({one.time_ms for one in scenario.readings} | {0})))
    assert journal_of(scenario, cut_ms) == [one for one in journal_of(scenario) if one.time_ms <= cut_ms]


@given(anything)
@a_few
def test_every_alarm_is_raised_and_returned_in_turn(scenario: Scenario) -> None:
    raised: Counter[tuple[str, str, str]] = Counter()
    for one in journal_of(scenario):
        raised[one.alarm] += 1 if one.event == RAISED else -1
        # 2: a new run is raised at the instant of the old one's return, which is printed after it.
        assert raised[one.alarm] in (0, 1, 2)
        assert one.since_ms <= one.time_ms
    assert set(raised.values()) <= {0, 1}


@given(anything)
@a_few
def test_trays_know_nothing_of_each_other(scenario: Scenario) -> None:
    alone = [
        one
        for tray_plan in scenario.plans
        for one in reference_journal([tray_plan], scenario.readings, scenario.end_ms, scenario.refused)
    ]
    assert journal_of(scenario) == sorted(alone, key=lambda one: one.order)


# Once more by definition: millisecond by millisecond, without a word of runs that start or end.


@given(
    st.lists(st.tuples(st.integers(0, 40), st.sampled_from((24.75, 25.0, 25.25, 26.0, 26.25))), max_size=12),
    st.integers(0, 12),
    st.integers(0, 12),
    st.integers(1, 12),
)
@settings(max_examples=300, deadline=None)
def test_one_limit_is_judged_as_every_single_millisecond_says(
    points: list[tuple[int, float]], on_ms: int, off_ms: int, hold_ms: int
) -> None:
    limit = high(26, on_ms=on_ms, off_ms=off_ms)
    tray_plan = plan((0, stage("callusing", air_temperature=limit)), hold_ms=hold_ms)
    readings = [Reading(at_ms, "tray-a", "air_temperature", value) for at_ms, value in points]
    journal = reference_journal([tray_plan], readings, 60)
    events = events_by_definition(limit, verdicts_by_definition(limit, readings, hold_ms, 60))
    assert sorted((one.time_ms, one.event) for one in journal) == sorted(events)


def verdicts_by_definition(
    limit: Limit, readings: Sequence[Reading], hold_ms: int, end_ms: int
) -> list[bool | None]:
    """Say of every millisecond whether the value is beyond; None where it is unknown."""
    first = {one.time_ms: one.value for one in reversed(readings)}
    is_beyond = False
    verdicts: list[bool | None] = []
    for now_ms in range(end_ms + 1):
        latest_ms = max((at_ms for at_ms in first if at_ms <= now_ms), default=-hold_ms)
        if now_ms >= latest_ms + hold_ms:
            verdicts.append(None)
            continue
        value = first[latest_ms]
        is_beyond = value > limit.threshold or (is_beyond and value > limit.clear)
        verdicts.append(is_beyond)
    return verdicts


def events_by_definition(limit: Limit, verdicts: Sequence[bool | None]) -> list[tuple[int, str]]:
    """Raise and return wherever the whole delay up to a millisecond has the verdict for it."""
    events = []
    is_raised, changed_ms = False, 0
    for now_ms in range(len(verdicts)):
        for _ in (RAISED, RETURNED):  # both may share the instant
            start_ms = now_ms - (limit.off_delay_ms if is_raised else limit.on_delay_ms)
            stretch = verdicts[start_ms : max(now_ms, start_ms + 1)]
            if start_ms >= changed_ms and all(verdict is (not is_raised) for verdict in stretch):
                is_raised, changed_ms = not is_raised, now_ms
                events.append((now_ms, RAISED if is_raised else RETURNED))
    return events


# That the strategies ask something.


@pytest.mark.parametrize(
    ("strategy", "quantities"),
    [
        (
            scenarios(),
            [
                *("air_temperature", "relative_humidity", "leaf_temperature", "illuminance", "ppfd"),
                *("vapour_pressure_deficit", "leaf_vapour_pressure_deficit", "dew_point"),
                *("tray_mass", "water_lost"),
            ],
        ),
        (light_scenarios(), ["light_hours", "daily_light_integral"]),
    ],
)
def test_scenarios_raise_and_return_every_quantity(
    strategy: st.SearchStrategy[Scenario], quantities: Sequence[str]
) -> None:
    wanted = {(quantity, event) for quantity in quantities for event in (RAISED, RETURNED)}
    reached: set[tuple[str, str]] = set()

    def gather(scenario: Scenario) -> None:
        reached.update((one.quantity, one.event) for one in journal_of(scenario) if one.limit)

    for round_ in range(20):
        if not wanted <= reached:
            seed(round_)(settings(a_few, max_examples=100, database=None)(given(strategy)(gather)))()
    assert wanted <= reached


@given(anything, st.data())
@a_few
def test_pieces_are_the_whole_scenario_and_never_advance_past_what_is_to_come(
    scenario: Scenario, data: st.DataObject
) -> None:
    reached_ms = -(10**9)
    parts = data.draw(pieces(scenario))
    for part in parts:
        arriving_ms = [one.time_ms for one in part.readings] + [mark[0] for mark in part.refused]
        assert all(time_ms > reached_ms for time_ms in arriving_ms)
        if part.advance_ms is not None:
            assert reached_ms <= part.advance_ms <= scenario.end_ms
            reached_ms = part.advance_ms
    assert [one for part in parts for one in part.readings] == list(scenario.readings)
    assert sorted(one for part in parts for one in part.refused) == sorted(scenario.refused)


@given(anything)
@a_few
def test_readings_arrive_no_later_than_they_may_settle(scenario: Scenario) -> None:
    latest_ms = 0
    for one in scenario.readings:
        latest_ms = max(latest_ms, one.time_ms)
        assert latest_ms - one.time_ms <= scenario.settle_ms
