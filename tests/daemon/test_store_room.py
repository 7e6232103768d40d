"""Too little room is told while there is some to tell it with, and is over once there is enough."""

from typing import Final

import pytest
from fake_troubles import FakeTroubles
from loop_rig import FlakyStore

from wardian.daemon.lives import Lives
from wardian.daemon.store_room import ENOUGH_BYTES, LOW_BYTES, StoreRoom
from wardian.rules.kept import Room

PLENTY: Final = Room(10**10, has_reserve=True)


class Disk(FlakyStore):
    """A store on a disk with as much room as a test says."""

    here: Room | None = PLENTY

    def room(self) -> Room | None:  # type: ignore[override] # the one in memory has none
        return self.here


def standing(*rooms: Room | None) -> dict[str, str]:
    """Return what stands after rounds with so much room."""
    store, troubles = Disk(), FakeTroubles()
    look = StoreRoom(store, troubles)  # type: ignore[arg-type] # it needs no more of it
    for room in rooms:
        store.here = room
        look.work(0, Lives({}))
    return troubles.standing


def test_with_plenty_of_room_nothing_is_said() -> None:
    assert standing(PLENTY) == {}


def test_a_reserve_that_is_gone_says_that_the_disk_is_full() -> None:
    assert list(standing(Room(3_000_000, has_reserve=False))) == ["disk-low", "disk-full"][::-1]
    assert standing(Room(3_000_000, has_reserve=False))["disk-full"].startswith("3 MB are free")


def test_the_disk_is_full_no_more_once_room_is_held_again() -> None:
    assert standing(Room(0, has_reserve=False), PLENTY) == {}


@pytest.mark.parametrize(
    ("free_bytes", "is_said"), [(LOW_BYTES, False), (LOW_BYTES - 1, True), (ENOUGH_BYTES, False)]
)
def test_little_room_is_said_below_a_measure(free_bytes: int, is_said: bool) -> None:
    assert ("disk-low" in standing(Room(free_bytes, has_reserve=True))) is is_said


def test_little_room_is_over_only_with_some_more() -> None:
    low = Room(LOW_BYTES - 1, has_reserve=True)
    assert "disk-low" in standing(low, Room(ENOUGH_BYTES - 1, has_reserve=True))
    assert standing(low, Room(ENOUGH_BYTES, has_reserve=True)) == {}


def test_where_nobody_can_tell_what_was_said_stays() -> None:
    assert "disk-full" in standing(Room(0, has_reserve=False), None)
