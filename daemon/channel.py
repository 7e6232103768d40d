"""One channel and the messages it still has to take, in the order they were written.

The rule of this file: a message is marked only after it was taken, and no later one overtakes it.
"""

import logging
import threading
from collections.abc import Callable, Iterator
from typing import Final
from zlib import crc32

from wardian.daemon.freshness import SayTime, as_of_now
from wardian.rules.errors import AdapterError, DeliveryRefused
from wardian.rules.ports import Clock, Due, Message, Notifier, Store

log = logging.getLogger(__name__)

FIRST_PAUSE_MS: Final = 5_000
LONGEST_PAUSE_MS: Final = 3_600_000
#: Pauses are drawn out by up to this share, so that what failed together does not come back together.
JITTER: Final = 0.2
#: Nothing that lies further ahead was decided by this clock: it has been put back since.
FARTHEST_MS: Final = int(LONGEST_PAUSE_MS * (1 + JITTER))
LEAST_PATIENCE_MS: Final = 7 * 24 * 3_600_000


def pause_ms(key: str, attempts: int) -> int:
    """Return how long to wait after another failure: growing, and a little different for each message.

    Args:
        key: The message's.
        attempts: Failures before this one.
    """
    spread = crc32(f"{key} {attempts}".encode("utf-8", "replace")) / 2**32
    return int(_plain_pause_ms(attempts) * (1 + JITTER * spread))


def _plain_pause_ms(attempts: int) -> int:
    return min(FIRST_PAUSE_MS << min(attempts, 32), LONGEST_PAUSE_MS)


def _fewest_attempts() -> int:
    """Return how many attempts take at least seven days, whatever the clock does meanwhile."""
    attempts, passed_ms = 1, 0
    while passed_ms < LEAST_PATIENCE_MS:
        passed_ms += _plain_pause_ms(attempts - 1)
        attempts += 1
    return attempts


FEWEST_ATTEMPTS: Final = _fewest_attempts()


class Channel:
    """Sends what one notifier shall take. Only one thread at a time may run it."""

    def __init__(self, notifier: Notifier, store: Store, clock: Clock, say_time: SayTime) -> None:
        """Tell times to people by ``say_time``."""
        self.name = notifier.name
        self.notifier = notifier
        self.stopping = threading.Event()
        #: Told before a message is sent, and once it is.
        self.sending: Callable[[], None] = lambda: None
        self.sent: Callable[[], None] = lambda: None
        self._store = store
        self._clock = clock
        self._say_time = say_time
        self._next_ms: int | None = None
        self._unmarked: Callable[[], None] | None = None

    def run_due(self, now_ms: int) -> int | None:
        """Send every message whose time has come, until one fails.

        Returns:
            When to come back, or None when nothing waits.

        Raises:
            StoreFailed: Nothing is lost; a message that was taken but not marked is marked next time.
        """
        began_s = self._clock.monotonic_s()
        self._finish_mark()
        if self._next_ms is None or _has_come(self._next_ms, now_ms):
            self._next_ms = None
            self._next_ms = self._send_all(lambda: now_ms + int((self._clock.monotonic_s() - began_s) * 1000))
        return self._next_ms

    def _send_all(self, moment: Callable[[], int]) -> int | None:
        for due in self._waiting():
            if not _has_come(due.due_ms, moment()):
                return due.due_ms
            again_ms = self._attempt(due, moment)
            if again_ms is not None:
                return again_ms
        return None

    def _waiting(self) -> Iterator[Due]:
        for due in self._store.waiting():
            if self.stopping.is_set():
                return
            if due.channel == self.name:
                yield due

    def _attempt(self, due: Due, moment: Callable[[], int]) -> int | None:
        """Try one message; return when to try it again, or None when it is done with."""
        told = as_of_now(due, self._store, moment(), self._say_time)
        try:
            self._send(told)
        except DeliveryRefused as error:
            self._give_up(due, error.why, moment())
        except AdapterError as error:
            return self._failed(due, error.why, moment())
        except Exception as error:  # noqa: BLE001 - the round of this channel: a slip in it must not end it
            # Only the kind is kept: the words of an error we do not know may hold a secret.
            return self._failed(due, f"unexpected {type(error).__name__}", moment())
        else:
            # What goes out at once is the ordinary; a log that repeats every alarm would hide the rest.
            log.log(logging.INFO if due.attempts else logging.DEBUG, "message delivered", extra=_facts(due))
            delivered_ms = moment()
            self._mark(lambda: self._store.delivered(due.number, delivered_ms))
        return None

    def _send(self, message: Message) -> None:
        self.sending()
        try:
            self.notifier.send(message)
        finally:
            self.sent()

    def _failed(self, due: Due, why: str, now_ms: int) -> int | None:
        if due.attempts + 1 >= FEWEST_ATTEMPTS:
            self._give_up(due, why, now_ms)
            return None
        again_ms = now_ms + pause_ms(due.message.key, due.attempts)
        log.warning("delivery failed", extra=_facts(due) | {"why": why})
        self._mark(lambda: self._store.postponed(due.number, again_ms, why))
        return again_ms

    def _give_up(self, due: Due, why: str, now_ms: int) -> None:
        log.error("message given up", extra=_facts(due) | {"why": why})
        self._mark(lambda: self._store.given_up(due.number, now_ms, why))

    def _mark(self, mark: Callable[[], None]) -> None:
        self._unmarked = mark
        self._finish_mark()

    def _finish_mark(self) -> None:
        if self._unmarked is not None:
            self._unmarked()
            self._unmarked = None


def wait_s(due_ms: int, now_ms: int) -> float:
    """Return how many seconds there are until then; none when that is further ahead than any pause."""
    ahead_ms = due_ms - now_ms
    return ahead_ms / 1000 if 0 < ahead_ms <= FARTHEST_MS else 0.0


def _has_come(due_ms: int, now_ms: int) -> bool:
    return wait_s(due_ms, now_ms) == 0.0


def _facts(due: Due) -> dict[str, object]:
    return {"channel": due.channel, "key": due.message.key, "attempt": due.attempts + 1}
