"""The observer by conditions of its own: what is told, when, and of which trays."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import partial
from typing import ClassVar

from case_terms import plan, stage
from hypothesis import given, settings
from hypothesis import strategies as st
from minute_by_minute import NOON_MS, TRAY, chunk_by, course

from wardian.rules.evidence import Evidence
from wardian.rules.observing.looks import (
    LIFTED,
    NORMAL,
    UNCHANGED,
    Abnormal,
    Care,
    ConditionMaker,
    Look,
    Verdict,
)
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.observing.observer import Observer
from wardian.rules.plans import TrayPlan
from wardian.rules.readings import Reading, chunk_of
from wardian.rules.transitions import Transition

AIR = "air_temperature"


class Above30:
    """Raised above 30, returned below 20, nothing between the two; of one quantity."""

    name: ClassVar[str] = "above-30"
    every: ClassVar[int] = 1

    def __init__(self, quantity: str = AIR) -> None:
        self.quantity = quantity

    def judge(self, look: Look) -> Verdict:
        values = look.minutes.trace(self.quantity, 1).mean
        if not len(values) or 20 <= values[-1] <= 30:
            return UNCHANGED
        evidence = Evidence(self.quantity)
        return (
            Abnormal(look.now_ms - MINUTE_MS, evidence, float(values[-1]), 30) if values[-1] > 30 else NORMAL
        )


class FollowsFromIt:
    """Holds where the other stands."""

    name: ClassVar[str] = "follows"
    quantity: ClassVar[str] = AIR
    every: ClassVar[int] = 1

    def judge(self, look: Look) -> Verdict:
        return Abnormal(look.now_ms, Evidence("so")) if "above-30" in look.standing else NORMAL


MAKERS: list[ConditionMaker] = [Above30, partial(Above30, "medium_temperature"), FollowsFromIt]


def planned(*names: str, from_ms: int = 0, tray: str = TRAY) -> TrayPlan:
    return replace(plan((from_ms, stage("callusing")), tray=tray), figures={name: {} for name in names})


def brief(told: Iterable[Transition]) -> list[tuple[int, str, str, str]]:
    return [((one.time_ms - NOON_MS) // MINUTE_MS, one.quantity, one.condition, one.event) for one in told]


def observed(
    conditions: Sequence[ConditionMaker], plans: Sequence[TrayPlan], **traces: list[float]
) -> list[Transition]:
    observer = Observer(plans, conditions)
    observer.feed(chunk_by(traces))
    return observer.advance(NOON_MS + 10 * MINUTE_MS)


def test_a_condition_is_raised_once_and_returned_once() -> None:
    told = observed(
        [Above30], [planned("above-30")], air_temperature=course((3, 25), (2, 31), (2, 25), (2, 19))
    )
    assert brief(told) == [(4, AIR, "above-30", "raised"), (8, AIR, "above-30", "returned")]
    assert (told[0].value, told[0].threshold, told[0].since_ms) == (31, 30, NOON_MS + 3 * MINUTE_MS)
    assert told[0].evidence == told[1].evidence == Evidence(AIR)
    assert told[0].stage == "callusing"


def test_a_condition_without_figures_in_the_plan_is_not_judged() -> None:
    assert observed([Above30], [planned()], air_temperature=course((5, 31))) == []


def test_nothing_is_judged_before_the_first_stage_begins() -> None:
    sticking_ms = NOON_MS + 3 * MINUTE_MS
    told = observed([Above30], [planned("above-30", from_ms=sticking_ms)], air_temperature=course((9, 31)))
    assert brief(told) == [(4, AIR, "above-30", "raised")]


def test_a_tray_nobody_planned_is_not_observed() -> None:
    assert observed([Above30], [planned("above-30", tray="tray-z")], air_temperature=course((9, 31))) == []


def test_a_later_condition_sees_in_the_same_minute_that_an_earlier_one_stands() -> None:
    told = observed(
        [Above30, FollowsFromIt],
        [planned("above-30", "follows")],
        air_temperature=course((3, 25), (2, 31), (3, 19)),
    )
    assert {(at, event) for at, _, _, event in brief(told)} == {(4, "raised"), (6, "returned")}
    assert len(told) == 4


def test_conditions_of_one_name_stand_by_quantity_and_the_name_stands_as_long_as_one_does() -> None:
    observer = Observer([planned("above-30", "follows")], MAKERS)
    observer.feed(
        chunk_by(
            {
                AIR: course((2, 25), (4, 31), (6, 19)),
                "medium_temperature": course((3, 25), (1, 31), (6, 19)),
            }
        )
    )
    told = brief(observer.advance(NOON_MS + 4 * MINUTE_MS))
    assert observer.raised() == {
        (TRAY, AIR, "above-30"),
        (TRAY, "medium_temperature", "above-30"),
        (TRAY, AIR, "follows"),
    }
    told += brief(observer.advance(NOON_MS + 10 * MINUTE_MS))
    assert observer.raised() == set()
    assert [one for one in told if one[2] == "above-30"] == [
        (3, AIR, "above-30", "raised"),
        (4, "medium_temperature", "above-30", "raised"),
        (5, "medium_temperature", "above-30", "returned"),
        (7, AIR, "above-30", "returned"),
    ]
    assert [one for one in told if one[2] == "follows"] == [
        (3, AIR, "follows", "raised"),
        (7, AIR, "follows", "returned"),
    ]


def test_recorded_care_is_before_the_eyes_of_a_condition() -> None:
    observer = Observer([planned()], [])
    observer.record(TRAY, Care(LIFTED, NOON_MS, NOON_MS + MINUTE_MS))
    observer.feed(chunk_by({AIR: [25.0, 25.0]}))
    observer.advance(NOON_MS + 2 * MINUTE_MS)
    found = observer.trays[TRAY].look().last_care(LIFTED)
    assert found is not None
    assert found.is_recorded


def test_each_tray_is_observed_up_to_its_own_instant() -> None:
    plans = [planned("above-30"), planned("above-30", tray="tray-b")]
    observer = Observer(plans, [Above30])
    for plan_of in plans:
        observer.take(Reading(NOON_MS + at * MINUTE_MS, plan_of.tray, AIR, 31) for at in range(5))
    told = observer.advance({TRAY: NOON_MS, "tray-b": NOON_MS + 2 * MINUTE_MS})
    assert [one.tray for one in told] == ["tray-b"]


temperatures = st.lists(st.floats(15, 35), min_size=1, max_size=60)


@settings(max_examples=50, deadline=None)
@given(values=temperatures, cuts=st.lists(st.integers(1, 30), max_size=8), live=st.booleans())
def test_the_same_is_told_however_readings_are_cut(values: list[float], cuts: list[int], live: bool) -> None:
    readings = [Reading(NOON_MS + at * 17_000, TRAY, AIR, value) for at, value in enumerate(values)]
    whole, cut = (Observer([planned("above-30")], [Above30]) for _ in range(2))
    whole.feed(chunk_of(readings))
    end_ms = readings[-1].time_ms + 10 * MINUTE_MS
    told: list[Transition] = []
    at = 0
    for size in [*cuts, len(readings)]:
        piece = readings[at : at + size]
        at += size
        if live:
            cut.take(piece)
        else:
            cut.feed(chunk_of(piece))
        told += cut.advance(piece[-1].time_ms if piece else end_ms)
    assert told + cut.advance(end_ms) == whole.advance(end_ms)
