"""Mats that give no heat, and mats that do not stop."""

import numpy as np
import pytest
from tray_by_minutes import AIR, DAY, LIGHT, MEDIUM, Traces, cools, events, healthy, minute, set_to, told_of

DEAD = minute(1, 14)


def dead(to_c: float = 19.0) -> Traces:
    return cools(healthy(2), DEAD, to_c)


def runs_away(k_per_h: float, begin: int = DEAD, lasts: int = 180) -> Traces:
    traces = healthy(2)
    climbs = traces[MEDIUM][begin] + k_per_h / 60 * np.arange(lasts)
    return set_to(traces, MEDIUM, begin, begin + lasts, climbs)


def test_a_healthy_tray_is_not_spoken_of() -> None:
    assert told_of(healthy(3)) == []


def test_a_mat_that_gives_no_heat_is_told_within_two_hours() -> None:
    (name, event, at), *more = events(told_of(dead()))
    assert (name, event) == ("heater-idle", "raised")
    assert 30 <= at - DEAD <= 120  # it paused for half an hour before
    assert more == []


def test_it_is_told_by_a_sensor_that_speaks_every_five_minutes() -> None:
    assert [one[:2] for one in events(told_of(dead(), every=4))] == [("heater-idle", "raised")]


def test_it_returns_when_the_mat_heats_again() -> None:
    traces = dead()
    again = DEAD + 300
    warms = np.minimum(traces[MEDIUM][again] + 4 / 60 * np.arange(len(traces[MEDIUM]) - again), 23.3)
    told = events(told_of(set_to(traces, MEDIUM, again, len(traces[MEDIUM]), warms)))
    assert [one[:2] for one in told] == [("heater-idle", "raised"), ("heater-idle", "returned")]
    assert told[-1][2] - again <= 20


def test_a_mat_that_was_never_seen_to_heat_is_not_missed() -> None:
    traces = healthy(2)
    traces[MEDIUM] = np.full(2 * DAY, 23.0)
    assert told_of(cools(traces, DEAD, 19.0)) == []


def test_a_cold_room_that_takes_the_air_away_from_the_medium_is_no_dead_mat() -> None:
    traces = dead()
    traces = set_to(traces, AIR, DEAD, len(traces[AIR]), traces[MEDIUM][DEAD:] - 3)
    assert told_of(traces) == []


def test_a_medium_that_warms_with_its_room_and_rests_above_where_the_mat_comes_on_is_not_missed() -> None:
    traces = healthy(2)
    traces = set_to(traces, MEDIUM, DEAD, 2 * DAY, 24.0)
    assert told_of(set_to(traces, AIR, DEAD, 2 * DAY, 24.5)) == []


def test_a_probe_that_drifts_down_is_no_dead_mat() -> None:
    traces = healthy(3)
    sinks = 23.0 - 0.1 / 60 * np.arange(DAY + 600)
    assert told_of(set_to(traces, MEDIUM, 3 * DAY - len(sinks), 3 * DAY, sinks)) == []


def test_unknown_time_says_nothing_and_returns_nothing() -> None:
    traces = set_to(dead(), MEDIUM, DEAD + 200, 2 * DAY, np.nan)
    assert [one[:2] for one in events(told_of(traces)) if one[0] == "heater-idle"] == [
        ("heater-idle", "raised")
    ]


@pytest.mark.parametrize(("k_per_h", "is_told"), [(4.0, True), (2.1, True), (1.9, False)])
def test_a_mat_that_does_not_stop_is_told_by_its_climb(k_per_h: float, is_told: bool) -> None:
    told = [one for one in events(told_of(runs_away(k_per_h))) if one[0] == "heater-runaway"]
    assert bool(told) is is_told
    if told:
        assert 45 <= told[0][2] - DEAD <= 75
        assert [one[1] for one in told] == ["raised", "returned"]


def test_a_medium_that_warms_up_again_does_not_run_away() -> None:
    traces = dead(17.0)
    again = DEAD + 400
    warms = np.minimum(traces[MEDIUM][again] + 4 / 60 * np.arange(len(traces[MEDIUM]) - again), 23.6)
    told = events(told_of(set_to(traces, MEDIUM, again, len(traces[MEDIUM]), warms)))
    assert "heater-runaway" not in {one[0] for one in told}


def test_lost_mains_are_one_alarm_beside_no_other() -> None:
    traces = set_to(dead(), LIGHT, DEAD, minute(1, 23), 40.0)
    told = events(told_of(traces))
    assert [one[0] for one in told if one[2] < minute(1, 23)] == ["mains-lost"]
    assert 15 <= told[0][2] - DEAD <= 45


def test_lost_mains_return_with_the_lamp() -> None:
    traces = set_to(dead(), LIGHT, DEAD, DEAD + 180, 40.0)
    told = [one for one in events(told_of(traces)) if one[0] == "mains-lost"]
    assert [one[1] for one in told] == ["raised", "returned"]
    assert told[1][2] - DEAD - 180 <= 10
