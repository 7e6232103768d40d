"""What every store promises of closed hours: nothing reads otherwise, and what they came to can be asked for."""

from typing import Final

import pytest
from case_terms import high, plan, stage
from store_rounds import HOUR_MS, NOON_MS

from wardian.rules.plans import TrayPlan
from wardian.rules.ports import Kept, Round, Store
from wardian.rules.readings import Reading, Series

AIR: Final = Series("tray-a", "air_temperature")
MINUTE_MS: Final = 60_000
END_MS: Final = NOON_MS + 1_000 * HOUR_MS
WARM: Final = plan((0, stage("callusing", air_temperature=high(25, 1))), hold_ms=5 * MINUTE_MS)


def air(minutes: float, value: float = 24.5, tray: str = "tray-a") -> Reading:
    return Reading(NOON_MS + round(minutes * MINUTE_MS), tray, "air_temperature", value)


def folded(store: Store, before_ms: int = END_MS, *plans: TrayPlan) -> None:
    while store.fold(before_ms, {one.tray: one for one in plans or (WARM,)}, 1):
        pass


def pieces(store: Store, series: Series = AIR) -> list[tuple[float, float, float, float, int, int, int]]:
    """Return pieces with minutes after noon and seconds."""
    rollups = store.rollups(series, 0, END_MS)
    rows = zip(*(column.tolist() for column in rollups), strict=True)
    return [
        ((at - NOON_MS) / MINUTE_MS, low, mean, top, known // 1000, judged // 1000, within // 1000)
        for at, low, mean, top, known, judged, within in rows
    ]


@pytest.fixture
def store_of_hours(store: Store) -> Store:
    """A store with a reading each ten minutes from noon to three."""
    store.keep(Round(NOON_MS, readings=[air(minute, 24 + minute / 100) for minute in range(0, 190, 10)]))
    return store


def test_what_was_folded_reads_as_before(store_of_hours: Store) -> None:
    store = store_of_hours
    store.keep(Round(NOON_MS, late=[air(15, 20.0)]))
    every = list(store.readings(0, END_MS))
    chunk = store.chunk(NOON_MS + 1, END_MS)[AIR]
    counts, late, latest = store.counts(), store.late(0, END_MS), store.latest()
    folded(store)
    assert store.folded_until_ms() == NOON_MS + 2 * HOUR_MS
    assert list(store.readings(0, END_MS)) == every
    again = store.chunk(NOON_MS + 1, END_MS)[AIR]
    assert (again.times_ms.tolist(), again.values.tolist()) == (
        chunk.times_ms.tolist(),
        chunk.values.tolist(),
    )
    assert (store.counts(), store.late(0, END_MS), store.latest()) == (counts, late, latest)


def test_of_repeats_of_a_folded_reading_the_first_still_stands(store_of_hours: Store) -> None:
    store = store_of_hours
    folded(store)
    again = Round(NOON_MS, readings=[air(10, 99.0)], late=[air(20, 99.0), air(21, 20.0), air(21, 21.0)])
    assert store.keep(again) == Kept(readings=1, repeated=3)
    assert [one for one in store.readings(0, END_MS) if one.value in (99.0, 20.0, 21.0)] == [air(21, 20.0)]
    assert store.counts()["readings"] == 20
    assert store.late(0, END_MS) == {AIR: 1}


def test_a_reading_of_a_folded_hour_is_read_in_order_and_counts_once_that_is_folded_again(
    store_of_hours: Store,
) -> None:
    store = store_of_hours
    folded(store)
    before = pieces(store)
    store.keep(Round(NOON_MS, late=[air(11, 26.0)]))
    in_order = [air(0, 24.0), air(10, 24.1), air(11, 26.0), air(20, 24.2)]
    assert list(store.readings(0, END_MS))[:4] == in_order
    assert pieces(store) == before
    folded(store)
    assert list(store.readings(0, END_MS))[:4] == in_order
    assert air(11, 26.0) not in store.readings(0, END_MS, late=False)
    assert [piece for piece in pieces(store) if 10 <= piece[0] < 20] == [
        (10, 24.1, pytest.approx((24.1 + 4 * 26) / 5, abs=1e-4), 26.0, 300, 300, 60),
        (15, 26.0, 26.0, 26.0, 60, 60, 0),
    ]


def test_what_a_late_reading_changes_in_the_next_hours_is_changed_there(store: Store) -> None:
    store.keep(Round(NOON_MS, readings=[air(50, 23.0), air(61, 24.5), air(121, 24.5), air(300)]))
    folded(store)
    assert [piece[4:] for piece in pieces(store)] == [(300, 300, 300), *[(240, 240, 240), (60, 60, 60)] * 2]
    store.keep(Round(NOON_MS, late=[air(58, 25.5)]))
    folded(store)
    # From 12:58 on it is too warm, and 24.5 is not yet back by the deadband, an hour later neither.
    assert [piece[4:] for piece in pieces(store)] == [
        (300, 300, 300),
        (120, 120, 0),
        (300, 300, 0),
        (60, 60, 0),
        (240, 240, 0),
        (60, 60, 0),
    ]


def test_an_hour_is_closed_when_it_ended_an_hour_before_that_of_the_newest_reading(store: Store) -> None:
    store.keep(Round(NOON_MS, readings=[air(0), air(119)]))
    folded(store)
    assert (store.folded_until_ms(), pieces(store)) == (NOON_MS, [])
    store.keep(Round(NOON_MS, readings=[air(120)]))
    folded(store)
    assert store.folded_until_ms() == NOON_MS + HOUR_MS
    assert [piece[0] for piece in pieces(store)] == [0]


def test_no_hour_is_folded_that_ended_later_than_was_asked_for(store_of_hours: Store) -> None:
    folded(store_of_hours, NOON_MS + 2 * HOUR_MS - 1)
    assert store_of_hours.folded_until_ms() == NOON_MS + HOUR_MS
    assert pieces(store_of_hours)[-1][0] == 50


def test_a_value_that_stands_on_into_an_empty_hour_is_known_there(store: Store) -> None:
    store.keep(Round(NOON_MS, readings=[air(58, 24.0), air(400)]))
    folded(store)
    assert pieces(store) == [(55, 24.0, 24.0, 24.0, 120, 120, 120), (60, 24.0, 24.0, 24.0, 180, 180, 180)]


def test_of_a_tray_that_nobody_watches_any_more_it_is_known_what_it_was_and_no_band(store: Store) -> None:
    store.keep(Round(NOON_MS, readings=[air(1, 30.0, "tray-z"), air(400)]))
    folded(store)
    assert pieces(store, Series("tray-z", "air_temperature")) == [
        (0, 30.0, 30.0, 30.0, 240, 0, 0),
        (5, 30.0, 30.0, 30.0, 60, 0, 0),
    ]


def test_of_what_was_never_read_there_are_no_pieces(store: Store) -> None:
    folded(store)
    assert store.folded_until_ms() == 0
    assert pieces(store) == []


def test_trays_and_quantities_are_read_alone(store: Store) -> None:
    light = Reading(NOON_MS, "tray-a", "illuminance", 900.0)
    store.keep(Round(NOON_MS, readings=[air(0), air(0, 20.0, "tray-b"), light, air(400)]))
    for _ in range(2):
        assert set(store.chunk(0, END_MS, trays=["tray-b"])) == {Series("tray-b", "air_temperature")}
        assert set(store.chunk(0, END_MS, ["air_temperature"], ["tray-a"])) == {AIR}
        assert store.chunk(0, END_MS, [], ["tray-a"]) == {}
        folded(store)
