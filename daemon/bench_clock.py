"""The clock of a real bench: it runs by monotonic time, and takes its labels from the machine's clock where it can.

The rule of this file: it never goes back, and what it says to have passed has passed. A machine's clock that is set
is an event, which somebody must look at; until then time goes on as before.
"""

import threading
from datetime import UTC, datetime
from typing import Final

from wardian.rules.ports import Clock

#: Smaller differences are a time server at work and are followed, ahead at once, back by going slower.
JUMP_MS: Final = 5_000
#: A clock that is behind is waited for by going so much slower ...
SLOWER: Final = 0.1
#: ... if it is no further behind than this; else there is no waiting for it, and time goes on at its own pace.
LONGEST_WAIT_MS: Final = 24 * 3_600_000
#: A clock that is less behind is still one to live by: readings may be that far ahead of it.
TOLERABLE_MS: Final = 300_000
#: No machine that runs this program has a right clock that shows less: it is older than the program.
RELEASED_MS: Final = int(datetime(2026, 1, 1, tzinfo=UTC).timestamp() * 1000)


class BenchClock:
    """A clock that may be looked at from any thread, and is set by one.

    Attributes:
        floor_ms: What the machine's clock must show to be believed: it is later than that.
        era_ms: Since when no step of the clock lies behind what this clock says; labels of this era hang together.
    """

    def __init__(self, machine: Clock, known_ms: int = 0, guess_ms: int = 0) -> None:
        """Begin where the machine's clock is, or, where that cannot be, at a guess.

        Args:
            machine: What is followed.
            known_ms: When something was last kept: it is later than that.
            guess_ms: What time it may be where the machine does not know, if that is later still.
        """
        self._machine = machine
        self._lock = threading.Lock()
        self.floor_ms = max(known_ms, RELEASED_MS)
        now_ms = machine.wall_ms()
        #: Whether the machine's clock is behind what cannot be, so that time goes on without it.
        self._goes_alone = now_ms < self.floor_ms
        self._now_ms = float(max(now_ms, self.floor_ms, guess_ms if self._goes_alone else 0))
        self._seen_s = machine.monotonic_s()
        self.era_ms = int(self._now_ms)

    def wall_ms(self) -> int:
        """Return milliseconds since 1970 UTC; never less than before, unless all that was kept was moved with it."""
        with self._lock:
            self._go_on()
            return int(self._now_ms)

    def monotonic_s(self) -> float:
        """Return seconds from an unknown instant; never goes back."""
        return self._machine.monotonic_s()

    def ahead_ms(self) -> int:
        """Return how far the machine's clock is ahead of this one; less than nothing where it is behind."""
        with self._lock:
            self._go_on()
            return self._ahead()

    @property
    def is_trusted(self) -> bool:
        """Whether what it shows is what time it is, as far as one can know."""
        return not self._goes_alone or self.ahead_ms() > -TOLERABLE_MS

    def step_ms(self) -> int | None:
        """Return by how much the machine's clock was set, ahead or back, None where it was not; until it is dealt with.

        A clock that comes back into sight after time went on without it is a step, too, however small.
        """
        ahead_ms = self.ahead_ms()
        if self._goes_alone:
            is_in_sight = ahead_ms > -JUMP_MS or self.era_ms + ahead_ms >= self.floor_ms
            return ahead_ms if is_in_sight else None
        return ahead_ms if abs(ahead_ms) >= JUMP_MS else None

    # ------------------------------------------------------------------------ dealing with a step

    def follow(self) -> None:
        """Show what the machine's clock shows, if that is later; a new era begins."""
        with self._lock:
            self._go_on()
            self.floor_ms = max(self.floor_ms, int(self._now_ms))
            self._now_ms += max(self._ahead(), 0)
            self.era_ms = int(self._now_ms)
            self._goes_alone = False

    def move(self, by_ms: int) -> None:
        """Go on at another time, with the whole era: it was moved in what is kept, too."""
        with self._lock:
            self._go_on()
            self._now_ms += by_ms
            self.era_ms += by_ms
            self._goes_alone = False

    def go_alone(self) -> None:
        """Go on without the machine's clock until it is in sight again; a new era begins."""
        with self._lock:
            self._go_on()
            self.floor_ms = self.era_ms = int(self._now_ms)
            self._goes_alone = True

    def _ahead(self) -> int:
        return self._machine.wall_ms() - int(self._now_ms)

    def _go_on(self) -> None:
        """Let as much time pass as has passed."""
        seen_s, wall_ms = self._machine.monotonic_s(), self._machine.wall_ms()
        # Both are read before anything is noted: time that passed must not be forgotten where one cannot be.
        passed_ms, self._seen_s = (seen_s - self._seen_s) * 1000, seen_s
        ahead_ms = wall_ms - (self._now_ms + passed_ms)
        if -(LONGEST_WAIT_MS if self._goes_alone else JUMP_MS) <= ahead_ms < 0:
            passed_ms -= min(passed_ms * SLOWER, -ahead_ms)
        elif 0 < ahead_ms < JUMP_MS and not self._goes_alone:
            passed_ms += ahead_ms
        self._now_ms += passed_ms
