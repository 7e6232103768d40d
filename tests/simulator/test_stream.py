"""What arrives of a pretended bench: in order, once, and the late ones when they do."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wardian.rules.faults import FAULTS
from wardian.rules.readings import Rows, Series
from wardian.rules.truth import TrueFault
from wardian.simulator.probes import PROBES
from wardian.simulator.setup import SOME_TIME_MS, BenchSetup, Regime, TraySetup
from wardian.simulator.stream import Stream
from wardian.simulator.wall import MS_PER_HOUR, MS_PER_MINUTE
from wardian.simulator.week import week

START_MS = 1_772_341_200_000
TRAYS = ("tray-a", "tray-b")
SETUP = BenchSetup(tuple(TraySetup(name, (Regime(SOME_TIME_MS, 26.0),)) for name in TRAYS), every_ms=30_000)
#: A reading is late by an hour at most.
LATEST_MS = MS_PER_HOUR
Row = tuple[int, str, str, float]


def at(hours: float) -> int:
    return START_MS + round(hours * MS_PER_HOUR)


def befallen(*names: str, setup: BenchSetup = SETUP) -> BenchSetup:
    """Return a bench whose second tray suffers from faults, one after the other, some at once."""
    faults = [
        TrueFault("tray-b", name, at(0.3 * place), at(0.3 * place + 1)) for place, name in enumerate(names)
    ]
    return replace(setup, faults=tuple(faults))


LATE = befallen("repeated and late readings")
EVERY_FAULT = befallen(*(name for name, kind in FAULTS.items() if kind.of_sensor))


def rows_of(pieces: Sequence[Rows]) -> list[Row]:
    return [
        (time_ms, *rows.series[code], value)
        for rows in pieces
        for code, time_ms, value in zip(
            rows.codes.tolist(), rows.times_ms.tolist(), rows.values.tolist(), strict=True
        )
    ]


def arrived(setup: BenchSetup, *hours: float) -> list[Row]:
    stream = Stream(setup, START_MS)
    return rows_of([stream.until(at(until_h)) for until_h in hours])


@pytest.mark.parametrize("setup", [SETUP, LATE, EVERY_FAULT], ids=["healthy", "late", "every fault"])
@given(cuts=st.lists(st.integers(1, 3 * MS_PER_HOUR - 1), max_size=6, unique=True))
@settings(max_examples=5, deadline=None)
def test_the_same_arrives_in_the_same_order_however_time_is_cut(setup: BenchSetup, cuts: list[int]) -> None:
    stream = Stream(setup, START_MS)
    pieces = [stream.until(START_MS + cut) for cut in [*sorted(cuts), 3 * MS_PER_HOUR]]
    assert rows_of(pieces) == arrived(setup, 3)


def test_what_is_on_time_arrives_in_order_of_time_up_to_the_instant_and_not_at_it() -> None:
    times_ms = [row[0] for row in arrived(SETUP, 2)]
    assert times_ms == sorted(times_ms)
    assert START_MS <= times_ms[0] < times_ms[-1] < at(2)
    first = Stream(SETUP, START_MS)
    assert len(first.until(times_ms[0]).codes) == 0
    assert first.until(times_ms[0] + 1).times_ms.tolist()[:1] == times_ms[:1]


def test_every_probe_of_every_tray_is_heard() -> None:
    counts = Counter(row[1:3] for row in arrived(SETUP, 2))
    assert set(counts) == {Series(tray, quantity) for tray in TRAYS for quantity in PROBES}
    assert all(235 <= count <= 240 for count in counts.values())


def test_late_readings_wait_and_come_between_those_of_their_time_of_arrival() -> None:
    rows = [row for row in arrived(LATE, 3) if row[1:3] == ("tray-b", "air_temperature")]
    behind_ms = [max(row[0] for row in rows[: place + 1]) - rows[place][0] for place in range(len(rows))]
    assert 5 * MS_PER_MINUTE - 60_000 < max(behind_ms) <= LATEST_MS
    assert len(rows) > len(set(rows)) > 350
    punctual = [row for row in arrived(SETUP, 3) if row[1:3] == ("tray-b", "air_temperature")]
    assert set(rows) == set(punctual)


def test_nothing_is_lost_or_doubled_between_pieces_and_the_rest() -> None:
    for end_h in (0.5, 0.9, 1.5):
        stream = Stream(LATE, START_MS)
        pieces = [stream.until(at(end_h / 3)), stream.until(at(end_h))]
        rest = stream.rest(at(end_h))
        whole = Stream(LATE, START_MS)
        later = [row for row in rows_of([whole.until(at(4))]) if row[0] < at(end_h)]
        assert Counter(rows_of([*pieces, rest])) == Counter(later)


def test_the_rest_is_what_was_read_before_an_instant_and_has_not_arrived() -> None:
    stream = Stream(LATE, START_MS)
    come = set(rows_of([stream.until(at(0.9))]))
    rest = stream.rest(at(0.9))
    assert len(rest.codes) > 5
    assert rest.times_ms.max() < at(0.9)
    assert not come & set(rows_of([rest]))
    assert {row[1] for row in rows_of([rest])} == {"tray-b"}
    assert len(Stream(SETUP, START_MS).rest(at(1)).codes) == 0


def test_asking_for_the_same_instant_or_an_earlier_one_brings_nothing() -> None:
    stream = Stream(SETUP, START_MS)
    assert len(stream.until(at(1)).codes) > 0
    assert len(stream.until(at(1)).codes) == len(stream.until(at(0.5)).codes) == 0
    assert rows_of([stream.until(at(2))]) == [row for row in arrived(SETUP, 2) if row[0] >= at(1)]


def test_after_a_pause_reading_goes_on_at_its_end() -> None:
    stream = Stream(SETUP, START_MS)
    stream.until(at(1))
    stream.skip(at(30))
    times_ms = stream.until(at(31)).times_ms
    on_their_way = times_ms[times_ms < at(30)]
    assert all(time_ms < at(1.1) for time_ms in on_their_way)
    later = times_ms[times_ms >= at(30)]
    assert later.min() < at(30) + 30_000
    assert len(later) == pytest.approx(120 * 10, abs=12)


# ------------------------------------------------------------------------------------------- weeks


@pytest.mark.parametrize("hours", [0.02, 1.0, 6.0, 6.01, 14.5])
def test_a_week_is_what_arrives_and_then_the_rest(hours: float) -> None:
    rows = rows_of(list(week(LATE, START_MS, at(hours))))
    later = [row for row in arrived(LATE, hours + 2) if row[0] < at(hours)]
    assert Counter(rows) == Counter(later)
    on_time = [row for row in rows if row[1] == "tray-a"]
    assert [row[0] for row in on_time] == sorted(row[0] for row in on_time)


def test_a_week_tells_how_much_is_done() -> None:
    told: list[float] = []
    pieces = list(week(SETUP, START_MS, at(26), told.append))
    assert len(pieces) == len(told) + 1 == 6
    assert told[-1] == 1.0
    assert all(earlier < later for earlier, later in pairwise([0.0, *told]))


def test_a_clock_that_was_set_back_stamps_a_week_s_readings_earlier() -> None:
    setup = replace(SETUP, faults=(TrueFault("tray-b", "clock set back", at(4), at(5)),))
    times_ms = np.concatenate([rows.times_ms for rows in week(setup, START_MS, at(8))])
    assert times_ms.min() >= START_MS
    assert times_ms.max() < at(8)
    in_order = np.diff(times_ms) >= 0
    assert not in_order.all()
