"""The messages on their way out: a thread for each channel, so that none waits for another.

The rule of this file: as long as the store keeps rounds, nothing leaves that is not committed; while it cannot,
what falls due leaves from memory, and once more only where the process ends before the store has it. Nothing but
a channel's own answer takes a message from the store.
"""

import logging
import threading
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from typing import Final, NamedTuple

from wardian.daemon.channel import Channel, wait_s
from wardian.daemon.freshness import SayTime
from wardian.daemon.progress import Progress
from wardian.daemon.unwritten import Unwritten
from wardian.rules.errors import StoreFailed
from wardian.rules.ports import Clock, Due, DueMessage, Notifier, Store

log = logging.getLogger(__name__)

#: How long a channel waits after the store has failed it.
STORE_PAUSE_MS: Final = 5_000
#: How long a channel may take for all but sending.
MARK_S: Final = 60.0
#: How long it may take to send one message, where nothing else is known.
SEND_S: Final = 300.0


class Backlog(NamedTuple):
    """What one channel has not taken yet."""

    channel: str
    messages: int
    since_ms: int
    last_error: str

    def words(self, say_time: SayTime) -> str:
        """Return it as ``3 messages not delivered yet, since …: why``."""
        plural = "" if self.messages == 1 else "s"
        why = f": {self.last_error}" if self.last_error else ""
        return f"{self.messages} message{plural} not delivered yet, since {say_time(self.since_ms)}{why}"


class Stuck(NamedTuple):
    """Since when a channel takes nothing, by monotonic time, and why it did not the last time."""

    since_s: float
    why: str


def backlogs(waiting: Iterable[Due]) -> list[Backlog]:
    """Return what waits by channel, in the order of the oldest message of each."""
    found: dict[str, Backlog] = {}
    for due in waiting:
        so_far = found.get(due.channel, Backlog(due.channel, 0, due.created_ms, due.last_error))
        found[due.channel] = so_far._replace(messages=so_far.messages + 1)
    return list(found.values())


class Outbox:
    """Delivers each message at least once, in order by channel, over restarts and outages."""

    def __init__(self, store: Store, notifiers: Sequence[Notifier], clock: Clock, say_time: SayTime) -> None:
        """Send through these channels; their names are what messages name."""
        self._store = store
        self._clock = clock
        self._say_time = say_time
        self._unwritten = Unwritten()
        self._channels = {
            Channel(notifier, store, clock, say_time, self._unwritten): threading.Event()
            for notifier in notifiers
        }
        self._threads: list[threading.Thread] = []
        #: Hears that each channel moves.
        self.progress = Progress(clock)
        #: How long a channel may take to send one message; its own deadlines lie before that.
        self.send_s: Callable[[str], float] = lambda _channel: SEND_S
        self._without_store: set[str] = set()

    def hear_answers(self, answered: Callable[[str, str], None]) -> None:
        """Let somebody hear, by the channel's name, why it refused a message for good, or nothing when it took one."""
        for channel in self._channels:
            channel.answered = answered

    def start(self) -> None:
        """Begin sending, with what an earlier run has left."""
        self._say_what_has_no_channel()
        for channel, wake in self._channels.items():
            thread = threading.Thread(
                target=self._work, args=(channel, wake), name=f"outbox {channel.name}", daemon=True
            )
            self._threads.append(thread)
            channel.sending = partial(self._expect, channel, self.send_s(channel.name))
            channel.sent = partial(self._expect, channel, MARK_S)
            thread.start()

    def nudge(self) -> None:
        """Say that a commit has brought messages; returns at once."""
        for wake in self._channels.values():
            wake.set()

    def hold(self, due: Sequence[DueMessage], now_ms: int) -> None:
        """Send messages from memory, as they cannot be committed now; returns at once."""
        self._unwritten.hold(due, now_ms)
        self.nudge()

    def written(self) -> None:
        """Hear that what was held is committed."""
        self._unwritten.written()

    def stuck(self) -> dict[str, Stuck]:
        """Return the channels that have not taken what was tried, by name."""
        return {
            channel.name: Stuck(since_s, channel.why)
            for channel in self._channels
            if (since_s := channel.stuck_since_s) is not None
        }

    def run_due(self, now_ms: int) -> None:
        """Send everything whose time has come, channel by channel, in the caller's thread.

        Raises:
            StoreFailed: Nothing is lost.
        """
        for channel in self._channels:
            channel.run_due(now_ms)

    def waiting_words(self) -> dict[str, str]:
        """Return, for each channel that has not taken everything, how much and since when."""
        return {backlog.channel: backlog.words(self._say_time) for backlog in backlogs(self._store.waiting())}

    def is_working(self) -> bool:
        """Whether every channel's thread lives."""
        return all(thread.is_alive() for thread in self._threads)

    def stop(self, within_s: float = 5.0) -> None:
        """End the threads, each after the message it is busy with, and close the channels; idempotent.

        A channel that hangs is left behind: its message stays due.
        """
        for channel in self._channels:
            channel.stopping.set()
        self.nudge()
        until_s = self._clock.monotonic_s() + within_s
        for thread in self._threads:
            thread.join(max(0.0, until_s - self._clock.monotonic_s()))
        for channel in self._channels:
            channel.notifier.close()

    # ------------------------------------------------------------------------------------ threads

    def _work(self, channel: Channel, wake: threading.Event) -> None:
        while not channel.stopping.is_set():
            wake.clear()
            self._expect(channel, MARK_S)
            next_ms = self._round(channel, self._clock.wall_ms())
            pause_s = None if next_ms is None else wait_s(next_ms, self._clock.wall_ms())
            self._expect(channel, None if pause_s is None else pause_s + MARK_S)
            wake.wait(pause_s)
        self.progress.leaves(f"outbox {channel.name}")

    def _expect(self, channel: Channel, within_s: float | None) -> None:
        self.progress.expect(f"outbox {channel.name}", within_s)

    def _round(self, channel: Channel, now_ms: int) -> int | None:
        try:
            next_ms = channel.run_due(now_ms)
        except StoreFailed as error:
            if channel.name not in self._without_store:
                facts = {"channel": channel.name, "why": error.why}
                log.error("outbox cannot use the store", extra=facts)  # noqa: TRY400 - a full disk needs no traceback
            self._without_store.add(channel.name)
        except Exception:  # the outermost round of this thread: a slip must not silence the channel
            log.exception("outbox stumbled", extra={"channel": channel.name})
        else:
            self._without_store.discard(channel.name)
            return next_ms
        return now_ms + STORE_PAUSE_MS

    def _say_what_has_no_channel(self) -> None:
        names = {channel.name for channel in self._channels}
        for backlog in backlogs(self._store.waiting()):
            if backlog.channel not in names:
                log.warning(
                    "messages wait for a channel that is not configured",
                    extra={"channel": backlog.channel, "messages": backlog.messages},
                )
