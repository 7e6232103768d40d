"""Each night all that is kept is looked at and copied, once, and what does not work is told."""

from datetime import UTC, datetime, time
from typing import Final
from zoneinfo import ZoneInfo

import pytest
from fake_troubles import FakeTroubles
from loop_rig import FlakyStore, Rig

from wardian.daemon.nightly import DAMAGED, NO_BACKUP, Night, Nightly
from wardian.daemon.tongue import Tongue
from wardian.rules.errors import StoreFailed, StoreFull
from wardian.rules.kept import Mended, Unreadable

ZONE: Final = ZoneInfo("America/New_York")
ROTTEN: Final = [Unreadable("chunks", (0, 1), "what was folded is damaged")]


def ms(written: str) -> int:
    local = datetime.fromisoformat(written).replace(tzinfo=ZONE)
    return round((local - datetime(1970, 1, 1, tzinfo=UTC)).total_seconds() * 1000)


class Copied:
    """Takes copies, or fails as it is told to."""

    def __init__(self) -> None:
        self.made: list[int] = []
        self.failure: StoreFailed | None = None

    def add(self, now_ms: int) -> str:
        if self.failure:
            raise self.failure
        self.made.append(now_ms)
        return f"copy {len(self.made)}"


class Rotting(FlakyStore):
    """A store that is as damaged as a test says."""

    broken = ""

    def __init__(self) -> None:
        super().__init__()
        self.rotten: list[Unreadable] = []
        self.looks = 0

    def damage(self) -> str:
        self.looks += 1
        return self.broken

    def unreadable(self, from_ms: int = 0) -> list[Unreadable]:
        return self.rotten

    def put_aside(self, found: object, now_ms: int) -> Mended:
        self.rotten = []
        return Mended("hours", "1 packed hours cannot be read", "bench.db.damaged-hours")


class Bench:
    def __init__(self, begin: str, store: Rotting | None = None) -> None:
        self.store = store or Rotting()
        self.troubles, self.copies = FakeTroubles(), Copied()
        self.begin(begin)

    def begin(self, at: str) -> None:
        self.rig = Rig(self.store)
        self.rig.clock.now_ms = ms(at)
        night = Night(time(3, 30), ZONE, Tongue(ZONE).moment, self.copies)
        self.nightly = Nightly(night, self.store, self.troubles, self.store.notes())  # type: ignore[arg-type] # it needs no more of them
        self.rig.loop.beside = [self.nightly]
        self.round(at)

    def round(self, at: str) -> None:
        self.rig.clock.step_to(ms(at))
        for _ in range(3):
            self.rig.loop.round([self.rig.sensor])
            self.nightly.stop()


def test_each_night_all_is_looked_at_and_copied_once() -> None:
    bench = Bench("2026-03-02T12:00")
    for day in (3, 4):
        bench.round(f"2026-03-0{day}T03:29")
        bench.round(f"2026-03-0{day}T03:30")
        bench.round(f"2026-03-0{day}T09:00")
    assert bench.copies.made == [ms("2026-03-03T03:30"), ms("2026-03-04T03:30")]
    assert (bench.store.looks, bench.troubles.standing, bench.troubles.past) == (2, {}, [])


def test_a_restart_does_no_night_again_and_makes_up_for_one_that_was_missed() -> None:
    bench = Bench("2026-03-02T12:00")
    bench.round("2026-03-03T03:30")
    bench.begin("2026-03-03T03:31")
    assert len(bench.copies.made) == 1
    bench.begin("2026-03-04T08:00")
    bench.round("2026-03-04T08:01")
    assert len(bench.copies.made) == 2


def test_before_the_backlog_of_a_start_is_in_nothing_is_done() -> None:
    bench = Bench("2026-03-02T12:00")
    bench.nightly.is_ready = lambda: False
    bench.round("2026-03-03T03:30")
    assert bench.copies.made == []


def test_what_is_damaged_is_told_and_not_copied() -> None:
    bench = Bench("2026-03-02T12:00")
    bench.store.broken = "Page 4: never used\nPage 5: never used"
    bench.round("2026-03-03T03:30")
    assert bench.copies.made == []
    assert "Page 4: never used Page 5" in bench.troubles.standing[DAMAGED]


def test_packed_hours_that_cannot_be_read_are_put_aside_and_the_rest_is_copied() -> None:
    bench = Bench("2026-03-02T12:00")
    bench.store.rotten = ROTTEN
    bench.round("2026-03-03T03:30")
    words = "1 packed hours cannot be read; they were put aside into bench.db.damaged-hours and read as unknown now"
    assert (bench.troubles.past, len(bench.copies.made)) == ([(DAMAGED, words)], 1)


def test_a_copy_that_cannot_be_made_is_told_until_one_is() -> None:
    bench = Bench("2026-03-02T12:00")
    bench.copies.failure = StoreFull("store", "no room for a backup: 2 MB are free, 20 MB needed")
    bench.round("2026-03-03T03:30")
    assert bench.troubles.standing == {NO_BACKUP: "no room for a backup: 2 MB are free, 20 MB needed"}
    bench.copies.failure = None
    bench.round("2026-03-04T03:30")
    assert (bench.troubles.standing, len(bench.copies.made)) == ({}, 1)


@pytest.mark.parametrize("error", [StoreFailed("store", "locked", may_heal=True), RuntimeError("a slip")])
def test_what_goes_wrong_ends_no_watch_and_the_next_night_is_done(
    error: Exception, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = Bench("2026-03-02T12:00")

    def fail() -> str:
        raise error

    with monkeypatch.context() as broken:
        broken.setattr(bench.store, "damage", fail)
        bench.round("2026-03-03T03:30")
    bench.round("2026-03-04T03:30")
    assert bench.copies.made == [ms("2026-03-04T03:30")]
