"""Polled sensors are asked at their pace, whatever the machine's clock does and whichever hangs."""

import threading
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import pytest
from fake_clock import FakeClock

from wardian.daemon.polling import Polling, Steadily
from wardian.rules.errors import SensorUnreachable
from wardian.rules.ports import Arrival, Decoded, HandOver
from wardian.rules.readings import Series
from wardian.rules.wire_health import SensorHealth

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
PATIENCE_S = 10


class FakeSensor:
    expected: frozenset[Series] = frozenset()
    poll_every_s: float | None = 0.2

    def __init__(self, name: str, failures: int = 0) -> None:
        self.name = name
        self.polls = 0
        self.failures = failures
        self.polled_thrice = threading.Event()
        self.hangs = threading.Event()
        self.hangs.set()

    def start(self, hand_over: HandOver) -> None: ...

    def poll(self) -> None:
        self.polls += 1
        if self.polls >= 3:
            self.polled_thrice.set()
        self.hangs.wait(PATIENCE_S)
        if self.polls <= self.failures:
            raise SensorUnreachable(self.name, "nothing answers")

    def decode(self, arrival: Arrival) -> Decoded:
        return Decoded()

    def acknowledge(self, arrivals: Sequence[Arrival]) -> None: ...

    def hear_live(self, *, only: bool) -> None: ...

    def health(self) -> SensorHealth:
        return SensorHealth(works=True, words="")

    def stop(self) -> None: ...


@pytest.mark.parametrize("jump", [timedelta(days=3650), timedelta(hours=1), timedelta(0)])
def test_a_clock_set_forward_makes_up_for_no_poll(jump: timedelta) -> None:
    trigger = Steadily(10.0)
    now = NOON + jump
    assert trigger.get_next_fire_time(NOON, now) >= now
    assert trigger.get_next_fire_time(NOON, now) <= now + timedelta(seconds=10)


def test_a_clock_set_back_does_not_put_the_next_poll_off() -> None:
    an_hour_ago = NOON - timedelta(hours=1)
    assert Steadily(10.0).get_next_fire_time(NOON, an_hour_ago) == an_hour_ago + timedelta(seconds=10)


def test_the_first_poll_is_at_once() -> None:
    assert Steadily(10.0).get_next_fire_time(None, NOON) == NOON


def test_a_sensor_that_fails_or_hangs_keeps_no_other_from_being_asked() -> None:
    failing, hanging, sound = FakeSensor("failing", failures=2), FakeSensor("hanging"), FakeSensor("sound")
    hanging.hangs.clear()
    polling = Polling([failing, hanging, sound], FakeClock())
    polling.start()
    try:
        assert sound.polled_thrice.wait(PATIENCE_S)
        assert failing.polled_thrice.wait(PATIENCE_S)
        assert hanging.polls == 1
    finally:
        hanging.hangs.set()
        polling.stop()


def test_a_jump_of_the_clock_is_noticed_once_and_polls_go_on() -> None:
    clock, sensor = FakeClock(), FakeSensor("bench")
    polling = Polling([sensor], clock)
    polling.start()
    try:
        assert not polling.notice_jumps()
        clock.now_ms -= 3_600_000
        assert polling.notice_jumps()
        assert not polling.notice_jumps()
        assert sensor.polled_thrice.wait(PATIENCE_S)
    finally:
        polling.stop()


def test_where_nothing_is_polled_no_scheduler_is_started() -> None:
    before = threading.active_count()
    silent = FakeSensor("bench")
    silent.poll_every_s = None
    polling = Polling([silent], FakeClock())
    polling.start()
    assert threading.active_count() == before
    polling.stop()
