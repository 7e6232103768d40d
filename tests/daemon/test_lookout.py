"""The watchdog is fed only while everything moves that a new start would cure, and people hear of what does not."""

import logging
from dataclasses import dataclass, field

import pytest
from fake_clock import FakeClock

from wardian.daemon.lookout import HANGS, LOOK_EVERY_S, READY_PATIENCE_S, Lookout
from wardian.daemon.notify_socket import ServiceManager
from wardian.daemon.own_troubles import OwnTroubles
from wardian.daemon.progress import Progress


class FakeManager(ServiceManager):
    def __init__(self, watchdog_s: float | None = 60.0, *, is_there: bool = True) -> None:
        super().__init__({})
        self.told: list[str] = []
        self.watchdog_s = watchdog_s
        self.exists = is_there

    @property
    def is_there(self) -> bool:
        return self.exists

    def _tell(self, line: str) -> None:
        self.told.append(line)


class FakeTroubles(OwnTroubles):
    def __init__(self) -> None:
        self.now: dict[str, str] = {}

    def begin(self, name: str, words: str) -> None:
        self.now[name] = words

    def end(self, name: str) -> None:
        del self.now[name]


@dataclass
class Watched:
    clock: FakeClock
    opens: bool = True
    troubles: FakeTroubles = field(default_factory=FakeTroubles)

    def __post_init__(self) -> None:
        self.progress = Progress(self.clock)

    def is_open(self) -> bool:
        return self.opens

    def words(self) -> str:
        return "watching"


@dataclass
class Rig:
    """A lookout that is called whenever it wants to be."""

    opens: bool = True
    manager: FakeManager = field(default_factory=FakeManager)

    def __post_init__(self) -> None:
        self.clock = FakeClock()
        self.watched = Watched(self.clock, self.opens)
        self.lookout = Lookout(self.watched, self.manager, self.clock)

    def pass_s(self, seconds: float) -> list[str]:
        """Let time pass; return what the service manager was told meanwhile."""
        self.manager.told.clear()
        until_s = self.clock.monotonic_s() + seconds
        while self.clock.monotonic_s() < until_s:
            self.clock.step(round(self.lookout.look() * 1000))
        return list(self.manager.told)


def test_a_watch_that_moves_feeds_the_watchdog_at_least_twice_within_its_time() -> None:
    rig = Rig(manager=FakeManager(watchdog_s=8.0))
    rig.watched.progress.expect("loop", None)
    assert rig.pass_s(80).count("WATCHDOG=1") >= 20


def test_nobody_feeds_while_a_vital_part_stands_still_and_again_once_it_moves() -> None:
    rig = Rig()
    rig.watched.progress.expect("loop", 30.0)
    assert "WATCHDOG=1" in rig.pass_s(30)
    rig.pass_s(10)
    told = rig.pass_s(60)
    assert "WATCHDOG=1" not in told
    rig.watched.progress.expect("loop", 300.0)
    assert "WATCHDOG=1" in rig.pass_s(20)


def test_a_hung_loop_goes_unfed_soon_enough_to_be_ended_within_ninety_seconds() -> None:
    """The last feeding, and a minute after it the end: together no more than 90 s after the loop hung."""
    rig = Rig()
    rig.watched.progress.expect("loop", 30.0)
    last_fed_s = 0.0
    while rig.clock.monotonic_s() < 120:
        rig.manager.told.clear()
        pause_s = rig.lookout.look()
        if "WATCHDOG=1" in rig.manager.told:
            last_fed_s = rig.clock.monotonic_s()
        rig.clock.step(round(pause_s * 1000))
    assert last_fed_s + 60 <= 90


def test_a_part_that_a_new_start_would_not_cure_is_told_and_the_watchdog_is_fed(
    caplog: pytest.LogCaptureFixture,
) -> None:
    rig = Rig()
    rig.watched.progress.expect("asking probes", 30.0, is_vital=False)
    with caplog.at_level(logging.WARNING):
        told = rig.pass_s(60)
    assert told.count("WATCHDOG=1") >= 5
    assert "STATUS=asking probes stands still" in told
    assert rig.watched.troubles.now == {HANGS: "asking probes stands still."}
    assert [record.getMessage() for record in caplog.records] == ["part hangs"]
    rig.watched.progress.expect("asking probes", None)
    assert "STATUS=watching" in rig.pass_s(10)
    assert rig.watched.troubles.now == {}


def test_whoever_was_stopped_with_all_the_others_blames_none() -> None:
    rig = Rig()
    rig.watched.progress.expect("loop", 30.0)
    rig.pass_s(10)
    rig.clock.step(45_000)  # stopped, loop and lookout alike
    rig.lookout.look()
    rig.watched.progress.expect("loop", 30.0)
    rig.pass_s(20)
    assert rig.watched.troubles.now == {}


def test_the_start_is_done_once_all_is_open() -> None:
    rig = Rig(opens=False)
    assert "READY=1" not in rig.pass_s(READY_PATIENCE_S / 2)
    rig.watched.opens = True
    assert rig.pass_s(1)[0] == "READY=1"
    assert "READY=1" not in rig.pass_s(100)


def test_a_broker_that_is_away_keeps_the_start_from_being_done_for_seconds_only() -> None:
    rig = Rig(opens=False)
    assert "READY=1" in rig.pass_s(READY_PATIENCE_S + 1)


def test_without_a_service_manager_is_looked_all_the_same_and_not_often() -> None:
    rig = Rig(opens=False, manager=FakeManager(None, is_there=False))
    assert rig.lookout.look() == LOOK_EVERY_S
    rig.watched.progress.expect("loop", 1.0)
    rig.pass_s(30)
    assert rig.watched.troubles.now == {HANGS: "loop stands still."}
