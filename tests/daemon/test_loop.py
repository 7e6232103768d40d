"""The round: kept before it is acknowledged, kept again after a failure, judged only with the backlog in."""

from collections.abc import Collection

import pytest
from loop_rig import BEGIN_MS, MINUTE_MS, SETTLE_MS, FakeSensor, FlakyStore, Rig, plan

from wardian.daemon.arrivals import QUEUE_ROOM, Queue
from wardian.daemon.loop import QUIET_S, STATE_EVERY_MS
from wardian.rules.errors import StoreFailed
from wardian.rules.observing.minutes import KEPT
from wardian.rules.plans import TrayPlan
from wardian.rules.ports import Arrival, Decoded, Measured, Refused, Round
from wardian.rules.readings import Chunk


def test_a_lasting_drift_is_in_the_journal_and_in_the_outbox_of_one_commit() -> None:
    rig = Rig()
    rig.arrive(30.0)
    rig.round_at(0)
    assert rig.events() == []
    rig.round_at(1.2)
    assert rig.events() == [(MINUTE_MS, "raised")]
    assert [due.channel for due in rig.store.waiting()] == ["bell"]
    assert rig.teller.nudged == 1
    assert rig.store.states()["tray-a"]["judged_ms"] == BEGIN_MS + 72_000 - SETTLE_MS


def test_a_source_is_told_only_after_the_commit() -> None:
    rig = Rig()
    rig.store.failures = [StoreFailed("store", "the disk is full", may_heal=True)] * 2
    arrival = rig.arrive(24.0)
    rig.round_at(0.1)
    assert rig.sensor.acknowledged == []
    assert rig.loop.failing.since_s == 6.0
    rig.round_at(0.2)
    assert rig.sensor.acknowledged == []
    rig.round_at(0.3)
    assert rig.sensor.acknowledged == [arrival]
    assert rig.loop.failing.since_s is None
    assert rig.store.announced == [*["the disk is full; 1 readings wait in memory"] * 2, ""]
    assert [reading.value for reading in rig.store.readings(0, 2**62)] == [24.0]


def test_what_waits_for_the_store_is_bounded_and_the_rest_stays_with_its_source(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("wardian.daemon.failing_store.UNKEPT_ROOM", 3)
    rig = Rig()
    rig.store.failures = [StoreFailed("store", "the disk is full", may_heal=True)] * 3
    rig.arrive(24.0, 24.1)
    rig.round_at(0.1)
    rig.arrive(99.0, 99.0, minutes=0.1)
    rig.round_at(0.2)
    last = rig.arrive(24.2, minutes=0.2)
    rig.round_at(0.3)
    assert len(rig.loop.queue) == 1
    assert rig.sensor.acknowledged == []
    rig.round_at(0.4)
    rig.round_at(0.5)
    assert rig.sensor.acknowledged[-1] == last
    assert len(rig.sensor.acknowledged) == 3
    assert len(list(rig.store.readings(0, 2**62))) == 3


def test_alarms_judged_while_the_store_fails_are_told_once_it_works() -> None:
    rig = Rig()
    rig.arrive(30.0)
    rig.round_at(0)
    rig.store.failures = [StoreFailed("store", "the database is locked", may_heal=True)] * 3
    for minutes in (1.2, 1.4, 1.6, 1.8):
        rig.round_at(minutes)
    assert rig.events() == [(MINUTE_MS, "raised")]
    assert len(rig.store.waiting()) == 1


def test_a_store_that_will_not_heal_ends_the_loop() -> None:
    rig = Rig()
    rig.store.failures = [StoreFailed("store", "the database is damaged")]
    rig.arrive(24.0)
    with pytest.raises(StoreFailed, match="damaged"):
        rig.round_at(0.1)


def test_a_full_queue_takes_no_more_and_counts_what_it_turned_away() -> None:
    queue = Queue(room=2)
    arrival = Arrival(FakeSensor(), 0, Decoded())
    assert [queue.hand_over(arrival) for _ in range(3)] == [True, True, False]
    assert queue.turned_away == 1
    assert len(queue.take(5)) == 2
    assert queue.hand_over(arrival)
    assert QUEUE_ROOM > 1000


def test_nothing_is_judged_before_the_backlog_is_in() -> None:
    rig = Rig(begun_minutes=60)
    rig.loop.quiet_s = QUIET_S
    rig.round_at(60)
    rig.arrive(30.0, minutes=0)
    rig.round_at(60)
    rig.arrive(24.0, minutes=0.5)
    rig.round_at(60.1)
    rig.round_at(60.15)
    assert rig.engine.trays["tray-a"].judged_ms < 0
    rig.round_at(60.3)
    # Judged at once, the first alone would have been an alarm; the second came late and in time.
    assert rig.events() == []
    assert rig.engine.trays["tray-a"].judged_ms > BEGIN_MS
    assert len(list(rig.store.readings(0, 2**62, late=False))) == 2


def test_a_wire_that_does_not_work_is_waited_for_a_minute_and_no_longer() -> None:
    rig = Rig()
    rig.sensor.works = False
    rig.arrive(30.0)
    rig.round_at(0)
    rig.round_at(0.9)
    assert rig.engine.trays["tray-a"].judged_ms < 0
    rig.round_at(1.2)
    assert rig.events() == [(MINUTE_MS, "raised")]


def test_a_late_reading_is_kept_marked_and_judges_nothing() -> None:
    rig = Rig()
    rig.arrive(24.0)
    rig.round_at(0)
    rig.round_at(3)
    rig.arrive(40.0, minutes=1)
    rig.round_at(4.5)
    rig.round_at(4.9)
    assert rig.events() == []
    assert [r.value for r in rig.store.readings(0, 2**62)] == [24.0, 40.0]
    assert [r.value for r in rig.store.readings(0, 2**62, late=False)] == [24.0]


def test_a_refused_reading_is_kept_with_its_reason_and_doubts_its_sensor() -> None:
    rig = Rig()
    rig.arrive(99.0)
    rig.hand_over(
        Decoded(refused=[Refused("bench", "the bus says so", "85000", None, "tray-a", "air_temperature")])
    )
    rig.hand_over(Decoded([Measured(None, "tray-z", "air_temperature", 20.0)]))
    rig.hand_over(Decoded([Measured(BEGIN_MS + 6 * MINUTE_MS, "tray-a", "air_temperature", 20.0)]))
    rig.hand_over(Decoded([Measured(None, "tray-a", "air_temperature", "1_0", "°F")]))
    rig.round_at(0)
    rig.round_at(0.5)
    reasons = sorted(refused.why for _, refused in rig.store.refused())
    assert len(reasons) == 5
    assert any("impossible" in why for why in reasons)
    assert any("tray-z" in why for why in reasons)
    assert any("ahead of the clock" in why for why in reasons)
    assert any("is not a number" in why for why in reasons)
    assert [entry.fields["condition"] for entry in rig.store.journal()] == ["sensor-implausible"]


def test_a_restart_resumes_where_judgement_stopped_and_tells_nothing_twice() -> None:
    rig = Rig()
    for minute in range(4):
        rig.arrive(30.0 if minute else 24.0, minutes=minute)
        rig.round_at(minute + 0.2)
    assert rig.events() == [(2 * MINUTE_MS, "raised")]
    again = Rig(rig.store, begun_minutes=4)
    again.arrive(24.0, minutes=4)
    again.round_at(4.5)
    again.round_at(4.6)
    assert again.events() == [(2 * MINUTE_MS, "raised"), (4 * MINUTE_MS, "returned")]


def test_a_restart_without_a_saved_state_judges_what_was_kept() -> None:
    rig = Rig()
    rig.sensor.works = False
    rig.arrive(30.0)
    rig.round_at(0)
    assert rig.store.states() == {}
    again = Rig(rig.store)
    again.round_at(1.2)
    assert again.events() == [(MINUTE_MS, "raised")]


def test_a_new_tray_does_not_bring_years_of_readings_into_memory() -> None:
    rig = Rig()
    rig.arrive(24.0)
    rig.round_at(0)
    rig.loop.close()
    asked: list[int] = []

    class Watched(FlakyStore):
        def chunk(
            self,
            from_ms: int,
            to_ms: int,
            quantities: Collection[str] | None = None,
            trays: Collection[str] | None = None,
        ) -> Chunk:
            asked.append(from_ms)
            return super().chunk(from_ms, to_ms, quantities, trays)

    watched = Watched()
    watched.keep(Round(now_ms=BEGIN_MS, states=rig.store.states()))
    Rig(watched, plan(), TrayPlan("tray-b", (), 5 * MINUTE_MS), begun_minutes=10)
    begin_ms = BEGIN_MS + 10 * MINUTE_MS
    assert asked[0] == begin_ms - 2 * STATE_EVERY_MS
    assert min(asked) == begin_ms - KEPT * MINUTE_MS


def test_an_alarm_of_a_tray_that_is_gone_from_the_configuration_is_ended() -> None:
    rig = Rig()
    rig.arrive(30.0)
    rig.round_at(0)
    rig.round_at(1.2)
    other = TrayPlan("tray-b", (), 5 * MINUTE_MS)
    again = Rig(rig.store, other, begun_minutes=2)
    again.round_at(2)
    assert again.events() == [(MINUTE_MS, "raised"), (2 * MINUTE_MS, "returned")]
    assert again.store.standing() == []


def test_closing_keeps_what_is_in_the_queue_and_the_whole_state() -> None:
    rig = Rig()
    arrival = rig.arrive(24.0)
    rig.loop.close()
    assert rig.sensor.acknowledged == [arrival]
    assert [r.value for r in rig.store.readings(0, 2**62)] == [24.0]
    assert set(rig.store.states()) == {"tray-a"}


def test_rounds_that_broke_off_keep_what_was_measured_and_the_next_start_makes_the_rest_of_it() -> None:
    rig = Rig()
    rig.arrive(30.0)
    rig.round_at(0)
    # A commit of which nobody knows whether it was done: to keep all of it once more would double the alarm.
    rig.store.failures = [StoreFailed("store", "the storage fails to read or write")]
    arrival = rig.arrive(31.0, minutes=1.1)
    with pytest.raises(StoreFailed):
        rig.round_at(1.2)
    rig.loop.give_up()
    assert [reading.value for reading in rig.store.readings(0, 2**62)] == [30.0, 31.0]
    assert (rig.events(), rig.store.waiting()) == ([], [])
    assert arrival not in rig.sensor.acknowledged
    again = Rig(rig.store, begun_minutes=1.3)
    again.hand_over(arrival.message)
    again.round_at(1.4)
    assert again.events() == [(MINUTE_MS, "raised")]
    assert len(again.store.waiting()) == 1


def test_giving_up_on_a_store_that_fails_again_is_no_other_failure() -> None:
    rig = Rig()
    rig.store.failures = [StoreFailed("store", "the storage fails to read or write")]
    rig.loop.give_up()
    assert rig.store.failures == []


def test_what_a_wire_says_of_itself_is_kept_when_it_changes() -> None:
    rig = Rig()
    words = {"sensors": {"bench": "no connection"}}
    rig.loop.notes = lambda: dict(words)
    rig.round_at(0)
    assert rig.store.notes()["sensors"] == {"bench": "no connection"}
    words["sensors"] = {}
    rig.round_at(0.2)
    assert rig.store.notes()["sensors"] == {}
