"""The summary of each local day: made once its time has come, off the loop's thread, and committed with its date.

The rule of this file: a date and its messages are one commit, so that neither a kill nor a restart tells a day
twice or not at all. Whoever was away at that time tells it once back on that date.
"""

import logging
import threading
from collections.abc import Callable, Mapping, Sequence
from datetime import date, time, tzinfo
from typing import Any, Final, NamedTuple

from wardian.daemon.beside import Extra
from wardian.daemon.lives import Lives
from wardian.daemon.progress import Progress
from wardian.daemon.watched_time import WatchedTime
from wardian.rules.daily import day_before_first, day_due
from wardian.rules.errors import StoreFailed
from wardian.rules.ports import DueMessage, Message
from wardian.rules.shares import Span

log = logging.getLogger(__name__)

#: The note that says which date was told last, and up to when.
NOTE: Final = "summary"
DAY_MS: Final = 86_400_000
#: No summary covers more, however long nobody watched.
MOST_MS: Final = 3 * DAY_MS
#: How long is waited after a summary that could not be made, by the bench's clock.
PAUSE_MS: Final = 600_000
#: A summary that takes longer hangs.
LONGEST_S: Final = 600.0

#: Makes the message of a time, under a key; ``watched_ms`` of it somebody was there. From a thread of its own.
Make = Callable[[Span, int, str], Message]


class Told(NamedTuple):
    """What was told last."""

    day: date
    to_ms: int

    @classmethod
    def of(cls, note: Mapping[str, Any]) -> "Told":
        """Return what a note says."""
        return cls(date.fromisoformat(note["day"]), int(note["to_ms"]))

    def note(self) -> dict[str, Any]:
        """Return the note that says it."""
        return {NOTE: {"day": self.day.isoformat(), "to_ms": self.to_ms}}


class Plan(NamedTuple):
    """When by the clock on the wall, through which channels, and how far judgement is behind the clock."""

    at: time
    zone: tzinfo
    channels: Sequence[str]
    settle_ms: int = 0


class DailySummary:
    """Takes part in the rounds; one summary at a time is made."""

    def __init__(self, plan: Plan, make: Make, watched: WatchedTime, told: Told | None = None) -> None:
        """Go on from what an earlier run told last, and from when it was there."""
        self._plan = plan
        self._make = make
        self._watched = watched
        self._told = told
        self._wanted: Told | None = None
        self._thread: threading.Thread | None = None
        self._made: Message | None = None
        self._not_before_ms: int | None = None
        #: Whether what is judged is what is known; until then nothing is told.
        self.is_ready: Callable[[], bool] = lambda: True
        #: Hears that what is made is made.
        self.progress = Progress()

    def work(self, now_ms: int, _lives: Lives) -> Extra:
        """Return the summary that was made, with its date; else see whether one is due."""
        if not self.is_ready():
            return Extra()
        self._watched.saw(now_ms)
        extra = Extra(notes=dict(self._watched.note(now_ms)))
        if self._told is None:
            first = day_before_first(now_ms, self._plan.at, self._plan.zone)
            self._told = Told(first, now_ms - self._plan.settle_ms)
            extra.notes |= self._told.note()
        elif self._thread is not None:
            self._take(now_ms, extra)
        elif not self._is_paused(now_ms):
            day = day_due(now_ms, self._plan.at, self._plan.zone, self._told.day)
            self._wanted = Told(day, now_ms - self._plan.settle_ms) if day else None
        return extra

    def committed(self) -> None:
        """Begin to make what is due, now that all that belongs to it is kept."""
        if self._wanted is not None and self._thread is None:
            span = self._span(self._wanted)
            asked = (span, self._watched.within_ms(span), f"summary/{self._wanted.day}")
            self._thread = threading.Thread(target=self._work, args=asked, name="summary", daemon=True)
            self._thread.start()

    def stop(self, within_s: float = 5.0) -> None:
        """Wait a little for what is being made; what is not committed is made again. Idempotent."""
        if self._thread is not None:
            self._thread.join(within_s)

    def _is_paused(self, now_ms: int) -> bool:
        return self._not_before_ms is not None and 0 < self._not_before_ms - now_ms <= PAUSE_MS

    def _take(self, now_ms: int, extra: Extra) -> None:
        """Let a message that was made leave with this round."""
        if self._thread is None or self._thread.is_alive():
            return
        wanted, message = self._wanted, self._made
        self._thread, self._wanted, self._made = None, None, None
        if message is None or wanted is None:
            self._not_before_ms = now_ms + PAUSE_MS
            return
        self._told = wanted
        extra.notes |= wanted.note()
        extra.due += [DueMessage(channel, message) for channel in self._plan.channels]

    def _work(self, span: Span, watched_ms: int, key: str) -> None:
        self.progress.expect("summary", LONGEST_S, is_vital=False)
        try:
            self._made = self._make(span, watched_ms, key)
        except StoreFailed as error:
            log.error("summary not made", extra={"why": error.why})  # noqa: TRY400 - a locked file needs no traceback
        except Exception:  # the outermost round of this thread: a slip here must not end the watch
            log.exception("summary not made")
        finally:
            self.progress.leaves("summary")

    def _span(self, wanted: Told) -> Span:
        """Return since when is told: since the last one, unless the clock was set or nobody watched for days."""
        from_ms = self._told.to_ms if self._told else wanted.to_ms
        if not from_ms < wanted.to_ms:
            return wanted.to_ms - DAY_MS, wanted.to_ms
        return max(from_ms, wanted.to_ms - MOST_MS), wanted.to_ms
