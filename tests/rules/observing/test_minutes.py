"""Minutes against a naive walk over all readings."""

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from minute_by_minute import NOON_MS, read_by

from wardian.rules.observing.minutes import KEPT, MINUTE_MS, Minutes, Trace
from wardian.rules.readings import Points, Reading, points

AIR, MASS = "air_temperature", "tray_mass"
HOLD_MS = 5 * MINUTE_MS
NAN = float("nan")
#: When, and what.
Read = tuple[int, float]


def naive(read: Sequence[Read], from_ms: int, minutes: int) -> list[tuple[float, float, float]]:
    """Lowest, highest and mean of each minute; else what still stands through all of it."""
    first: dict[int, float] = {}
    for time_ms, value in read:
        first.setdefault(time_ms, value)
    rows = []
    for begin_ms in range(from_ms, from_ms + minutes * MINUTE_MS, MINUTE_MS):
        end_ms = begin_ms + MINUTE_MS
        mine = [value for time_ms, value in first.items() if begin_ms <= time_ms < end_ms]
        before = max((time_ms for time_ms in first if time_ms < begin_ms), default=None)
        if mine:
            rows.append((min(mine), max(mine), float(np.mean(mine))))
        elif before is not None and end_ms <= before + HOLD_MS:
            rows.append((first[before],) * 3)
        else:
            rows.append((NAN,) * 3)
    return rows


def assert_same(trace: Trace, rows: Sequence[tuple[float, float, float]]) -> None:
    np.testing.assert_allclose(np.array(trace).T.reshape(-1, 3), np.array(rows).reshape(-1, 3), rtol=1e-12)


def fed(read: Sequence[Read]) -> Points:
    return points([time_ms for time_ms, _ in read], [value for _, value in read])


def closed(minutes: Minutes, until_ms: int) -> int:
    """Close minutes; return how many."""
    return sum(1 for _ in minutes.close(until_ms))


seconds = st.integers(0, 40 * 60)
some_readings = st.lists(st.tuples(seconds, st.floats(-40, 80)), min_size=1, max_size=60)


@settings(max_examples=150, deadline=None)
@given(some=some_readings)
def test_minutes_are_what_a_walk_over_all_readings_finds(some: list[tuple[int, float]]) -> None:
    read = [(NOON_MS + second * 1000, value) for second, value in some]
    minutes = Minutes(HOLD_MS)
    minutes.feed(AIR, fed(read))
    count = closed(minutes, NOON_MS + 50 * MINUTE_MS)
    begin_ms = min(time_ms for time_ms, _ in read) // MINUTE_MS * MINUTE_MS
    assert count == (NOON_MS + 50 * MINUTE_MS - begin_ms) // MINUTE_MS
    assert_same(minutes.trace(AIR, KEPT), naive(read, begin_ms, count))


@settings(max_examples=150, deadline=None)
@given(some=some_readings, cuts=st.lists(st.integers(1, 20), max_size=8), live=st.booleans())
def test_minutes_are_the_same_however_readings_in_order_are_cut(
    some: list[tuple[int, float]], cuts: list[int], live: bool
) -> None:
    read = [(NOON_MS + second * 1000, value) for second, value in sorted(some, key=lambda one: one[0])]
    whole, cut = Minutes(HOLD_MS), Minutes(HOLD_MS)
    whole.feed(AIR, fed(read))
    at = 0
    for size in [*cuts, len(read)]:
        piece = read[at : at + size]
        at += size
        if live:
            cut.take(Reading(time_ms, "tray-a", AIR, value) for time_ms, value in piece)
        else:
            cut.feed(AIR, fed(piece))
        if piece:
            closed(cut, piece[-1][0])
    for one in (whole, cut):
        closed(one, NOON_MS + 50 * MINUTE_MS)
    assert whole.now_ms == cut.now_ms
    np.testing.assert_array_equal(np.array(whole.trace(AIR, KEPT)), np.array(cut.trace(AIR, KEPT)))


def test_a_reading_stands_for_minutes_that_it_fills_to_their_end() -> None:
    minutes = Minutes(HOLD_MS)
    minutes.feed(AIR, fed([(NOON_MS + 30_000, 20.0)]))
    closed(minutes, NOON_MS + 8 * MINUTE_MS)
    # It stands until 12:05:30: the sixth minute is not known to its end.
    np.testing.assert_array_equal(minutes.trace(AIR, 8).mean, [20, 20, 20, 20, 20, NAN, NAN, NAN])


def test_a_reading_at_the_very_beginning_stands_for_five_whole_minutes() -> None:
    minutes = Minutes(HOLD_MS)
    minutes.feed(AIR, fed([(NOON_MS, 20.0)]))
    closed(minutes, NOON_MS + 6 * MINUTE_MS)
    np.testing.assert_array_equal(minutes.trace(AIR, 6).mean, [20, 20, 20, 20, 20, NAN])


def test_what_stands_in_a_minute_is_the_last_reading_and_not_the_mean_before() -> None:
    minutes = Minutes(HOLD_MS)
    minutes.feed(AIR, fed([(NOON_MS, 20.0), (NOON_MS + 50_000, 24.0)]))
    closed(minutes, NOON_MS + 2 * MINUTE_MS)
    assert_same(minutes.trace(AIR, 2), [(20, 24, 22), (24, 24, 24)])


def test_a_minute_is_closed_once_it_is_over_and_not_before() -> None:
    minutes = Minutes(HOLD_MS)
    assert closed(minutes, NOON_MS) == 0
    minutes.feed(AIR, fed([(NOON_MS + 10_000, 20.0)]))
    assert closed(minutes, NOON_MS + MINUTE_MS - 1) == 0
    assert len(minutes.trace(AIR, 5).mean) == 0
    assert list(minutes.close(NOON_MS + MINUTE_MS)) == [NOON_MS + MINUTE_MS]
    assert minutes.now_ms == NOON_MS + MINUTE_MS


def test_a_reading_of_a_closed_minute_comes_too_late() -> None:
    minutes = Minutes(HOLD_MS)
    minutes.feed(AIR, fed([(NOON_MS, 20.0)]))
    closed(minutes, NOON_MS + 2 * MINUTE_MS)
    minutes.feed(AIR, fed([(NOON_MS + MINUTE_MS, 99.0), (NOON_MS + 2 * MINUTE_MS, 21.0)]))
    closed(minutes, NOON_MS + 3 * MINUTE_MS)
    np.testing.assert_array_equal(minutes.trace(AIR, 3).mean, [20, 20, 21])


def test_of_readings_of_one_instant_the_first_counts() -> None:
    minutes = Minutes(HOLD_MS)
    minutes.feed(AIR, fed([(NOON_MS, 20.0)]))
    minutes.feed(AIR, fed([(NOON_MS, 30.0)]))
    closed(minutes, NOON_MS + MINUTE_MS)
    assert_same(minutes.trace(AIR, 1), [(20, 20, 20)])


def test_readings_out_of_order_within_open_minutes_are_put_in_order() -> None:
    minutes = Minutes(HOLD_MS)
    minutes.feed(AIR, fed([(NOON_MS + 40_000, 22.0)]))
    minutes.feed(AIR, fed([(NOON_MS + 10_000, 20.0)]))
    closed(minutes, NOON_MS + 2 * MINUTE_MS)
    assert_same(minutes.trace(AIR, 2), [(20, 22, 21), (22, 22, 22)])


def test_a_quantity_that_comes_later_was_unknown_before() -> None:
    minutes = Minutes(HOLD_MS)
    minutes.feed(AIR, read_by([20.0, 20.0, 20.0]))
    closed(minutes, NOON_MS + 2 * MINUTE_MS)
    minutes.feed(MASS, read_by([3000.0], from_ms=NOON_MS + 2 * MINUTE_MS))
    closed(minutes, NOON_MS + 3 * MINUTE_MS)
    np.testing.assert_array_equal(minutes.trace(MASS, 9).mean, [NAN, NAN, 3000])
    np.testing.assert_array_equal(minutes.trace(AIR, 9).mean, [20, 20, 20])
    assert set(minutes.quantities) == {AIR, MASS}
    assert len(minutes.trace("ppfd", 9).mean) == 0


def test_a_trace_does_not_change_while_later_minutes_are_filled_at_once() -> None:
    minutes = Minutes(HOLD_MS)
    minutes.feed(AIR, read_by(list(range(300))))
    for place, _ in enumerate(minutes.close(NOON_MS + 300 * MINUTE_MS)):
        assert minutes.trace(AIR, 1).mean[0] == place
        assert len(minutes.trace(AIR, KEPT).mean) == place + 1


@pytest.mark.parametrize("piece", [7, 1000, 9000])
def test_the_last_three_days_are_remembered_as_older_minutes_make_room(piece: int) -> None:
    values = np.random.default_rng(1).normal(20, 3, 9000)
    minutes = Minutes(HOLD_MS)
    for at in range(0, len(values), piece):
        minutes.feed(AIR, read_by(values[at : at + piece], from_ms=NOON_MS + at * MINUTE_MS))
        closed(minutes, NOON_MS + min(at + piece, len(values)) * MINUTE_MS)
    np.testing.assert_array_equal(minutes.trace(AIR, KEPT).mean, values[-KEPT:])


@pytest.mark.parametrize("days", [3, 5, 40, 4000])
def test_after_any_gap_the_last_three_days_are_as_they_were(days: int) -> None:
    gap = days * 1440
    read = [(NOON_MS, 20.0), (NOON_MS + gap * MINUTE_MS, 25.0)]
    minutes = Minutes(HOLD_MS)
    minutes.feed(AIR, fed(read[:1]))
    closed(minutes, NOON_MS + MINUTE_MS)
    minutes.feed(AIR, fed(read[1:]))
    count = closed(minutes, NOON_MS + (gap + 2) * MINUTE_MS)
    assert count <= 2 * KEPT + 1
    assert minutes.now_ms == NOON_MS + (gap + 2) * MINUTE_MS
    kept = minutes.trace(AIR, min(gap, KEPT) - 5).mean
    np.testing.assert_array_equal(kept[-2:], [25, 25])
    assert np.isnan(kept[:-2]).all()


def test_time_that_passes_without_any_reading_closes_minutes_too() -> None:
    minutes = Minutes(HOLD_MS)
    minutes.feed(AIR, fed([(NOON_MS, 20.0)]))
    assert closed(minutes, NOON_MS + 100 * MINUTE_MS) == 100
    assert np.isnan(minutes.trace(AIR, 1).mean[0])
