"""What is done while the store keeps nothing: people hear of it, and what falls due leaves from memory.

The rule of this file: a lock that another program holds for a moment is no news.
"""

import logging
from typing import TYPE_CHECKING, Final

from wardian.daemon.unkept import Unkept
from wardian.rules.errors import StoreFailed
from wardian.rules.ports import Clock, Sensor, Store

if TYPE_CHECKING:
    from collections.abc import Sequence

    from wardian.daemon.outbox import Outbox
    from wardian.daemon.own_troubles import OwnTroubles

log = logging.getLogger(__name__)

#: Readings, refused ones included, that wait in memory while the store cannot keep them.
UNKEPT_ROOM: Final = 100_000
#: For so long all waits for the store; then nothing that people are to hear does any more.
STORE_PATIENCE_S: Final = 10.0
#: Names of what goes wrong with the watch itself.
STORE_FAILED: Final = "store-failed"
JUDGING_STOPPED: Final = "judging-stopped"


class FailingStore:
    """Knows since when a store keeps nothing; ``outbox`` and ``troubles`` are told, where there are any."""

    def __init__(self, store: Store, clock: Clock) -> None:
        """Begin with a store that works."""
        self._store = store
        self._clock = clock
        self.outbox: Outbox | None = None
        self.troubles: OwnTroubles | None = None
        #: Wires that wait for acknowledgements, and must go on without.
        self.sensors: Sequence[Sensor] = ()
        self._is_live_only = False
        #: By monotonic time; None while it keeps.
        self.since_s: float | None = None

    def happened(self, name: str, words: str) -> None:
        """Tell of something that went wrong with the watch itself."""
        if self.troubles:
            self.troubles.happened(name, words)

    def has_room(self, unkept: Unkept) -> bool:
        """Return whether more may wait in memory; where not, nothing is judged, and people hear of it."""
        if len(unkept) < UNKEPT_ROOM:
            return True
        if self.troubles:
            self.troubles.begin(JUDGING_STOPPED, f"{len(unkept)} readings wait in memory, which is full.")
        return False

    def failed(self, error: StoreFailed, unkept: Unkept, now_ms: int) -> None:
        """Hear that a commit failed.

        Raises:
            StoreFailed: Trying again will not help.
        """
        if not error.may_heal:
            raise error
        waiting = f"{len(unkept)} readings wait in memory"
        self._store.announce(f"{error.why}; {waiting}")
        passed_s = self._clock.monotonic_s()
        if self.since_s is None:
            self.since_s = passed_s
            log.error("store cannot keep readings", extra={"why": error.why, "waiting": len(unkept)})
        if passed_s - self.since_s < STORE_PATIENCE_S:
            return
        if self.troubles:
            self.troubles.begin(STORE_FAILED, f"{error.why}; {waiting}.")
        if self.outbox:
            self.outbox.hold(unkept.due, now_ms)
        self._hear_live(only=True)

    def kept(self, unkept: Unkept) -> None:
        """Hear that everything is committed."""
        if self.since_s is None:
            return
        log.warning("store keeps readings again", extra={"kept": len(unkept)})
        self._store.announce("")
        self.since_s = None
        if self.outbox:
            self.outbox.written()
        if self.troubles:
            self.troubles.end(STORE_FAILED)
            self.troubles.end(JUDGING_STOPPED)
        self._hear_live(only=False)

    def _hear_live(self, *, only: bool) -> None:
        """Let readings go on coming though none is acknowledged, or be acknowledged again."""
        if only != self._is_live_only:
            self._is_live_only = only
            for sensor in self.sensors:
                sensor.hear_live(only=only)
