"""What people ask of alarms is done by the round: once, in one commit with the entry that tells it."""

import logging
from typing import Any

import pytest
from loop_rig import BEGIN_MS, MINUTE_MS, FlakyStore, Rig

from wardian.rules import life
from wardian.rules.errors import StoreFailed
from wardian.rules.plans import TrayPlan
from wardian.rules.ports import Act, Alarm, Kept, Round

TOO_WARM = Alarm("tray-a", "air_temperature", "high")
LOCKED = StoreFailed("store", "the database is locked", may_heal=True)


class SlowStore(FlakyStore):
    """Remembers each round it took; its acts cannot be read as often as it is told to."""

    def __init__(self) -> None:
        super().__init__()
        self.rounds: list[Round] = []
        self.deaf: list[StoreFailed] = []

    def keep(self, round_: Round) -> Kept:
        kept = super().keep(round_)
        self.rounds.append(round_)
        return kept

    def acts(self) -> dict[int, Act]:
        if self.deaf:
            raise self.deaf.pop(0)
        return super().acts()


def act(event: str, alarm: Alarm = TOO_WARM, until_minutes: float | None = None) -> Act:
    until_ms = None if until_minutes is None else BEGIN_MS + round(until_minutes * MINUTE_MS)
    return Act(BEGIN_MS, alarm, event, "a helper", "", until_ms)


def warm(store: FlakyStore | None = None) -> Rig:
    """Return a rig whose tray has been too warm since the first minute, and people know it."""
    rig = Rig(store)
    rig.arrive(30.0)
    rig.round_at(0)
    rig.round_at(1.2)
    assert told(rig) == ["raised"]
    return rig


def events(rig: Rig) -> list[str]:
    return [entry.fields["event"] for entry in rig.store.journal()]


def told(rig: Rig) -> list[str]:
    return [due.message.fields["event"] for due in rig.store.waiting()]


def last(rig: Rig) -> dict[str, Any]:
    return dict(rig.store.journal()[-1].fields)


def test_what_is_asked_is_done_with_the_next_round_and_written_in_its_commit() -> None:
    store = SlowStore()
    rig = warm(store)
    store.ask([act(life.ACKNOWLEDGE)])
    rig.round_at(1.4)
    assert store.acts() == {}
    done = store.rounds[-1]
    assert list(done.acts_done) == [1]
    assert [(time_ms - BEGIN_MS, tray, fields["event"]) for time_ms, tray, fields in done.journal] == [
        (84_000, "tray-a", "acknowledged")
    ]
    assert last(rig)["who"] == "a helper"
    assert rig.loop.lives.of(TOO_WARM).state == life.ACKNOWLEDGED
    # Whoever did it knows; nobody else is called for it.
    assert told(rig) == ["raised"]


def test_a_round_without_anything_asked_keeps_nothing() -> None:
    store = SlowStore()
    rig = warm(store)
    before = len(store.rounds)
    store.ask([])
    rig.round_at(1.2)
    assert rig.loop.lives.of(TOO_WARM).state == life.UNACKNOWLEDGED
    assert all(not one.acts_done and not one.journal for one in store.rounds[before:])


def test_several_acts_are_done_in_the_order_they_were_asked() -> None:
    rig = warm()
    rig.store.ask([act(life.ACKNOWLEDGE), act(life.SHELVE, until_minutes=60)])
    rig.store.ask([act(life.UNSHELVE), act(life.REMOVE)])
    rig.round_at(1.4)
    assert events(rig)[1:] == ["acknowledged", "shelved", "unshelved", "out of service"]


@pytest.mark.parametrize(
    "impossible",
    [
        act(life.UNSHELVE),
        act(life.SHELVE, until_minutes=0),
        act(life.SHELVE, until_minutes=8 * 24 * 60),
        act(life.REMOVE, Alarm("a tray that is gone", "air_temperature", "high")),
    ],
    ids=["no place in this state", "its end is over", "beyond seven days", "of a tray that is gone"],
)
def test_what_cannot_be_done_is_dropped_with_a_warning_and_stops_nothing(
    caplog: pytest.LogCaptureFixture, impossible: Act
) -> None:
    rig = warm()
    rig.store.ask([impossible, act(life.ACKNOWLEDGE)])
    rig.arrive(24.0, minutes=1.3)
    with caplog.at_level(logging.WARNING):
        rig.round_at(1.4)
    assert [record.message for record in caplog.records] == ["what was asked cannot be done"]
    assert rig.store.acts() == {}
    assert "acknowledged" in events(rig)
    assert [reading.value for reading in rig.store.readings(0, 2**62)] == [30.0, 24.0]


def test_what_cannot_be_done_is_gone_though_nothing_else_is_to_be_kept() -> None:
    rig = warm()
    rig.round_at(1.4)
    rig.store.ask([act(life.UNSHELVE)])
    rig.round_at(1.4)
    assert rig.store.acts() == {}
    assert events(rig) == ["raised"]


def test_a_store_that_fails_has_it_done_once_as_soon_as_it_keeps_again() -> None:
    rig = warm()
    # Done anew in each round, the two would be written once for each.
    rig.store.ask([act(life.SHELVE, until_minutes=60), act(life.UNSHELVE)])
    rig.store.failures = [LOCKED] * 3
    for minutes in (1.3, 1.4, 1.5):
        rig.round_at(minutes)
        assert (events(rig), len(rig.store.acts())) == (["raised"], 2)
    rig.store.ask([act(life.REMOVE)])
    rig.round_at(1.6)
    assert events(rig) == ["raised", "shelved", "unshelved", "out of service"]
    assert rig.store.acts() == {}
    rig.round_at(1.7)
    assert len(events(rig)) == 4


def test_acts_that_cannot_be_read_wait_for_the_next_round() -> None:
    store = SlowStore()
    rig = warm(store)
    store.ask([act(life.ACKNOWLEDGE)])
    store.deaf = [LOCKED] * 2
    rig.arrive(30.0, minutes=1.3)
    rig.round_at(1.4)
    rig.round_at(1.5)
    assert events(rig) == ["raised"]
    assert len(list(store.readings(0, 2**62))) == 2
    rig.round_at(1.6)
    assert events(rig) == ["raised", "acknowledged"]
    assert rig.loop.failing.since_s is None


def test_an_end_between_the_round_and_its_commit_has_it_done_once_by_the_next_start() -> None:
    rig = warm()
    rig.store.ask([act(life.ACKNOWLEDGE)])
    rig.store.failures = [LOCKED]
    rig.round_at(1.4)
    assert rig.loop.lives.of(TOO_WARM).state == life.ACKNOWLEDGED
    again = Rig(rig.store, begun_minutes=2)  # the first loop is dropped, as by a kill
    assert again.loop.lives.of(TOO_WARM).state == life.UNACKNOWLEDGED
    again.round_at(2)
    again.round_at(2.1)
    assert events(again) == ["raised", "acknowledged"]


def test_a_restart_knows_what_was_done_and_tells_nothing_twice() -> None:
    rig = warm()
    rig.store.ask([act(life.ACKNOWLEDGE)])
    rig.round_at(1.4)
    rig.store.ask([act(life.SHELVE, until_minutes=5)])
    again = Rig(rig.store, begun_minutes=2)
    again.round_at(2)
    last_one = Rig(rig.store, begun_minutes=3)
    last_one.round_at(3)
    assert last_one.loop.lives.of(TOO_WARM).state == life.SHELVED
    assert events(last_one) == ["raised", "acknowledged", "shelved"]
    assert told(last_one) == ["raised"]


def test_while_an_alarm_is_shelved_its_changes_are_written_and_not_told() -> None:
    rig = Rig()
    rig.store.ask([act(life.SHELVE, until_minutes=60)])
    rig.arrive(30.0)
    rig.round_at(0)
    rig.round_at(1.2)
    rig.arrive(24.0, minutes=1.5)
    rig.round_at(2)
    assert events(rig) == ["shelved", "raised", "returned"]
    assert told(rig) == []
    assert rig.teller.nudged == 0


@pytest.mark.parametrize("is_restarted", [False, True])
def test_the_end_of_a_shelf_is_written_and_told_once(is_restarted: bool) -> None:
    rig = warm()
    rig.store.ask([act(life.SHELVE, until_minutes=3)])
    rig.round_at(1.4)
    if is_restarted:
        rig = Rig(rig.store, begun_minutes=2.9)
    rig.round_at(2.99)
    assert events(rig) == ["raised", "shelved"]
    for minutes in (3, 3.1, 3.2):
        rig.round_at(minutes)
    assert events(rig) == ["raised", "shelved", "shelf ended"]
    assert told(rig) == ["raised", "shelf ended"]
    assert last(rig)["message"] == "Too warm: no longer shelved, and it stands now."
    if is_restarted:
        rig = Rig(rig.store, begun_minutes=4)
        rig.round_at(4)
        assert events(rig) == ["raised", "shelved", "shelf ended"]


def test_the_end_of_a_shelf_that_the_store_cannot_keep_is_told_once_later() -> None:
    rig = warm()
    rig.store.ask([act(life.SHELVE, until_minutes=3)])
    rig.round_at(1.4)
    rig.store.failures = [LOCKED] * 2
    for minutes in (3, 3.1, 3.2, 3.3):
        rig.round_at(minutes)
    assert told(rig) == ["raised", "shelf ended"]
    assert events(rig) == ["raised", "shelved", "shelf ended"]


def test_an_alarm_out_of_service_ends_untold_with_its_tray() -> None:
    rig = warm()
    rig.store.ask([act(life.REMOVE)])
    rig.round_at(1.4)
    again = Rig(rig.store, TrayPlan("tray-b", (), 5 * MINUTE_MS), begun_minutes=2)
    again.round_at(2)
    assert events(again) == ["raised", "out of service", "returned"]
    assert again.store.standing() == []
    assert told(again) == ["raised"]
