"""What may be behind it when roots are past due: explained once to whoever hears that alarm, off the loop's thread.

The rule of this file: whom it was told is committed with the message, so that neither a kill nor a restart tells it twice
or not at all; and nobody hears it in their quiet hours.
"""

import logging
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, Final, NamedTuple

from wardian.daemon.beside import Extra
from wardian.daemon.lives import Lives
from wardian.daemon.people import Person, rank_of
from wardian.daemon.progress import Progress
from wardian.daemon.tongue import ms_of
from wardian.rules.errors import StoreFailed
from wardian.rules.life import SET_ASIDE, UNACKNOWLEDGED
from wardian.rules.observing.tending import PAST_DUE
from wardian.rules.ports import DueMessage, Message

log = logging.getLogger(__name__)

#: The note that says, by tray, since when roots were due and who was told what may be behind it.
NOTE: Final = "past-due explained"
#: How long is waited after an explanation that could not be made, by the bench's clock.
PAUSE_MS: Final = 600_000
#: An explanation that takes longer hangs; a small board may need minutes.
LONGEST_S: Final = 1800.0

#: Makes the message about a tray at an instant, under a key. From a thread of its own.
Make = Callable[[str, int, str], Message]


class Overdue(NamedTuple):
    """An alarm that roots are past due: its tray, since when, its last entry in the journal."""

    tray: str
    since: str
    fields: Mapping[str, Any]


class PastDueExplained:
    """Takes part in the rounds; one explanation at a time is made."""

    def __init__(self, hearers: Sequence[Person], make: Make, told: Mapping[str, Any] | None = None) -> None:
        """Go on from whom an earlier run told."""
        self._hearers = hearers
        self._make = make
        self._told: dict[str, dict[str, Any]] = dict(told or {})
        self._wanted: tuple[Overdue, int] | None = None
        self._thread: threading.Thread | None = None
        #: What the thread made last, taken over once it has ended.
        self._result: Message | None = None
        self._made: dict[tuple[str, str], Message] = {}
        self._not_before_ms: int | None = None
        #: Whether what is judged is what is known; until then nothing is told.
        self.is_ready: Callable[[], bool] = lambda: True
        #: Hears that what is made is made.
        self.progress = Progress()

    def work(self, now_ms: int, lives: Lives) -> Extra:
        """Return what was made for those who can hear it now; else see whether something is to be made."""
        if not self.is_ready():
            return Extra()
        self._take(now_ms)
        extra = Extra()
        standing = list(_overdue(lives))
        keys = {(over.tray, over.since) for over in standing}
        self._made = {key: one for key, one in self._made.items() if key in keys}
        for over in standing:
            hearing = [person for person in self._waiting(over) if _hears_now(person, over, now_ms)]
            message = self._made.get((over.tray, over.since))
            if hearing and message is not None:
                self._tell(over, hearing, message, extra)
            elif hearing and self._wanted is None and not self._is_paused(now_ms):
                self._wanted = over, now_ms
        return extra

    def committed(self) -> None:
        """Begin to make what is wanted, now that all that belongs to it is kept."""
        if self._wanted is not None and self._thread is None:
            self._thread = threading.Thread(
                target=self._work, args=self._wanted, name="past due", daemon=True
            )
            self._thread.start()

    def stop(self, within_s: float = 5.0) -> None:
        """Wait a little for what is being made; what is not committed is made again. Idempotent."""
        if self._thread is not None:
            self._thread.join(within_s)

    def _waiting(self, over: Overdue) -> list[Person]:
        """Return those who are to hear of it and have not been told."""
        note = self._told.get(over.tray, {})
        knowing = note.get("people", ()) if note.get("since") == over.since else ()
        rank = rank_of(over.fields)
        return [one for one in self._hearers if one.hears <= rank and one.name not in knowing]

    def _tell(self, over: Overdue, hearing: Sequence[Person], message: Message, extra: Extra) -> None:
        note = self._told.get(over.tray, {})
        knowing = list(note.get("people", ())) if note.get("since") == over.since else []
        names = [*knowing, *(person.name for person in hearing)]
        self._told = {**self._told, over.tray: {"since": over.since, "people": names}}
        extra.notes |= {NOTE: self._told}
        channels = dict.fromkeys(channel for person in hearing for channel in person.channels)
        extra.due += [DueMessage(channel, message) for channel in channels]

    def _is_paused(self, now_ms: int) -> bool:
        return self._not_before_ms is not None and 0 < self._not_before_ms - now_ms <= PAUSE_MS

    def _take(self, now_ms: int) -> None:
        """Take over what the thread made."""
        if self._thread is None or self._thread.is_alive():
            return
        assert self._wanted is not None
        over, _ = self._wanted
        message = self._result
        self._thread, self._wanted, self._result = None, None, None
        if message is None:
            self._not_before_ms = now_ms + PAUSE_MS
        else:
            self._made[over.tray, over.since] = message

    def _work(self, over: Overdue, now_ms: int) -> None:
        self.progress.expect("past due", LONGEST_S, is_vital=False)
        try:
            self._result = self._make(over.tray, now_ms, f"{over.tray}/past-due explained/{over.since}")
        except StoreFailed as error:
            log.error("explanation not made", extra={"why": error.why})  # noqa: TRY400 - a locked file needs no traceback
        except Exception:  # the outermost round of this thread: a slip here must not end the watch
            log.exception("explanation not made")
        finally:
            self.progress.leaves("past due")


def _overdue(lives: Lives) -> Iterator[Overdue]:
    """Yield the trays whose roots are past due, where nobody has set that aside."""
    for fields in lives.listed():
        stands = lives.standing(fields["tray"], PAST_DUE) if fields["condition"] == PAST_DUE else False
        if stands and fields["life"] not in SET_ASIDE:
            yield Overdue(fields["tray"], fields["since"], fields)


def _hears_now(person: Person, over: Overdue, now_ms: int) -> bool:
    """Return whether a person may be told now: no quiet holds, and whoever is told later has waited."""
    if person.quiet_until_ms(now_ms) is not None:
        return False
    is_late = now_ms >= ms_of(over.since) + person.after_ms
    return not person.after_ms or (is_late and over.fields["life"] == UNACKNOWLEDGED)
