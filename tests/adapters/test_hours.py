"""An hour of readings as bytes: identical to the bit when it comes back, few where a sensor is one."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wardian.adapters.stores.hours import (
    Damaged,
    Instants,
    hour_packed,
    hour_unpacked,
    instants_packed,
    instants_unpacked,
)
from wardian.adapters.stores.integers import LARGEST, packed, small, small_packed, unpacked
from wardian.rules.readings import Points, Times, points
from wardian.rules.units import UNITS, in_own_unit

HOUR_MS = 3_600_000
HOURS_MS = st.integers(-1_000_000, 1_000_000).map(lambda hours: hours * HOUR_MS)
OFFSETS_MS = st.integers(0, HOUR_MS - 1)
FINITE = st.floats(allow_nan=False, allow_infinity=False)
DECIMALS = st.builds(
    lambda number, decimals: number / 10**decimals, st.integers(-(10**9), 10**9), st.integers(0, 8)
)


def nothing_shared(number: int) -> Times:
    raise AssertionError(number)


def assert_comes_back(own: Points, hour_ms: int) -> None:
    again = hour_unpacked(hour_packed(own, hour_ms), hour_ms, nothing_shared)
    assert again.times_ms.tolist() == own.times_ms.tolist()
    assert again.times_ms.dtype == np.int64
    assert again.values.tobytes() == own.values.tobytes()


@given(st.dictionaries(OFFSETS_MS, FINITE | DECIMALS), HOURS_MS)
def test_whatever_the_times_and_the_numbers_they_come_back_to_the_bit(
    hour: dict[int, float], hour_ms: int
) -> None:
    times = sorted(hour)
    assert_comes_back(points([hour_ms + one for one in times], [hour[one] for one in times]), hour_ms)


@given(st.lists(st.integers(-(10**6), 10**6), min_size=1), st.integers(0, 6))
def test_of_one_resolution_they_come_back_to_the_bit(numbers: list[int], decimals: int) -> None:
    values = [number / 10**decimals for number in numbers]
    assert_comes_back(points(range(len(values)), values), 0)


@pytest.mark.parametrize("value", [0.0, -0.0, 5e-324, -1.7e308, 2.0**53 + 2, 0.1 + 0.2, 1e22, 1e23])
def test_numbers_on_the_edges_come_back_to_the_bit(value: float) -> None:
    assert_comes_back(points([0, 1], [value, 20.5]), 0)
    assert_comes_back(points([0], [value]), 0)


@given(st.dictionaries(OFFSETS_MS, DECIMALS, min_size=1), st.data())
def test_with_instants_that_are_kept_elsewhere_they_come_back_too(
    hour: dict[int, float], data: st.DataObject
) -> None:
    times = sorted(hour)
    own_times = sorted(data.draw(st.sets(st.sampled_from(times))))
    own = points(own_times, [hour[one] for one in own_times])
    every = points(times, times).times_ms
    elsewhere = {7: instants_unpacked(instants_packed(every, 0), 0)}
    again = hour_unpacked(hour_packed(own, 0, Instants(7, every)), 0, elsewhere.__getitem__)
    assert (again.times_ms.tolist(), again.values.tolist()) == (own.times_ms.tolist(), own.values.tolist())


def noisy(step: float, spread: float, seed: int = 7) -> list[float]:
    """Values about 25 that spread by so many steps."""
    numbers = np.random.default_rng(seed).normal(25 / step, spread, 360).round()
    return [round(float(number * step), 6) for number in numbers]


@pytest.mark.parametrize(
    ("values", "most_bytes"),
    [
        (noisy(0.01, 8), 1.0),
        (noisy(0.1, 4), 0.9),
        ([in_own_unit(value, UNITS["temperature"]["degF"]) for value in noisy(0.1, 4)], 0.9),
        ([round(value * 16) / 16 for value in noisy(0.01, 8)], 0.6),
        ([0.0] * 360, 0.15),
    ],
    ids=["hundredths", "tenths", "tenths of a degree Fahrenheit", "sixteenths", "dark"],
)
def test_a_sensors_hour_takes_few_bytes(values: list[float], most_bytes: float) -> None:
    own = points(range(0, HOUR_MS, 10_000), values)
    assert_comes_back(own, 0)
    assert len(hour_packed(own, 0)) <= most_bytes * 360


@given(st.binary(min_size=1), st.integers(0, 10_000))
def test_what_was_changed_is_refused(change: bytes, at: int) -> None:
    data = hour_packed(points([0, 10_000, 20_001], [20.5, 20.6, 20.4]), 0)
    place = at % len(data)
    changed = data[:place] + change + data[place + len(change) :]
    if changed != data:
        with pytest.raises(Damaged):
            hour_unpacked(changed, 0, nothing_shared)


@pytest.mark.parametrize("length", [0, 1, 4, 5, 12])
def test_what_was_cut_off_is_refused(length: int) -> None:
    data = hour_packed(points([0, 10_000, 20_001], [20.5, 20.6, 20.4]), 0)
    with pytest.raises(Damaged):
        hour_unpacked(data[:length], 0, nothing_shared)


@given(st.lists(st.integers(-LARGEST // 4, LARGEST // 4)))
def test_whole_numbers_come_back(numbers: list[int]) -> None:
    data = b"before" + packed(np.array(numbers, np.int64)) + b"after"
    again, end = unpacked(data, 6, len(numbers))
    assert again.tolist() == numbers
    assert data[end:] == b"after"


@given(st.integers())
def test_one_whole_number_of_any_size_comes_back(number: int) -> None:
    assert small(small_packed(number) + b"\0", 0) == (number, len(small_packed(number)))
