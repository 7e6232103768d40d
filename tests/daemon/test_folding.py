"""Closed hours are folded beside the rounds: late enough, a little at a time, and never in place of watching."""

from collections.abc import Mapping
from typing import Final

import pytest
from fake_clock import FakeClock
from loop_rig import BEGIN_MS, FlakyStore, Rig

from wardian.daemon.folding import MARGIN_MS, Folding
from wardian.rules.errors import StoreFailed
from wardian.rules.plans import TrayPlan
from wardian.rules.readings import Series

HOUR_MS: Final = 3_600_000
FIRST_HOUR_MS: Final = BEGIN_MS // HOUR_MS * HOUR_MS


class SlowStore(FlakyStore):
    """Folds for as long as it is told to, and fails as often."""

    def __init__(self) -> None:
        super().__init__()
        self.folds: list[int] = []
        self.pieces = 0
        self.fold_failures: list[StoreFailed] = []
        self.clock = FakeClock()

    def fold(self, before_ms: int, plans: Mapping[str, TrayPlan], most: int = 40) -> bool:
        self.folds.append(before_ms)
        self.clock.step(20)
        if self.fold_failures:
            raise self.fold_failures.pop()
        self.pieces -= 1
        return super().fold(before_ms, plans, most) or self.pieces > 0


@pytest.fixture
def store() -> SlowStore:
    return SlowStore()


@pytest.fixture
def rig(store: SlowStore) -> Rig:
    """A loop that folds, on a bench that is read each five minutes."""
    rig = Rig(store)
    rig.loop.beside = [Folding(store, rig.loop, rig.engine.trays, store.clock)]
    return rig


def watch(rig: Rig, first: int, last: int) -> None:
    for minute in range(first, last, 5):
        rig.arrive(24.0, minutes=minute)
        rig.round_at(minute + 0.2)


def test_an_hour_is_folded_once_it_was_judged_to_its_end_and_two_hours_more(
    rig: Rig, store: SlowStore
) -> None:
    watch(rig, 0, 5 * 60)
    assert max(store.folds) <= BEGIN_MS + 5 * HOUR_MS - MARGIN_MS
    assert store.folded_until_ms() == (BEGIN_MS + 5 * HOUR_MS - 660_000 - MARGIN_MS) // HOUR_MS * HOUR_MS
    assert len(store.rollups(Series("tray-a", "air_temperature"), 0, BEGIN_MS * 2).from_ms) > 12


def test_it_is_looked_for_more_each_ten_minutes(rig: Rig, store: SlowStore) -> None:
    watch(rig, 0, 60)
    assert len(store.folds) == 6


def test_a_backlog_is_folded_bit_by_bit_in_one_round_after_the_other(rig: Rig, store: SlowStore) -> None:
    store.pieces = 8
    watch(rig, 0, 10)
    assert (len(store.folds), store.pieces) == (6, 2)
    watch(rig, 10, 20)
    assert (len(store.folds), store.pieces) == (8, 0)


def test_before_the_backlog_of_a_start_is_in_nothing_is_folded(rig: Rig, store: SlowStore) -> None:
    rig.loop.quiet_s = 900.0
    watch(rig, 0, 15)
    assert store.folds == []
    watch(rig, 15, 25)
    assert store.folds


def test_a_clock_that_was_set_back_is_not_waited_for(rig: Rig, store: SlowStore) -> None:
    watch(rig, 60, 65)
    rig.clock.now_ms = BEGIN_MS
    rig.loop.round([rig.sensor])
    assert len(store.folds) == 2


def test_what_may_heal_is_tried_again_later_and_ends_no_round(rig: Rig, store: SlowStore) -> None:
    store.fold_failures = [StoreFailed("store", "the disk is full", may_heal=True)]
    watch(rig, 0, 10)
    assert len(store.folds) == 1
    assert len(list(store.readings(0, BEGIN_MS * 2))) == 2
    watch(rig, 10, 15)
    assert len(store.folds) == 2


def test_what_does_not_heal_is_not_hidden(rig: Rig, store: SlowStore) -> None:
    store.fold_failures = [StoreFailed("store", "the database is damaged")]
    with pytest.raises(StoreFailed, match="damaged"):
        watch(rig, 0, 5)
