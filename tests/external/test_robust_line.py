"""The robust line against scipy's, which follows the same method independently."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wardian.rules.observing.lines import line_through

stats = pytest.importorskip("scipy.stats")


@settings(max_examples=200, deadline=None)
@given(values=st.lists(st.floats(-50, 50), min_size=3, max_size=12, unique=True))
def test_slope_interval_and_end_are_those_of_scipy(values: list[float]) -> None:
    # Values that differ, because scipy narrows its interval where some are alike, and ours stays the wider one.
    places = np.arange(len(values))
    theirs = stats.theilslopes(values, places, alpha=0.95, method="joint")
    ours = line_through(np.array(values))
    assert ours.slope == pytest.approx(float(theirs.slope), abs=1e-9)
    assert (ours.low, ours.high) == pytest.approx(
        (float(theirs.low_slope), float(theirs.high_slope)), abs=1e-9
    )
    assert ours.end == pytest.approx(float(theirs.intercept + theirs.slope * places[-1]), abs=1e-6)


def test_one_wild_value_does_not_move_the_line() -> None:
    values = np.arange(9.0)
    values[4] = 1000
    assert line_through(values).slope == 1
    assert line_through(values).end == 8
