"""Closed hours folded beside the watching, a little after each round.

The rule of this file: a round waits for a piece of it at most, and what cannot be folded now is folded later.
"""

import logging
from collections.abc import Mapping
from typing import Final

from wardian.daemon.beside import Extra
from wardian.daemon.lives import Lives
from wardian.daemon.loop import Loop
from wardian.rules.errors import StoreFailed
from wardian.rules.ports import Clock, Store
from wardian.rules.tray_engine import TrayEngine

log = logging.getLogger(__name__)

#: An hour is folded so long after it was judged to its end: a restart reads the last hour or so again, as
#: states are saved each hour, and readings that come late mostly come within minutes.
MARGIN_MS: Final = 2 * 3_600_000
#: How often it is looked for more; what comes late for a folded hour waits so long for being folded, too.
LOOK_MS: Final = 600_000
#: After this no further piece is begun in the same round. [s]
ENOUGH_S: Final = 0.05


class Folding:
    """Takes part in the rounds, of which it adds nothing to any."""

    def __init__(self, store: Store, loop: Loop, trays: Mapping[str, TrayEngine], machine: Clock) -> None:
        """Fold what is behind the judgement of these trays."""
        self._store = store
        self._loop = loop
        self._trays = trays
        self._machine = machine
        self._now_ms = 0
        self._next_ms = 0

    def work(self, now_ms: int, _lives: Lives) -> Extra:
        """Return nothing: what is folded is in no round."""
        self._now_ms = now_ms
        return Extra()

    def committed(self) -> None:
        """Fold a piece or a few, when it is time, the backlog of a start is in and times can be trusted.

        Raises:
            StoreFailed: The store cannot keep its promise and trying again will not help.
        """
        waits = self._now_ms < self._next_ms <= self._now_ms + LOOK_MS
        if waits or not self._loop.is_sure:
            return
        try:
            is_done = self._fold_some()
        except StoreFailed as error:
            if not error.may_heal:
                raise
            log.warning("closed hours cannot be folded now", extra={"why": error.why})
            is_done = True
        if is_done:
            self._next_ms = self._now_ms + LOOK_MS

    def _fold_some(self) -> bool:
        """Fold until it is enough for a round; return whether all is folded."""
        plans = {name: tray.plan for name, tray in self._trays.items()}
        judged_ms = min((tray.judged_ms for tray in self._trays.values()), default=self._now_ms)
        begun_s = self._machine.monotonic_s()
        while self._store.fold(min(judged_ms, self._now_ms) - MARGIN_MS, plans):
            if self._machine.monotonic_s() - begun_s >= ENOUGH_S:
                return False
        return True
