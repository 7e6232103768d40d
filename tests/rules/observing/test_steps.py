"""Steps of a trace: both sides of every edge, and what is no step."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from minute_by_minute import course, ramp, with_noise

from wardian.rules.observing.minutes import Trace
from wardian.rules.observing.steps import STEP_MINUTES, fall, rise

NAN = float("nan")


def trace(values: list[float], unrest: float = 0.0) -> Trace:
    mean = np.array(values)
    return Trace(mean - unrest, mean + unrest, mean)


@pytest.mark.parametrize(("size", "is_step"), [(4.9, False), (5.0, True), (50.0, True)])
def test_a_step_is_at_least_as_large_as_asked(size: float, is_step: bool) -> None:
    assert (fall(trace(course((12, 100), (1, 100 - size))), 5) is not None) is is_step
    assert (rise(trace(course((12, 100), (1, 100 + size))), 5) is not None) is is_step


def test_a_fall_is_no_rise() -> None:
    down = trace(course((12, 100), (1, 50)))
    assert rise(down, 5) is None
    assert fall(down, 5) == (50, 100, 1)


@pytest.mark.parametrize("minutes", [1, 2, 3])
def test_a_step_may_take_three_minutes_and_says_when_it_began(minutes: int) -> None:
    found = rise(trace([*course((13 - minutes, 100)), *ramp(minutes + 1, 100, 160)[1:]]), 50)
    assert found is not None
    assert (found.size, found.before, found.minutes_ago) == (60, 100, minutes)


def test_what_takes_longer_is_no_step() -> None:
    assert rise(trace([*course((8, 100)), *ramp(6, 100, 160)[1:]]), 50) is None


@pytest.mark.parametrize(("unrest", "is_step"), [(2.4, True), (2.6, False)])
def test_a_step_is_twice_as_large_as_the_unrest_before_it(unrest: float, is_step: bool) -> None:
    values = with_noise(course((12, 100)), unrest)
    assert (fall(trace([*values, 100 - unrest - 4 * 2.5]), 5) is not None) is is_step


def test_a_minute_that_touches_the_old_level_is_not_yet_a_step() -> None:
    values = trace(course((12, 100), (1, 90)), unrest=6)
    assert fall(values, 5) is None


def test_unknown_minutes_are_no_step_but_may_lie_before_one() -> None:
    assert fall(trace(course((12, 100), (1, NAN))), 5) is None
    assert fall(trace([*course((4, 100), (4, NAN), (4, 100)), 50]), 5) == (50, 100, 1)
    assert fall(trace([*course((12, NAN)), 50]), 5) is None


@given(st.lists(st.floats(0, 100), max_size=STEP_MINUTES - 1))
def test_too_short_a_trace_shows_no_step(values: list[float]) -> None:
    assert fall(trace(values), 1) is None
    assert rise(trace(values), 1) is None
