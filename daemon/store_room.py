"""Whether there is room where things are kept, looked at each round.

The rule of this file: it is said while there still is some room to say it with.
"""

from typing import Final

from wardian.daemon.beside import Extra
from wardian.daemon.lives import Lives
from wardian.daemon.own_troubles import OwnTroubles
from wardian.rules.kept import Room
from wardian.rules.ports import Store

FULL: Final = "disk-full"
LOW: Final = "disk-low"
#: Forty sensors take 64 MiB in some four months, a commit log and what else is made beside it for a moment the rest.
LOW_BYTES: Final = 64 * 1024 * 1024
#: Room that must be free for it to be no longer low.
ENOUGH_BYTES: Final = 80 * 1024 * 1024


class StoreRoom:
    """Takes part in the rounds, of which it adds nothing to any."""

    def __init__(self, store: Store, troubles: OwnTroubles) -> None:
        """Look at the room of this store."""
        self._store = store
        self._troubles = troubles
        self._is_low = False

    def work(self, _now_ms: int, _lives: Lives) -> Extra:
        """Hold the reserve, and say how much room there is where it is too little."""
        room = self._store.room()
        if room is not None:
            self._say(room)
        return Extra()

    def committed(self) -> None:
        """Do nothing: it waits for nothing."""

    def _say(self, room: Room) -> None:
        free = f"{room.free_bytes / 1e6:.0f} MB are free"
        self._is_low = room.free_bytes < (ENOUGH_BYTES if self._is_low else LOW_BYTES)
        if room.has_reserve:
            self._troubles.end(FULL)
        else:
            self._troubles.begin(
                FULL, f"{free} on the disk with the database, and no room is held back any more"
            )
        if self._is_low:
            self._troubles.begin(LOW, f"{free} on the disk with the database")
        else:
            self._troubles.end(LOW)
