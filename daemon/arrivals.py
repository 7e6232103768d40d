"""What arrived and waits for a round: from any thread in, for the loop out."""

import threading
from collections import deque
from itertools import islice
from typing import Final

from wardian.rules.ports import Arrival

#: Arrivals waiting for a round. A full queue takes no more, and their sources send them again.
QUEUE_ROOM: Final = 20_000


class Queue:
    """Arrivals from any thread, taken by the loop; never waits, never grows past its room."""

    def __init__(self, room: int = QUEUE_ROOM) -> None:
        """Begin empty."""
        self._room = room
        self._waiting: deque[Arrival] = deque()
        self._wake = threading.Event()
        self.turned_away = 0

    def hand_over(self, arrival: Arrival) -> bool:
        """Take one arrival, or return False when there is no room."""
        if len(self._waiting) >= self._room:
            self.turned_away += 1
            return False
        self._waiting.append(arrival)
        return True

    def hurry(self) -> None:
        """End the loop's wait now."""
        self._wake.set()

    def wait(self, seconds: float) -> None:
        """Wait for some time, or until somebody hurries."""
        self._wake.wait(seconds)
        self._wake.clear()

    def take(self, most: int) -> list[Arrival]:
        """Take the oldest arrivals."""
        taken = list(islice(self._waiting, most))
        for _ in taken:
            self._waiting.popleft()
        return taken

    def __len__(self) -> int:
        return len(self._waiting)
