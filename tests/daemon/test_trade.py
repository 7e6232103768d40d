"""Which settings are not beaten, by the bare definition, and what counts as found among several settings."""

from math import inf

from hypothesis import given
from hypothesis import strategies as st

from wardian.daemon.trade import Found, Trade, founds, not_beaten, trade
from wardian.rules.scores import FOUND, MISSED, STANDING, WITHIN, Finding, Score
from wardian.rules.transitions import RAISED, Transition
from wardian.rules.truth import TrueFault

MINUTE_MS = 60_000
ALARM = Transition(0, "tray-a", "air_temperature", "low", RAISED, "low", 1.0, 2.0, "callusing", 0)
levels = st.sampled_from([0.0, 1.0, 2.0, inf])
trades = st.lists(st.builds(Trade, st.tuples(levels, levels), levels), min_size=1, max_size=6)


@given(trades)
def test_a_setting_is_beaten_by_one_that_is_no_worse_in_both_and_better_in_one(every: list[Trade]) -> None:
    for one, stays in zip(every, not_beaten(every), strict=True):
        beaten = False
        for other in every:
            earlier, quieter = other.late < one.late, other.loud < one.loud
            later, louder = other.late > one.late, other.loud > one.loud
            beaten |= (earlier or quieter) and not later and not louder
        assert stays is not beaten
    assert any(not_beaten(every))


def test_of_two_settings_with_one_median_the_one_that_misses_more_is_beaten() -> None:
    few = Found((1, 5, 5), missed=1, unneeded=3, unneeded_a_week=3.0)
    more = Found((1, 5), missed=1, unneeded=3, unneeded_a_week=3.0)
    assert few.median_ms == more.median_ms == 5
    assert not_beaten([trade(few, 0, 9), trade(more, 0, 9)]) == [True, True]
    less = Found((1, 5, 5), missed=0, unneeded=3, unneeded_a_week=3.0)
    assert less.median_ms == 5
    assert not_beaten([trade(few, 0, 9), trade(less, 0, 9)]) == [False, True]


def test_a_median_that_is_missed_is_never() -> None:
    assert Found((1,), missed=2, unneeded=0, unneeded_a_week=0.0).median_ms == inf
    assert Found((1,), missed=1, unneeded=0, unneeded_a_week=0.0).median_ms == inf
    assert Found((), missed=0, unneeded=0, unneeded_a_week=0.0).median_ms is None


def test_without_a_truth_untold_time_is_weighed_against_alarms() -> None:
    assert trade(None, 7, 3) == Trade((7,), 3)


# What counts as found.


def fault(number: int) -> TrueFault:
    return TrueFault("tray-a", "heater dead", number * MINUTE_MS, (number + 100) * MINUTE_MS)


def finding(number: int, result: str, late_min: int | None = None) -> Finding:
    late_ms = None if late_min is None else late_min * MINUTE_MS
    return Finding(
        fault(number), result, ALARM if late_min else None, late_ms, late_ms, 0, 0, late_min is not None
    )


def score(*findings: Finding, unneeded: int = 0) -> Score:
    return Score(findings, (ALARM,) * unneeded, (), {"tray-a": 0.5})


def test_a_fault_that_one_setting_finds_is_missed_by_one_that_waits_until_it_is_over() -> None:
    quick = [score(finding(1, FOUND, 10), finding(2, WITHIN), finding(3, FOUND, 4), unneeded=3)]
    slow = [score(finding(1, WITHIN), finding(2, WITHIN), finding(3, FOUND, 30))]
    found = founds([quick, slow])
    assert [(one.lateness_ms, one.missed, one.faults) for one in found] == [
        ((4 * MINUTE_MS, 10 * MINUTE_MS), 0, 2),
        ((30 * MINUTE_MS,), 1, 2),
    ]
    assert [(one.unneeded, one.unneeded_a_week) for one in found] == [(3, 6.0), (0, 0.0)]


def test_the_same_fault_in_two_weeks_is_two_faults() -> None:
    (found,) = founds([[score(finding(1, FOUND, 10)), score(finding(1, MISSED), unneeded=1)]])
    assert (found.faults, found.missed, found.unneeded, found.unneeded_a_week) == (2, 1, 1, 1.0)


def test_a_fault_during_which_an_alarm_stood_already_was_told_by_no_alarm_of_its_own() -> None:
    early, late = founds([[score(finding(1, STANDING))], [score(finding(1, FOUND, 5))]])
    assert (early.missed, late.missed) == (1, 0)


def test_a_tray_that_a_setting_does_not_watch_finds_nothing() -> None:
    blind, other = founds([[score()], [score(finding(1, FOUND, 5))]])
    assert (blind.missed, blind.faults, other.missed) == (1, 1, 0)
