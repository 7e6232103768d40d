"""One channel and the messages it still has to take, in the order they were written.

The rule of this file: a message is marked only after it was taken, and no later one overtakes it. A store that
cannot be written or read holds no message up: what became of it is remembered and marked later, and what is not
written yet follows from memory.
"""

import logging
import threading
from collections.abc import Callable, Iterator
from typing import Final
from zlib import crc32

from wardian.daemon.freshness import SayTime, as_of_now, not_looked_up, not_written
from wardian.daemon.unwritten import UNNUMBERED, Outcome, Unwritten
from wardian.rules.errors import AdapterError, DeliveryRefused, StoreFailed
from wardian.rules.ports import Clock, Due, Message, Notifier, Store

log = logging.getLogger(__name__)

FIRST_PAUSE_MS: Final = 5_000
#: So that the first message leaves within two minutes once an outage is over: only one message of a channel is
#: tried at a time, and an attempt costs next to nothing.
LONGEST_PAUSE_MS: Final = 100_000
#: Pauses are drawn out by up to this share, so that what failed together does not come back together.
JITTER: Final = 0.2
#: Nothing that lies further ahead was decided by this clock: it has been put back since.
FARTHEST_MS: Final = int(LONGEST_PAUSE_MS * (1 + JITTER))
LEAST_PATIENCE_MS: Final = 7 * 24 * 3_600_000
#: Failures of one message that are told in the log; after them one in so many.
TOLD_FAILURES: Final = 12
TOLD_AFTER: Final = 36


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

    def __init__(
        self, notifier: Notifier, store: Store, clock: Clock, say_time: SayTime, unwritten: Unwritten
    ) -> None:
        """Tell times to people by ``say_time``; send what the store has, then what it has not yet."""
        self.name = notifier.name
        self.notifier = notifier
        self.stopping = threading.Event()
        #: Told before a message is sent, and once it is.
        self.sending: Callable[[], None] = lambda: None
        self.sent: Callable[[], None] = lambda: None
        #: Hears how the notifier answered: why it refused a message for good, or nothing where it took one.
        self.answered: Callable[[str, str], None] = lambda *_: None
        self._store = store
        self._clock = clock
        self._say_time = say_time
        self._unwritten = unwritten
        self._next_ms: int | None = None
        self._unmarked: dict[int, Outcome] = {}
        self._store_failed: StoreFailed | None = None
        #: Since when nothing was taken of what is to be sent, by monotonic time; None where all is well.
        self.stuck_since_s: float | None = None
        #: Why the last attempt failed.
        self.why = ""

    def run_due(self, now_ms: int) -> int | None:
        """Send every message whose time has come, until one fails.

        Returns:
            When to come back, or None when nothing waits.

        Raises:
            StoreFailed: All that could be sent was, and what became of it is marked next time.
        """
        began_s = self._clock.monotonic_s()
        self._store_failed = None
        self._finish_marks()
        if self._next_ms is None or _has_come(self._next_ms, now_ms):
            self._next_ms = None
            self._next_ms = self._send_all(lambda: now_ms + int((self._clock.monotonic_s() - began_s) * 1000))
        if self._store_failed is not None:
            # Whoever comes back sooner looks again: memory may hold more by then.
            self._next_ms = None
            raise self._store_failed
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
        """Yield what the store has, as far as it can be read, then what it has not yet."""
        # Looked at first: what is written meanwhile is found in the store, too, and told apart there.
        held = self._unwritten.of(self.name)
        keys = set()
        for due in self._written():
            keys.add(due.message.key)
            waits = self._as_it_waits(due)
            if self.stopping.is_set():
                return
            if waits is not None:
                yield waits
        for due in held:
            if self.stopping.is_set():
                return
            if due.message.key not in keys:
                yield due

    def _written(self) -> list[Due]:
        try:
            return [due for due in self._store.waiting() if due.channel == self.name]
        except StoreFailed as error:
            self._store_failed = error
            return []

    def _as_it_waits(self, due: Due) -> Due | None:
        """Return a message of the store with what is not marked yet, None where it is done with."""
        left = self._unwritten.end_of(due)
        if left is not None:
            self._mark(due, left)
            return None
        unmarked = self._unmarked.get(due.number)
        return due if unmarked is None else unmarked.of(due)

    def _attempt(self, due: Due, moment: Callable[[], int]) -> int | None:
        """Try one message; return when to try it again, or None when it is done with."""
        if self.stuck_since_s is None:
            self.stuck_since_s = self._clock.monotonic_s()
        try:
            self._send(self._told(due, moment()))
        except DeliveryRefused as error:
            self._give_up(due, error.why, moment())
            self.answered(self.name, error.why)
        except AdapterError as error:
            return self._failed(due, error.why, moment())
        except Exception as error:  # noqa: BLE001 - the round of this channel: a slip in it must not end it
            # Only the kind is kept: the words of an error we do not know may hold a secret.
            return self._failed(due, f"unexpected {type(error).__name__}", moment())
        else:
            # What goes out at once is the ordinary; a log that repeats every alarm would hide the rest.
            log.log(logging.INFO if due.attempts else logging.DEBUG, "message delivered", extra=_facts(due))
            self.stuck_since_s = None
            self._note(due, Outcome(moment(), due.attempts + 1))
            self.answered(self.name, "")
        return None

    def _send(self, message: Message) -> None:
        self.sending()
        try:
            self.notifier.send(message)
        finally:
            self.sent()

    def _told(self, due: Due, now_ms: int) -> Message:
        if due.number == UNNUMBERED:
            return not_written(due, now_ms, self._say_time)
        try:
            return as_of_now(due, self._store, now_ms, self._say_time)
        except StoreFailed as error:
            self._store_failed = error
            return not_looked_up(due, now_ms, self._say_time)

    def _failed(self, due: Due, why: str, now_ms: int) -> int | None:
        self.why = why
        if due.attempts + 1 >= FEWEST_ATTEMPTS:
            self._give_up(due, why, now_ms)
            return None
        again_ms = now_ms + pause_ms(due.message.key, due.attempts)
        is_told = due.attempts < TOLD_FAILURES or due.attempts % TOLD_AFTER == 0
        log.log(
            logging.WARNING if is_told else logging.DEBUG, "delivery failed", extra=_facts(due) | {"why": why}
        )
        self._note(due, Outcome(now_ms, due.attempts + 1, why, again_ms))
        return again_ms

    def _give_up(self, due: Due, why: str, now_ms: int) -> None:
        log.error("message given up", extra=_facts(due) | {"why": why})
        self.stuck_since_s = None
        self._note(due, Outcome(now_ms, due.attempts + 1, why))

    def _note(self, due: Due, outcome: Outcome) -> None:
        if due.number == UNNUMBERED:
            self._unwritten.note(due, outcome)
        else:
            self._mark(due, outcome)

    def _mark(self, due: Due, outcome: Outcome) -> None:
        self._unmarked[due.number] = outcome
        # A store that is locked takes seconds to say so: once in a run is enough.
        if self._store_failed is None:
            self._finish_marks()

    def _finish_marks(self) -> None:
        try:
            for number, outcome in list(self._unmarked.items()):
                outcome.write(self._store, number)
                del self._unmarked[number]
        except StoreFailed as error:
            self._store_failed = error


def wait_s(due_ms: int, now_ms: int) -> float:
    """Return how many seconds there are until then; none when that is further ahead than any pause."""
    ahead_ms = due_ms - now_ms
    return ahead_ms / 1000 if 0 < ahead_ms <= FARTHEST_MS else 0.0


def _has_come(due_ms: int, now_ms: int) -> bool:
    return wait_s(due_ms, now_ms) == 0.0


def _facts(due: Due) -> dict[str, object]:
    return {"channel": due.channel, "key": due.message.key, "attempt": due.attempts + 1}
