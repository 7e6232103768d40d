"""What is done when the machine's clock is set, and what people are told of it.

The rule of this file: what was dated wrongly is moved to where it belongs, as long as that is possible; else what
lasts goes on lasting, and nothing that a clock did is taken for something that happened at the bench.
"""

import logging
from typing import Final, NamedTuple

from wardian.daemon.bench_clock import JUMP_MS, BenchClock
from wardian.daemon.clocks_compared import ClocksCompared
from wardian.daemon.loop import Loop
from wardian.daemon.own_troubles import OwnTroubles
from wardian.daemon.tongue import span_words
from wardian.rules.errors import StoreFailed
from wardian.rules.moving import Moving
from wardian.rules.ports import Store

log = logging.getLogger(__name__)

NOT_TRUSTED: Final = "time-not-trusted"
WAS_SET: Final = "clock-was-set"
DISAGREE: Final = "clocks-disagree"


class Anew(NamedTuple):
    """What a watch begins anew with when an era was moved: its clock, and how the era was moved."""

    clock: BenchClock
    moving: Moving


class ClockWatch:
    """Looks at the clock before each round."""

    def __init__(self, clock: BenchClock, loop: Loop, store: Store, troubles: OwnTroubles) -> None:
        """Keep the loop at the right time."""
        self._clock = clock
        self._loop = loop
        self._store = store
        self._troubles = troubles
        self._compared = ClocksCompared(self._say_who_disagrees)
        self._was_trusted: bool | None = None
        #: Whether what is kept outlives this run, so that it can be moved between two.
        self.can_move = True
        loop.knows_time = lambda: clock.is_trusted
        loop.intake.on_own_time = self._heard

    def begun_anew(self, anew: Anew) -> None:
        """Tell that an era was moved just now."""
        self._tell(anew.moving.by_ms, "what was kept since the clock was started or last set was dated anew.")

    def look(self) -> Anew | None:
        """Deal with a clock that was set; return what everything must begin anew with, where an era is to be moved.

        Raises:
            StoreFailed: The store cannot keep its promise and trying again will not help.
        """
        by_ms = self._clock.step_ms()
        anew = None if by_ms is None else self._step(by_ms)
        self._say_whether_trusted()
        return anew

    def _step(self, by_ms: int) -> Anew | None:
        if abs(by_ms) < JUMP_MS:
            self._clock.follow()
            return None
        if self._loop.failing.since_s is not None:
            # What waits in memory would stay where it is: the step is dealt with once everything is kept.
            return None
        moving = Moving(self._clock.era_ms, by_ms)
        try:
            if self._is_movable(moving):
                return Anew(self._clock, moving)
        except StoreFailed as error:
            if not error.may_heal:
                raise
            return None
        if by_ms > 0:
            self._loop.leap(self._clock.wall_ms(), by_ms)
            self._clock.follow()
            self._tell(by_ms, "nothing was missed, but times before are told as they were.")
        else:
            self._clock.go_alone()
            self._tell(by_ms, "time goes on as before, for what is kept is later than that.")
        self._compared.forget()
        return None

    def _is_movable(self, moving: Moving) -> bool:
        """Whether the era can be moved as a whole: nothing of it is folded, and nothing is kept where it goes."""
        is_free = moving.begin_ms >= self._clock.floor_ms
        return self.can_move and is_free and self._store.folded_until_ms() <= moving.from_ms

    def _tell(self, by_ms: int, words: str) -> None:
        log.warning("clock was set", extra={"seconds": round(by_ms / 1000, 1)})
        self._troubles.happened(WAS_SET, f"by {span_words(abs(by_ms))} {_towards(by_ms)}; {words}")

    def _say_whether_trusted(self) -> None:
        is_trusted = self._clock.is_trusted
        if is_trusted == self._was_trusted:
            return
        self._was_trusted = is_trusted
        if is_trusted:
            self._troubles.end(NOT_TRUSTED)
            return
        behind = span_words(-self._clock.ahead_ms())
        self._troubles.begin(
            NOT_TRUSTED,
            f"the machine's clock is {behind} behind what is known, so times are guessed from what was kept last; "
            "the daily summary, reminders of care and looks back wait until the clock is set.",
        )

    def _heard(self, whose: tuple[str, str], received_ms: int, own_ms: int) -> None:
        if self._loop.is_up_to_date and self._clock.is_trusted:
            self._compared.heard(whose, received_ms, own_ms)

    def _say_who_disagrees(self, words: str) -> None:
        if words:
            self._troubles.begin(DISAGREE, words)
        else:
            self._troubles.end(DISAGREE)


def _towards(by_ms: int) -> str:
    return "ahead" if by_ms > 0 else "back"
