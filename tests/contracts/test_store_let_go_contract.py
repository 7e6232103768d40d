"""What every store promises of letting go: the oldest goes, the rest stays true, and people's words stay for good."""

from typing import Final

import pytest
from case_terms import high, plan, stage
from store_rounds import HOUR_MS, NOON_MS, change, to_tell

from wardian.rules.kept import Older
from wardian.rules.ports import Kept, Refused, Round, Store
from wardian.rules.readings import Reading, Series
from wardian.rules.records import NOTE, Record

END_MS: Final = NOON_MS + 1_000 * HOUR_MS
AIR: Final = Series("tray-a", "air_temperature")
PLANS: Final = {"tray-a": plan((0, stage("callusing", air_temperature=high(25, 1))), hold_ms=300_000)}


def air(hours: float, value: float = 24.5, tray: str = "tray-a") -> Reading:
    return Reading(NOON_MS + round(hours * HOUR_MS), tray, "air_temperature", value)


def fold(store: Store) -> None:
    while store.fold(END_MS, PLANS, 1):
        pass


def let_go(store: Store, older: Older) -> None:
    while store.let_go(older):
        pass


@pytest.fixture(params=["in rows", "folded"])
def day(request: pytest.FixtureRequest, store: Store) -> Store:
    """A store with a reading each half hour from noon to midnight, and one of a tray that then fell silent."""
    readings = [air(half / 2, 24 + half / 100) for half in range(24)]
    store.keep(Round(NOON_MS, readings=[air(0.2, 20.0, "tray-b"), *readings]))
    store.keep(Round(NOON_MS, late=[air(1.7, 23.0)], refused=[Refused("x", "why", "raw")]))
    if request.param == "folded":
        fold(store)
    return store


def hours_of(store: Store) -> list[float]:
    return sorted({(one.time_ms - NOON_MS) // HOUR_MS for one in store.readings(0, END_MS)})


def test_whole_hours_before_an_instant_go_and_nothing_else(day: Store) -> None:
    let_go(day, Older(readings_ms=NOON_MS + 3 * HOUR_MS + 1))
    assert hours_of(day) == [3, 4, 5, 6, 7, 8, 9, 10, 11]
    assert day.counts()["readings"] == len(list(day.readings(0, END_MS))) == 18
    assert (day.counts()["late"], day.late(0, END_MS)) == (0, {})


def test_a_series_of_which_all_went_is_not_known_any_more_and_the_newest_of_others_is(day: Store) -> None:
    assert set(day.latest()) == {AIR, Series("tray-b", "air_temperature")}
    let_go(day, Older(readings_ms=NOON_MS + HOUR_MS))
    assert day.latest() == {AIR: air(11.5, 24.23)}


def test_the_last_hours_of_all_stay_however_old_they_are(day: Store) -> None:
    let_go(day, Older(readings_ms=END_MS))
    assert hours_of(day) == [10, 11]
    assert day.latest() == {AIR: air(11.5, 24.23)}
    assert day.counts()["readings"] == 4


def test_what_hours_came_to_stays_where_only_their_readings_go(day: Store) -> None:
    fold(day)
    before = day.rollups(AIR, 0, END_MS)
    let_go(day, Older(readings_ms=NOON_MS + 6 * HOUR_MS))
    after = day.rollups(AIR, 0, END_MS)
    assert [column.tolist() for column in after] == [column.tolist() for column in before]
    assert day.folded_until_ms() == NOON_MS + 10 * HOUR_MS


def test_what_hours_came_to_goes_by_an_age_of_its_own(day: Store) -> None:
    fold(day)
    let_go(day, Older(rollups_ms=NOON_MS + 6 * HOUR_MS + 1))
    assert day.rollups(AIR, 0, END_MS).from_ms.tolist()[0] == NOON_MS + 6 * HOUR_MS
    assert day.counts()["readings"] == 26


def test_what_comes_late_for_an_hour_that_went_is_kept_for_a_while_and_rolls_up_nothing(day: Store) -> None:
    fold(day)
    let_go(day, Older(readings_ms=NOON_MS + 6 * HOUR_MS))
    before = day.rollups(AIR, 0, END_MS)
    assert day.keep(Round(NOON_MS, late=[air(2.25, 39.0)])) == Kept(1, 0)
    fold(day)
    after = day.rollups(AIR, 0, END_MS)
    assert [column.tolist() for column in after] == [column.tolist() for column in before]
    assert (day.late(0, END_MS), day.counts()["readings"]) == ({AIR: 1}, 13)
    let_go(day, Older(readings_ms=NOON_MS + 6 * HOUR_MS))
    assert (day.late(0, END_MS), day.counts()["readings"]) == ({}, 12)


def test_keeping_and_folding_go_on_as_before(day: Store) -> None:
    let_go(day, Older(readings_ms=END_MS))
    day.keep(Round(NOON_MS, readings=[air(half / 2) for half in range(23, 40)]))
    fold(day)
    assert day.counts()["readings"] == len(list(day.readings(0, END_MS))) == 20
    assert day.latest() == {AIR: air(19.5)}
    assert day.folded_until_ms() == NOON_MS + 18 * HOUR_MS


def test_messages_that_ended_long_ago_go_and_those_that_wait_stay(store: Store) -> None:
    store.keep(Round(NOON_MS, due=[to_tell("mail", key) for key in "abcdef"]))
    store.delivered(1, NOON_MS + 1)
    store.given_up(2, NOON_MS + 2, "refused")
    store.delivered(3, NOON_MS + HOUR_MS)
    store.delivered(6, NOON_MS + 1)
    let_go(store, Older(messages_ms=NOON_MS + HOUR_MS))
    # The newest of all stays, so that no number is ever used again.
    assert (store.counts()["sent"], [due.number for due in store.waiting()]) == (2, [4, 5])
    assert store.lost(0, END_MS) == {}
    store.keep(Round(NOON_MS, due=[to_tell("mail", "a"), to_tell("mail", "f")]))
    assert [due.number for due in store.waiting()] == [4, 5, 7]


def test_what_was_refused_long_ago_goes_and_how_many_there_ever_were_stays(store: Store) -> None:
    for hour in range(3):
        store.keep(Round(NOON_MS + hour * HOUR_MS, refused=[Refused("x", f"why {hour}", "raw")]))
    let_go(store, Older(readings_ms=END_MS))
    assert [one.why for _, one in store.refused()] == ["why 2"]
    assert store.counts()["refused"] == 3


def test_the_journal_records_and_states_stay_for_good(day: Store) -> None:
    day.record(lambda _: [Record(NOTE, NOON_MS, NOON_MS, "tray-a", who="a helper", why="two leaves spotted")])
    day.keep(Round(NOON_MS, journal=[(NOON_MS, "tray-a", change("raised"))], states={"tray-a": {"x": 1}}))
    let_go(day, Older(END_MS, END_MS, END_MS))
    assert len(day.journal()) == len(day.records()) == len(day.standing()) == 1
    assert day.states() == {"tray-a": {"x": 1}}


def test_nothing_goes_that_no_age_is_given_for(day: Store) -> None:
    before = list(day.readings(0, END_MS))
    assert day.let_go(Older()) is False
    assert list(day.readings(0, END_MS)) == before
