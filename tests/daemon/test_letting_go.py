"""What is too old goes slowly, beside the rounds, and never by a clock that is not to be relied on."""

from typing import Final

import pytest
from loop_rig import BEGIN_MS, FlakyStore, Rig

from wardian.daemon.config_store import DAY_MS, KeepKeys
from wardian.daemon.config_types import Duration
from wardian.daemon.letting_go import LettingGo
from wardian.rules.errors import StoreFailed
from wardian.rules.kept import Older

KEYS: Final = KeepKeys(readings=Duration(30 * DAY_MS), rollups=Duration(90 * DAY_MS))


class OldStore(FlakyStore):
    """Has as many pieces to let go as a test says."""

    def __init__(self) -> None:
        super().__init__()
        self.asked: list[Older] = []
        self.pieces = 0
        self.go_failures: list[StoreFailed] = []

    def let_go(self, older: Older) -> bool:
        if self.go_failures:
            raise self.go_failures.pop()
        self.asked.append(older)
        self.pieces = max(0, self.pieces - 1)
        return self.pieces > 0


class Bench:
    def __init__(self) -> None:
        self.store = OldStore()
        self.rig = Rig(self.store)
        self.letting_go = LettingGo(self.store, self.rig.loop, KEYS, self.rig.clock)
        self.rig.loop.beside = [self.letting_go]

    def rounds(self, first: int, last: int) -> None:
        for minute in range(first, last):
            self.rig.round_at(minute)


@pytest.fixture
def bench() -> Bench:
    return Bench()


def test_ages_count_back_from_the_clock_and_what_has_none_stays(bench: Bench) -> None:
    bench.rounds(0, 2)
    assert bench.store.asked == [Older(BEGIN_MS - 30 * DAY_MS, BEGIN_MS - 90 * DAY_MS, None)]


def test_it_is_looked_for_more_each_hour(bench: Bench) -> None:
    bench.rounds(0, 180)
    assert len(bench.store.asked) == 3


def test_no_more_than_a_day_of_hours_goes_in_an_hour(bench: Bench) -> None:
    bench.store.pieces = 1_000
    bench.rounds(0, 119)
    assert len(bench.store.asked) == 2 * 24


def test_a_round_waits_for_a_little_of_it_alone(bench: Bench) -> None:
    bench.store.pieces = 10
    bench.rig.clock.look_ms = 0
    slow = bench.store.let_go

    def let_go(older: Older) -> bool:
        bench.rig.clock.step(30)
        return slow(older)

    bench.store.let_go = let_go  # type: ignore[method-assign] # slower than a test can wait
    bench.rounds(0, 2)
    assert len(bench.store.asked) <= 4


def test_by_a_clock_that_is_not_to_be_relied_on_nothing_goes(bench: Bench) -> None:
    bench.letting_go.is_sure = lambda: False
    bench.rounds(0, 90)
    assert bench.store.asked == []


def test_what_may_heal_is_tried_again_later_and_ends_no_round(bench: Bench) -> None:
    bench.store.go_failures = [StoreFailed("store", "the disk is full", may_heal=True)]
    bench.rounds(0, 59)
    assert bench.store.asked == []
    bench.rounds(59, 62)
    assert len(bench.store.asked) == 1


def test_what_does_not_heal_is_not_hidden(bench: Bench) -> None:
    bench.store.go_failures = [StoreFailed("store", "the database is damaged")]
    with pytest.raises(StoreFailed, match="damaged"):
        bench.rounds(0, 2)
