"""Whether every part of the watch moves: told to the service manager, the log and people.

The rule of this file: the watchdog is fed only while everything moves that a new start would cure; whoever
looks is none of the parts, so that none can hang together with it.
"""

import logging
from typing import Final, Protocol

from wardian.daemon.notify_socket import ServiceManager
from wardian.daemon.own_troubles import OwnTroubles
from wardian.daemon.progress import Late, Progress
from wardian.rules.ports import Clock

log = logging.getLogger(__name__)

#: How often is looked, or twice within the watchdog's time where that is more often.
LOOK_EVERY_S: Final = 10.0
#: While the service manager waits to hear that the start is done.
READY_EVERY_S: Final = 0.25
#: A broker that is away keeps the start from being done for so long, and no longer.
READY_PATIENCE_S: Final = 10.0
#: Whoever looks so much later than meant was stopped itself, and so was everybody.
STOPPED_S: Final = 5.0
#: The own trouble that a part stands still.
HANGS: Final = "part-hangs"


class Watched(Protocol):
    """What is looked after."""

    @property
    def progress(self) -> Progress:
        """What its parts say of themselves."""

    @property
    def troubles(self) -> OwnTroubles | None:
        """Where people are told of it."""

    def is_open(self) -> bool:
        """Whether all is open that it works with."""

    def words(self) -> str:
        """Return in a few words how it is."""


class Lookout:
    """Looks whenever it is called, and says when it wants to be called again."""

    def __init__(self, watched: Watched, manager: ServiceManager, clock: Clock) -> None:
        """Reckon by the clock's monotonic time."""
        self._watched = watched
        self._manager = manager
        self._clock = clock
        self._late: list[Late] = []
        self._began_s = clock.monotonic_s()
        self._next_s = self._began_s
        self._is_ready = not manager.is_there

    def look(self) -> float:
        """Look, where it is time; return in how many seconds to look again."""
        now_s = self._clock.monotonic_s()
        if now_s >= self._next_s:
            was_stopped = now_s - self._next_s > STOPPED_S
            self._get_ready(now_s)
            self._judge([] if was_stopped else self._watched.progress.late())
            self._next_s = now_s + self._pause_s()
        return self._next_s - now_s

    def _get_ready(self, now_s: float) -> None:
        if not self._is_ready and (self._watched.is_open() or now_s - self._began_s >= READY_PATIENCE_S):
            self._is_ready = True
            self._manager.ready()

    def _judge(self, late: list[Late]) -> None:
        if not any(part.is_vital for part in late):
            self._manager.feed()
        self._tell(late)
        if self._is_ready:
            self._manager.status("; ".join(part.words() for part in late) or self._watched.words())

    def _tell(self, late: list[Late]) -> None:
        for part in late:
            if part not in self._late:
                log.error("part hangs", extra={"part": part.name, "ended": part.has_ended})
        for part in self._late:
            if part.name not in {one.name for one in late}:
                log.warning("part moves again", extra={"part": part.name})
        troubles = self._watched.troubles
        if troubles and late:
            troubles.begin(HANGS, f"{'; '.join(part.words() for part in late)}.")
        elif troubles and self._late:
            troubles.end(HANGS)
        self._late = late

    def _pause_s(self) -> float:
        if not self._is_ready:
            return READY_EVERY_S
        watchdog_s = self._manager.watchdog_s
        return LOOK_EVERY_S if watchdog_s is None else min(LOOK_EVERY_S, watchdog_s / 2)
