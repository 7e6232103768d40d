"""Messages that fell due while the store can keep nothing: they leave from memory.

The rule of this file: it needs no store. What was taken is remembered by channel and key until the store says
that it waits there, so that it is marked then and not sent once more. Whoever is killed in between may repeat it.
"""

import logging
from collections.abc import Iterable
from dataclasses import replace
from threading import Lock
from typing import Final, NamedTuple

from wardian.rules.ports import Due, DueMessage, Store

log = logging.getLogger(__name__)

#: So many messages wait in memory; what finds no room waits until the store keeps again.
ROOM: Final = 500
#: The number of a message that the store has not numbered yet.
UNNUMBERED: Final = 0


class Outcome(NamedTuple):
    """What became of one attempt: taken where there is no ``why``, given up where it is not tried again."""

    time_ms: int
    attempts: int
    why: str = ""
    again_ms: int | None = None

    def of(self, due: Due) -> Due | None:
        """Return the message as it waits from then on, None where it is done with."""
        if self.again_ms is None:
            return None
        return replace(due, attempts=self.attempts, due_ms=self.again_ms, last_error=self.why)

    def write(self, store: Store, number: int) -> None:
        """Mark the message in the store.

        Raises:
            StoreFailed: It is not marked.
        """
        if self.again_ms is not None:
            store.postponed(number, self.again_ms, self.why)
        elif self.why:
            store.given_up(number, self.time_ms, self.why)
        else:
            store.delivered(number, self.time_ms)


class Unwritten:
    """The messages of rounds that are not kept yet; safe from any thread."""

    def __init__(self, room: int = ROOM) -> None:
        """Begin with none."""
        self._room = room
        self._lock = Lock()
        self._waiting: dict[tuple[str, str], Due] = {}
        self._ended: dict[tuple[str, str], Outcome] = {}
        self._without_room = 0

    def hold(self, due: Iterable[DueMessage], now_ms: int) -> None:
        """Let messages leave from here; those that it knows already stay as they are."""
        without_room = 0
        with self._lock:
            for one in due:
                key = one.channel, one.message.key
                if key in self._waiting or key in self._ended:
                    continue
                if len(self._waiting) < self._room:
                    self._waiting[key] = Due(UNNUMBERED, one.channel, one.message, now_ms, 0, now_ms, "")
                else:
                    without_room += 1
        if without_room and not self._without_room:
            log.error("no room for more messages; they wait for the store", extra={"messages": without_room})
        self._without_room = without_room

    def written(self) -> None:
        """Hear that the store has them all."""
        with self._lock:
            self._waiting.clear()
        self._without_room = 0

    def of(self, channel: str) -> list[Due]:
        """Return what waits for a channel, in the order in which it fell due."""
        with self._lock:
            return [due for due in self._waiting.values() if due.channel == channel]

    def note(self, due: Due, outcome: Outcome) -> None:
        """Note what became of an attempt."""
        key = due.channel, due.message.key
        with self._lock:
            waits = outcome.of(due)
            if waits is None:
                self._waiting.pop(key, None)
                self._ended[key] = outcome
            elif key in self._waiting:
                self._waiting[key] = waits

    def end_of(self, due: Due) -> Outcome | None:
        """Return, once, how a message of the store has ended that left from here; None where it did not."""
        with self._lock:
            return self._ended.pop((due.channel, due.message.key), None)

    @property
    def without_room(self) -> int:
        """How many messages found no room and wait for the store."""
        return self._without_room
