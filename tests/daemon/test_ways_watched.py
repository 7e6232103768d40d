"""A broker that is away is one trouble and not one for each sensor; a channel that takes nothing is told through others."""

from dataclasses import replace

import pytest
from fake_clock import FakeClock
from loop_rig import BEGIN_MS, MINUTE_MS, FakeSensor, FlakyStore, Rig, plan
from outbox_fakes import FakeNotifier, plain

from wardian.adapters.yaml_file import parse
from wardian.daemon.guarded import Slips
from wardian.daemon.library import library
from wardian.daemon.lives import Lives
from wardian.daemon.outbox import Outbox, Stuck
from wardian.daemon.own_troubles import OwnTroubles
from wardian.daemon.ways_watched import AWAY_S, HEARD_AGAIN_S, SETTLED_S, STUCK_S, WaysWatched
from wardian.rules.ports import DueMessage, Round
from wardian.rules.readings import Series
from wardian.rules.wire_health import SensorHealth

SERIES = Series("tray-a", "air_temperature")


class Bench(Rig):
    """A loop with one wire that speaks by itself, whose ways are watched."""

    def __init__(
        self, *, store: FlakyStore | None = None, expected: frozenset[Series] = frozenset([SERIES])
    ) -> None:
        super().__init__(store, replace(plan(), silent_after_ms={"air_temperature": 5 * MINUTE_MS}))
        self.sensor.expected = expected
        self.bell = FakeNotifier("bell")
        self.outbox = Outbox(self.store, [self.bell], self.clock, str)
        troubles = OwnTroubles(library(parse).watch, self.teller)  # type: ignore[arg-type]  # it needs no more of a teller
        ways = WaysWatched([self.sensor], self.outbox.stuck, self.clock)
        ways.troubles = troubles
        self.loop.beside = [ways, troubles]
        self.loop.is_cut_off = ways.is_cut_off

    def go(self, from_minutes: float, to_minutes: float, *, is_read: bool = False) -> None:
        """Go round each ten seconds."""
        step = from_minutes * 6
        while step < to_minutes * 6:
            if is_read:
                self.arrive(20.0, minutes=step / 6)
            self.round_at(step / 6)
            step += 1

    def told(self) -> list[tuple[str, str]]:
        return [(due.message.fields["tray"], due.message.fields["event"]) for due in self.store.waiting()]

    def journal(self) -> list[tuple[str, str, bool]]:
        """Return condition, event and whether people were told, of each entry."""
        return [
            (entry.fields["condition"], entry.fields["event"], bool(entry.fields["told"]))
            for entry in self.store.journal()
        ]


@pytest.mark.fault(12)
@pytest.mark.fault(13)
def test_a_wire_that_is_away_is_one_trouble_within_three_minutes_and_its_sensors_silence_is_held_back() -> (
    None
):
    bench = Bench()
    bench.go(0, 2, is_read=True)
    bench.sensor.works = False
    bench.go(2, 5)
    ((condition, event, _),) = bench.journal()
    assert (condition, event) == ("wire-down", "raised")
    (entry,) = bench.store.journal()
    assert entry.time_ms - BEGIN_MS <= 2 * MINUTE_MS + AWAY_S * 1000 + 10_000
    assert entry.fields["message"] == "Wire down: bench: no connection."
    bench.go(5, 30)
    assert bench.journal()[1:] == [("sensor-silent", "raised", False), ("sensor-silent", "suppressed", False)]
    assert "nothing comes by the wire that brings it" in bench.store.journal()[-1].fields["message"]
    bench.sensor.works = True
    bench.go(30, 40, is_read=True)
    assert bench.journal()[3:] == [
        ("sensor-silent", "returned", False),
        ("wire-down", "returned", False),
        ("sensor-silent", "released", False),
    ]


def test_a_sensor_that_stays_silent_once_its_wire_is_back_is_told_then() -> None:
    bench = Bench()
    bench.go(0, 2, is_read=True)
    bench.sensor.works = False
    bench.go(2, 20)
    bench.sensor.works = True
    bench.go(20, 20 + HEARD_AGAIN_S / 60 + 1)
    assert bench.journal()[-1] == ("sensor-silent", "released", True)


def test_a_wire_that_is_away_for_a_moment_is_told_to_nobody() -> None:
    bench = Bench()
    bench.sensor.works = False
    bench.go(0, AWAY_S / 60)
    bench.sensor.works = True
    bench.go(AWAY_S / 60, 5, is_read=True)
    assert bench.journal() == []


@pytest.mark.fault(33)
def test_a_wire_that_comes_and_goes_is_down_until_it_has_worked_for_a_while() -> None:
    bench = Bench()
    for number in range(20):
        bench.sensor.works = number % 3 == 0
        bench.go(number / 2, (number + 1) / 2, is_read=bench.sensor.works)
    assert bench.journal()[0][:2] == ("wire-down", "raised")
    assert not any(event == "returned" for condition, event, _ in bench.journal() if condition == "wire-down")
    bench.sensor.works = True
    bench.go(10, 10 + SETTLED_S / 60 + 0.5, is_read=True)
    assert ("wire-down", "returned", False) in bench.journal()


@pytest.mark.fault(13)
def test_a_wire_that_is_connected_and_brings_nothing_is_told_by_its_name() -> None:
    other = Series("tray-b", "air_temperature")
    bench = Bench(expected=frozenset([SERIES, other]))
    told = []
    ways = bench.loop.beside[0]
    assert isinstance(ways, WaysWatched)
    lives = Lives({})
    for tray in ("tray-a", "tray-b"):
        ways.work(0, lives)
        assert ways.troubles is not None
        told.append(dict(ways.troubles.standing()))
        fields = {"tray": tray, "quantity": "air_temperature", "limit": None, "condition": "sensor-silent"}
        lives.follow({**fields, "event": "raised", "time": "2026-03-02T12:00:00.000Z"})
    ways.work(0, lives)
    assert told == [{}, {}]
    assert ways.troubles is not None
    assert ways.troubles.standing() == {
        "wire-down": "bench: connected, but nothing comes, as if it may not read its topics."
    }


@pytest.mark.fault(29)
def test_a_channel_that_takes_nothing_is_told_through_the_others_and_its_end_too() -> None:
    bench = Bench()
    mail, bell = FakeNotifier("mail", ["failed"] * 20), FakeNotifier("bell")
    outbox = Outbox(bench.store, [mail, bell], bench.clock, str)
    ways = bench.loop.beside[0]
    assert isinstance(ways, WaysWatched)
    ways._stuck = outbox.stuck
    bench.store.keep(Round(now_ms=BEGIN_MS, due=[DueMessage("mail", plain("1"))]))
    for half_minutes in range(80):
        bench.arrive(20.0, minutes=half_minutes / 2)
        bench.round_at(half_minutes / 2)
        outbox.run_due(bench.clock.now_ms)
    assert [message.fields["event"] for message in bell.taken] == ["raised", "returned"]
    told = bell.taken[0].fields
    assert told["message"] == "Channel down: mail has taken no message for 15 min or longer: no route."
    raised = bench.store.journal()[0]
    assert STUCK_S <= (raised.time_ms - BEGIN_MS) / 1000 <= STUCK_S + 60
    assert mail.keys == ["1"]


def test_a_wire_that_cannot_say_whether_it_works_does_not() -> None:
    class Broken(FakeSensor):
        def health(self) -> SensorHealth:
            raise KeyError("canary-4711")

    clock = FakeClock()
    told: list[tuple[str, str]] = []
    ways = WaysWatched([Broken()], dict[str, Stuck], clock)
    ways.slips = Slips(lambda name, words: told.append((name, words)))
    for _ in range(4):
        ways.work(0, Lives({}))
    assert ways.is_cut_off("tray-a", "air_temperature") is False
    words = "bench (health) broke 3 times in a row (KeyError), the watching goes on without it."
    assert told == [("internal-error", words)]
