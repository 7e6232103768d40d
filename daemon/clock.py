"""The only place that reads the machine's clocks."""

import time
from typing import Final


class SystemClock:
    """The machine's own clocks."""

    def wall_ms(self) -> int:
        """Return milliseconds since 1970 UTC."""
        return time.time_ns() // 1_000_000

    def monotonic_s(self) -> float:
        """Return seconds from an unknown instant; never goes back."""
        return time.monotonic()


class HurriedClock:
    """A clock for a simulated bench: its time begins where it is told and passes faster.

    ``speed`` is how many of its seconds pass in one of ours. Its time is always what it says.
    """

    is_trusted: Final = True

    def __init__(self, begin_ms: int, speed: float) -> None:
        """Begin at ``begin_ms`` (since 1970 UTC) now."""
        self._begin_ms = begin_ms
        self._begun_s = time.monotonic()
        self.speed = speed

    def wall_ms(self) -> int:
        """Return milliseconds since 1970 UTC by this clock."""
        return self._begin_ms + int((time.monotonic() - self._begun_s) * self.speed * 1000)

    def monotonic_s(self) -> float:
        """Return seconds of our own time: what waits for a network waits in that."""
        return time.monotonic()
