"""A series as columns: every value that stood shows, and nothing shows where nothing stood."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wardian.rules.columns import columns, standing, unknown_spans
from wardian.rules.judging import Stretch
from wardian.rules.readings import points
from wardian.rules.shares import length_ms

HOLD_MS = 7
READINGS = st.dictionaries(st.integers(-20, 120), st.integers(-5, 5), max_size=40)


def stretch_of(readings: dict[int, int], hold_ms: int = HOLD_MS) -> Stretch:
    return standing(points(readings.keys(), map(float, readings.values())), hold_ms)


def value_at(readings: dict[int, int], instant: int) -> int | None:
    """What stands at an instant, by looking back from it."""
    last = max((time for time in readings if time <= instant), default=None)
    return readings[last] if last is not None and instant < last + HOLD_MS else None


@given(READINGS, st.integers(0, 30), st.integers(1, 60), st.integers(1, 70))
def test_a_column_holds_the_least_and_the_most_that_stood_at_any_of_its_instants(
    readings: dict[int, int], from_ms: int, length: int, count: int
) -> None:
    span = (from_ms, from_ms + length)
    low, high = columns(stretch_of(readings), span, count)
    for column in range(count):
        instants = [ms for ms in range(*span) if (ms - from_ms) * count // length == column]
        stood = [value for ms in instants if (value := value_at(readings, ms)) is not None]
        if stood:
            assert (low[column], high[column]) == (min(stood), max(stood))
        elif instants:
            assert np.isnan(low[column])
            assert np.isnan(high[column])


@given(READINGS, st.integers(0, 30), st.integers(1, 60))
def test_unknown_time_is_every_instant_at_which_nothing_stood(
    readings: dict[int, int], from_ms: int, length: int
) -> None:
    span = (from_ms, from_ms + length)
    spans = unknown_spans(stretch_of(readings), span)
    unknown = {ms for begin, end in spans for ms in range(begin, end)}
    assert unknown == {ms for ms in range(*span) if value_at(readings, ms) is None}
    assert length_ms(spans) == len(unknown)


@given(st.integers(0, 59_999), st.sampled_from([-40.0, 80.0]))
def test_one_reading_among_sixty_thousand_shows(place: int, value: float) -> None:
    every_ms, count = 10_000, 800
    values = np.full(60_000, 24.0)
    values[place] = value
    times = np.arange(60_000, dtype=np.int64) * every_ms
    low, high = columns(Stretch(times, times + 300_000, values, values), (0, 60_000 * every_ms), count)
    assert (low if value < 24 else high)[place * count // 60_000] == value
    assert not np.isnan(low).any()


def test_a_reading_from_before_the_picture_stands_at_its_beginning() -> None:
    low, _ = columns(stretch_of({-3: 2}), (0, 10), 10)
    assert low[:4].tolist() == [2.0] * 4
    assert np.isnan(low[4:]).all()


def test_the_end_of_the_picture_is_no_part_of_it() -> None:
    low, _ = columns(stretch_of({10: 2}), (0, 10), 10)
    assert np.isnan(low).all()


def test_of_readings_at_one_instant_the_first_stands() -> None:
    low, high = columns(standing(points([5, 5], [1.0, 9.0]), HOLD_MS), (0, 10), 1)
    assert (low[0], high[0]) == (1.0, 1.0)


@pytest.mark.parametrize("count", [1, 3, 1000])
def test_nothing_gives_empty_columns(count: int) -> None:
    low, high = columns(stretch_of({}), (0, 10), count)
    assert len(low) == len(high) == count
    assert np.isnan(low).all()
    assert unknown_spans(stretch_of({}), (0, 10)) == [(0, 10)]
