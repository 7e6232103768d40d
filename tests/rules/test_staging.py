"""Stages advanced, held and set back: by worked examples, by a naive walk, and as the engine judges by them."""

import json
from collections.abc import Sequence
from dataclasses import replace

import pytest
from case_terms import air, hours, humid, minutes, plan, stage
from engine_strategies import Piece, Scenario, light_scenarios, pieces, scenarios
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from reference_engine import reference_journal
from staged_acts import ALWAYS_MS, act, act_records, stage_by_ticks, withdrawal

from wardian.rules.crops import Limit, StageSpan, stage_at
from wardian.rules.engine import Engine
from wardian.rules.plans import TrayPlan
from wardian.rules.readings import chunk_of
from wardian.rules.records import Record
from wardian.rules.staging import (
    ADVANCED,
    BY_DAY,
    HELD,
    HELD_FOR,
    SET_BACK,
    STAGE_OVERDUE,
    ByDay,
    followed,
    staged,
)
from wardian.rules.staging import staging as staging_of
from wardian.rules.transitions import Transition

DAY_MS = hours(24)
#: Callusing from day 0, rooting from day 7, toning from day 12; potted on by the end of day 13.
BY_DAYS = replace(
    plan((0, stage("callusing")), (7 * DAY_MS, stage("rooting")), (12 * DAY_MS, stage("toning"))),
    overdue_ms=14 * DAY_MS,
    figures={STAGE_OVERDUE: {HELD_FOR: 2.0 * DAY_MS}},
)


def days(count: float) -> int:
    return round(count * DAY_MS)


def spans(*records: Record) -> list[tuple[float, str]]:
    """Return when each stage begins, in days."""
    made = staged(BY_DAYS, records, 0)
    return [(span.from_ms / DAY_MS, span.stage.name) for span in made.spans]


def test_without_acts_the_stages_follow_the_days() -> None:
    made = staged(BY_DAYS, (), 0)
    assert (made.spans, made.overdue_ms, made.was_overdue) == (BY_DAYS.spans, 14 * DAY_MS, ())


def test_the_next_stage_begins_when_it_is_advanced_and_later_ones_keep_their_length() -> None:
    assert spans(act(ADVANCED, days(5.5))) == [(0, "callusing"), (5.5, "rooting"), (10.5, "toning")]
    assert staged(BY_DAYS, [act(ADVANCED, days(5.5))], 0).overdue_ms == days(12.5)
    twice = [act(ADVANCED, days(5)), act(ADVANCED, days(6), 2)]
    assert spans(*twice) == [(0, "callusing"), (5, "rooting"), (6, "toning")]


def test_a_held_stage_goes_on_until_it_is_advanced() -> None:
    assert spans(act(HELD, days(8))) == [(0, "callusing"), (7, "rooting")]
    freed = [act(HELD, days(8)), act(ADVANCED, days(15), 2)]
    assert spans(*freed) == [(0, "callusing"), (7, "rooting"), (15, "toning")]


def test_a_stage_set_back_is_held() -> None:
    assert spans(act(SET_BACK, days(8))) == [(0, "callusing"), (7, "rooting"), (8, "callusing")]
    again = [act(SET_BACK, days(8)), act(ADVANCED, days(9), 2)]
    assert spans(*again)[2:] == [(8, "callusing"), (9, "rooting"), (14, "toning")]


def test_by_day_again_is_by_the_days_after_sticking() -> None:
    early = [act(ADVANCED, days(3)), act(BY_DAY, days(4), 2)]
    assert spans(*early) == [
        (0, "callusing"),
        (3, "rooting"),
        (4, "callusing"),
        (7, "rooting"),
        (12, "toning"),
    ]
    late = [act(HELD, days(6)), act(BY_DAY, days(8), 2)]
    assert spans(*late) == [(0, "callusing"), (8, "rooting"), (12, "toning")]


@pytest.mark.parametrize(
    ("event", "day", "why"),
    [
        (SET_BACK, 3, "callusing is the first stage, none comes before it"),
        (ADVANCED, 13, "toning is the last stage, nothing follows it"),
        (HELD, -1, "no stage has begun"),
    ],
)
def test_what_cannot_be_meant_is_refused_and_changes_nothing(event: str, day: int, why: str) -> None:
    by_day = ByDay(BY_DAYS.spans, None)
    with pytest.raises(ValueError, match=why):
        followed(staging_of(BY_DAYS, (), 0).course, by_day, act(event, days(day)))
    assert staged(BY_DAYS, [act(event, days(day))], ALWAYS_MS).spans == BY_DAYS.spans


def test_an_act_that_is_put_on_record_later_changes_what_is_judged_from_then_on() -> None:
    late = act(ADVANCED, days(5), recorded_ms=days(5.5))
    assert spans(late) == [(0, "callusing"), (5.5, "rooting"), (10, "toning")]
    days_late = act(ADVANCED, days(5), recorded_ms=days(11))
    assert spans(days_late) == [(0, "callusing"), (7, "rooting"), (11, "toning")]


def test_what_was_withdrawn_held_until_then() -> None:
    advanced = act(ADVANCED, days(5))
    withdrawn = withdrawal(advanced, days(6), 2)
    assert spans(advanced, withdrawn) == [
        (0, "callusing"),
        (5, "rooting"),
        (6, "callusing"),
        (7, "rooting"),
        (12, "toning"),
    ]
    behind = withdrawal(advanced, days(8), 2)
    assert spans(advanced, behind) == [(0, "callusing"), (5, "rooting"), (12, "toning")]


def test_a_correction_takes_the_place_of_what_it_corrects() -> None:
    first = act(ADVANCED, days(5))
    second = act(HELD, days(5), 2, recorded_ms=days(6))._replace(corrects=1)
    assert spans(first, second) == [(0, "callusing"), (5, "rooting"), (6, "callusing")]


def test_acts_on_an_earlier_batch_and_on_other_trays_change_nothing() -> None:
    early = act(ADVANCED, days(5))
    assert staged(BY_DAYS, [early], days(6)).spans == BY_DAYS.spans
    other = early._replace(tray="tray-b")
    assert staged(BY_DAYS, [other], 0).spans == BY_DAYS.spans


def test_a_stage_is_overdue_beyond_the_day_of_potting_or_days_after_the_end_of_a_held_one() -> None:
    def overdue(*records: Record) -> tuple[int | None, tuple[tuple[int, int], ...]]:
        made = staged(BY_DAYS, records, 0)
        return made.overdue_ms, made.was_overdue

    assert overdue(act(HELD, days(8))) == (days(14), ())  # planned end on day 12, and two days
    assert overdue(act(SET_BACK, days(8))) == (days(17), ())  # callusing lasts seven days
    assert overdue(act(HELD, days(8)), act(ADVANCED, days(15), 2)) == (days(17), ((days(14), days(15)),))
    noted = act(HELD, days(14.5))
    assert overdue(noted) == (days(16.5), ((days(14), days(14.5)),))
    before_toning = replace(BY_DAYS, overdue_ms=days(3))
    assert staged(before_toning, (), 0).overdue_ms == days(12)  # no stage is late while another follows it
    nobody_said = replace(BY_DAYS, overdue_ms=None)
    assert staged(nobody_said, [act(HELD, days(13))], 0).overdue_ms is None


# ------------------------------------------------------------------------------ any acts at any instants

TICKS = 24


@given(st.lists(st.integers(0, TICKS), min_size=1, max_size=4, unique=True).map(sorted), st.data())
@settings(max_examples=400, deadline=None)
def test_any_acts_make_the_stages_of_a_naive_walk(begins: list[int], data: st.DataObject) -> None:
    by_day = plan(*((begin, stage(f"stage {place}")) for place, begin in enumerate(begins)))
    records = data.draw(act_records(["tray-a"], range(TICKS), ago_ms=(0, 0, 1, 3, 9)))
    made = staged(by_day, records, ALWAYS_MS)
    names = [span.stage.name for span in by_day.spans]
    for tick in range(TICKS + 10):
        place = stage_by_ticks(begins, records, tick)
        found = stage_at(made.spans, tick)
        assert (found and found.name) == (None if place is None else names[place]), tick
    times = [span.from_ms for span in made.spans]
    assert times == sorted(set(times))


@given(st.lists(st.integers(0, TICKS), min_size=1, max_size=4, unique=True).map(sorted), st.data())
@settings(max_examples=200, deadline=None)
def test_what_comes_on_record_later_changes_no_stage_before(begins: list[int], data: st.DataObject) -> None:
    by_day = plan(*((begin, stage(f"stage {place}")) for place, begin in enumerate(begins)))
    records = data.draw(act_records(["tray-a"], range(TICKS), ago_ms=(0, 1, 9)))
    for count, last in enumerate(records):
        before = staged(by_day, records[:count], ALWAYS_MS).spans
        after = staged(by_day, records[: count + 1], ALWAYS_MS).spans
        assert _until(before, last.recorded_ms) == _until(after, last.recorded_ms)


def _until(of: Sequence[StageSpan], end_ms: int) -> list[StageSpan]:
    return [span for span in of if span.from_ms < end_ms]


# ------------------------------------------------------------------------------------- as it is judged

anything = scenarios() | light_scenarios()
some_hundreds = settings(
    max_examples=250,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much],
)


def planned(scenario: Scenario, records: Sequence[Record], until_ms: float) -> tuple[TrayPlan, ...]:
    """Return the plans by what was on record before an instant."""
    known = [one for one in records if one.recorded_ms < until_ms]
    return tuple(staged(one, known, ALWAYS_MS) for one in scenario.plans)


def journal_live(
    scenario: Scenario, records: Sequence[Record], parts: Sequence[Piece], restarts: Sequence[bool]
) -> list[Transition]:
    """Return the journal of an engine that hears of each record before it judges the instant of its recording."""
    engine = Engine(planned(scenario, records, ALWAYS_MS))
    told: list[Transition] = []
    for part, restarts_now in zip([*parts, Piece((), (), scenario.end_ms)], [*restarts, False], strict=True):
        engine.take(part.readings)
        for mark in part.refused:
            engine.refuse(*mark)
        if part.advance_ms is not None:
            plans = planned(scenario, records, part.advance_ms + 1)
            if restarts_now:
                engine = Engine(plans, json.loads(json.dumps(engine.state())))
            for one in plans:
                engine.trays[one.tray].take_plan(one)
            told += engine.advance(part.advance_ms + 1)
        if restarts_now:
            engine = Engine(
                [one.plan for one in engine.trays.values()], json.loads(json.dumps(engine.state()))
            )
    return sorted(told, key=lambda one: one.order)


def test_what_only_a_later_stage_judges_is_derived_all_along() -> None:
    """A held stage has none after it; once advanced, the value that stands is judged at once."""
    dry = Limit("high", 0.5, 0.4, 0, 0)
    by_day = plan((0, stage("callusing")), (days(7), stage("rooting", vapour_pressure_deficit=dry)))
    held, advanced = act(HELD, 1), act(ADVANCED, minutes(3), 2)
    engine = Engine([staged(by_day, [held], 0)])
    engine.feed(chunk_of([*air((2, 25)), *humid((2, 60))]))
    assert engine.advance(minutes(3)) == []
    engine.trays["tray-a"].take_plan(staged(by_day, [held, advanced], 0))
    (raised,) = engine.advance(minutes(4))
    assert (raised.time_ms, raised.quantity, raised.stage) == (
        minutes(3),
        "vapour_pressure_deficit",
        "rooting",
    )


@given(anything, st.data())
@some_hundreds
def test_a_bench_judged_live_with_acts_and_restarts_has_the_journal_of_the_stages_they_made(
    scenario: Scenario, data: st.DataObject
) -> None:
    parts = data.draw(pieces(scenario))
    instants = sorted({0, *(one.time_ms for one in scenario.readings), scenario.end_ms})
    trays = [one.tray for one in scenario.plans]
    records = data.draw(act_records(trays, instants, ago_ms=(0, 0, 30_000, 3_600_000)))
    restarts = data.draw(st.lists(st.booleans(), min_size=len(parts), max_size=len(parts)))
    plans = planned(scenario, records, scenario.end_ms + 1)
    at_once = Engine(plans)
    at_once.feed(chunk_of(scenario.readings))
    for mark in scenario.refused:
        at_once.refuse(*mark)
    journal = at_once.advance(scenario.end_ms + 1)
    assert journal_live(scenario, records, parts, restarts) == journal
    naive = reference_journal(plans, scenario.readings, scenario.end_ms, scenario.refused)
    assert [(one.order, one.stage) for one in journal] == [(one.order, one.stage) for one in naive]
