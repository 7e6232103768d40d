"""Storms of alarms come as few messages, and what is set aside comes back by itself."""

from collections.abc import Mapping
from itertools import pairwise
from typing import Any

import pytest
from loop_rig import MINUTE_MS, FakeTeller, FlakyStore, Rig, name, plan
from told_people import person

from wardian.daemon.lives import Lives
from wardian.daemon.telling import Telling
from wardian.rules import life
from wardian.rules.ports import Act, Alarm, Due, Message
from wardian.rules.transitions import RAISED, Transition

TRAYS = tuple(f"tray-{number:03}" for number in range(200))
#: Somebody is told at most once of a tray in so long.
WINDOW_MS = 15 * MINUTE_MS
HOUR_MS = 60 * MINUTE_MS
DAY_MS = 24 * HOUR_MS


class Teller(FakeTeller):
    """Says what people need to hear, of alarms of medium priority; its one channel is nobody's."""

    def fields(self, transition: Transition, cause: object = None) -> dict[str, Any]:
        return {**super().fields(transition, cause), "priority": "medium", "group": None}

    def message(self, fields: Mapping[str, Any]) -> Message:
        key = f"{fields['tray']}/{fields['event']}/{fields['time']}"
        return Message(key, f"{fields['tray']}: {fields['event']}", "body", fields)


class Storm:
    """200 trays with a probe each, a teacher, and a clock in steps of half a minute."""

    def __init__(self) -> None:
        plans = [plan().__class__(tray, plan().spans, plan().hold_ms) for tray in TRAYS]
        self.rig = Rig(FlakyStore(), *plans)
        self.rig.loop._teller = self.rig.teller = Teller()  # type: ignore[assignment]  # it needs no more of a teller
        self.rig.loop.telling = Telling((person(),), str)
        self.told: list[tuple[int, Due]] = []

    def step(self, minutes: float, value_c: float) -> None:
        for tray in TRAYS:
            self.rig.arrive(value_c, minutes=minutes, tray=tray)
        self.rig.round_at(minutes)
        for due in self.rig.store.waiting():
            self.rig.store.delivered(due.number, self.rig.clock.now_ms)
            if due.channel == "teacher":
                self.told.append((self.rig.clock.now_ms, due))

    def times_told(self, tray: str) -> list[int]:
        """Return when a tray was named in a message."""
        return [
            time_ms
            for time_ms, due in self.told
            if tray in {one["tray"] for one in (due.message.fields, *due.message.fields["also"])}
        ]

    def raised(self) -> int:
        return sum(entry.fields["event"] == RAISED for entry in self.rig.store.journal())


@pytest.mark.fault(36)
def test_200_sensors_that_cross_at_once_and_flap_are_told_at_most_once_a_tray_in_a_quarter_of_an_hour() -> (
    None
):
    storm = Storm()
    for step in range(80):
        # A minute and a half beyond, half a minute within: each tray raises again and again.
        storm.step(step / 2, 24.0 if step % 4 == 3 else 30.0)
    assert storm.raised() >= 15 * len(TRAYS)
    assert 1 <= len(storm.told) <= 4
    first = storm.told[0][1].message
    assert "200 troubles on 200 trays" in first.subject
    for tray in TRAYS:
        times = storm.times_told(tray)
        assert times
        assert all(b - a >= WINDOW_MS for a, b in pairwise(times))


@pytest.mark.fault(36)
def test_200_sensors_a_tenth_of_a_degree_around_their_limit_raise_once_each() -> None:
    storm = Storm()
    for step in range(60):
        storm.step(step / 2, 25.1 if step < 4 or step % 2 else 24.9)
    assert storm.raised() == len(TRAYS)
    assert len(storm.told) == 1


TOO_WARM = Alarm("tray-a", "air_temperature", "high")


def shelved_rig() -> Rig:
    """Return a bench whose one alarm stands and was set aside for two days."""
    rig = Rig()
    rig.arrive(30.0)
    rig.round_at(0)
    rig.round_at(1.2)
    until_ms = rig.clock.now_ms + 2 * DAY_MS
    rig.store.ask([Act(rig.clock.now_ms, TOO_WARM, life.SHELVE, "a helper", "", until_ms)])
    rig.round_at(1.4)
    return rig


def shelf_ended(rig: Rig) -> int:
    return sum(entry.fields["event"] == "shelf ended" for entry in rig.store.journal())


@pytest.mark.fault(37)
@pytest.mark.parametrize("jump_ms", [2 * DAY_MS, 30 * DAY_MS, 3_650 * DAY_MS, -8 * DAY_MS, -365 * DAY_MS])
@pytest.mark.parametrize("is_restarted", [False, True])
def test_what_is_set_aside_comes_back_by_itself_whatever_the_clock_does(
    jump_ms: int, is_restarted: bool
) -> None:
    """Set back so far that its end is more than the longest shelf away, it ends at once: too early is the safe side."""
    rig = shelved_rig()
    if is_restarted:
        rig = Rig(rig.store, begun_minutes=2)
        rig.loop.lives = Lives(rig.store.last_of_alarms(), names=name)
    rig.clock.now_ms += jump_ms
    for _ in range(3):
        rig.loop.round([rig.sensor])
        rig.clock.now_ms += MINUTE_MS
    assert shelf_ended(rig) == 1
    (told,) = [due for due in rig.store.waiting() if due.message.fields["event"] == "shelf ended"]
    assert "no longer shelved" in told.message.body


@pytest.mark.fault(37)
def test_a_clock_that_is_set_back_a_little_leaves_a_shelf_of_a_week_at_most() -> None:
    rig = shelved_rig()
    rig.clock.now_ms -= 4 * DAY_MS
    rig.loop.round([rig.sensor])
    assert shelf_ended(rig) == 0
    rig.clock.now_ms += 7 * DAY_MS
    rig.loop.round([rig.sensor])
    assert shelf_ended(rig) == 1
