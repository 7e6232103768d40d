"""What is older than it is to be kept is let go, a little after each round.

The rule of this file: a round waits for a piece of it at most, and what cannot be let go now is let go later. It
goes slowly, so that a clock that is wrong for an hour costs a day of the oldest at most.
"""

import logging
from typing import TYPE_CHECKING, Final

from wardian.daemon.beside import Extra
from wardian.daemon.config_store import KeepKeys
from wardian.daemon.lives import Lives
from wardian.daemon.loop import Loop
from wardian.rules.errors import StoreFailed
from wardian.rules.kept import Older
from wardian.rules.ports import Clock, Store

if TYPE_CHECKING:
    from collections.abc import Callable

log = logging.getLogger(__name__)

#: How often it is looked for more. [s]
LOOK_S: Final = 3_600.0
#: Hours of readings that are let go in that time.
MOST_HOURS: Final = 24
#: After this no further piece is begun in the same round. [s]
ENOUGH_S: Final = 0.05


class LettingGo:
    """Takes part in the rounds, of which it adds nothing to any."""

    def __init__(self, store: Store, loop: Loop, keys: KeepKeys, machine: Clock) -> None:
        """Let go in this store what is older than the keys say."""
        self._store = store
        self._loop = loop
        self._keys = keys
        self._machine = machine
        self._now_ms = 0
        self._begun_s = machine.monotonic_s()
        self._hours = 0
        #: Whether what time it is can be relied upon.
        self.is_sure: Callable[[], bool] = lambda: True

    def work(self, now_ms: int, _lives: Lives) -> Extra:
        """Return nothing: what is let go is in no round."""
        self._now_ms = now_ms
        return Extra()

    def committed(self) -> None:
        """Let a piece go or a few, when it is time and the backlog of a start is in.

        Raises:
            StoreFailed: The store cannot keep its promise and trying again will not help.
        """
        passed_s = self._machine.monotonic_s()
        if passed_s - self._begun_s >= LOOK_S:
            self._begun_s, self._hours = passed_s, 0
        if self._hours >= MOST_HOURS or not (self._loop.is_up_to_date and self.is_sure()):
            return
        try:
            self._let_some_go(passed_s)
        except StoreFailed as error:
            if not error.may_heal:
                raise
            log.warning("what is old cannot be let go now", extra={"why": error.why})
            self._hours = MOST_HOURS

    def _let_some_go(self, begun_s: float) -> None:
        """Let go until it is enough for a round, or nothing is left that is too old."""
        keys = self._keys
        older = Older(*map(self._before, (keys.readings, keys.rollups, keys.messages)))
        while self._hours < MOST_HOURS and self._machine.monotonic_s() - begun_s < ENOUGH_S:
            self._hours += 1
            if not self._store.let_go(older):
                self._hours = MOST_HOURS

    def _before(self, age_ms: int | None) -> int | None:
        return None if age_ms is None else self._now_ms - age_ms
