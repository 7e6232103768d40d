"""What is done each night for what is kept: all of it is looked at, then copied.

The rule of this file: it is done on a thread of its own, so that no round waits for it, and what is damaged is not
copied over what was whole.
"""

import logging
import threading
from collections.abc import Callable, Mapping
from datetime import date, time, tzinfo
from typing import Any, Final, NamedTuple, Protocol

from wardian.daemon.beside import Extra
from wardian.daemon.lives import Lives
from wardian.daemon.own_troubles import OwnTroubles
from wardian.daemon.store_words import Moment, mended_words, shortened
from wardian.rules.daily import day_before_first, day_due
from wardian.rules.errors import StoreFailed
from wardian.rules.ports import Store

log = logging.getLogger(__name__)

#: The note that says which date was seen to last.
NOTE: Final = "nightly"
DAMAGED: Final = "store-damaged"
NO_BACKUP: Final = "backup-failed"


class Copies(Protocol):
    """Where copies of the store are kept."""

    def add(self, now_ms: int) -> str:
        """Add one and let the oldest go; return what it is called.

        Raises:
            StoreFailed: It cannot be made; older ones are as they were.
        """


class Night(NamedTuple):
    """When by the clock on the wall, how instants are told, and where copies go; None: none are made."""

    at: time
    zone: tzinfo
    moment: Moment
    copies: Copies | None


class Nightly:
    """Takes part in the rounds; one night's work at a time is done."""

    def __init__(self, night: Night, store: Store, troubles: OwnTroubles, notes: Mapping[str, Any]) -> None:
        """Go on from the date that an earlier run saw to last."""
        self._night = night
        self._store = store
        self._troubles = troubles
        self._seen_to = date.fromisoformat(notes[NOTE]) if NOTE in notes else None
        self._due_ms: int | None = None
        self._thread: threading.Thread | None = None
        #: Whether what came while nobody was there is in; until then nothing else is done.
        self.is_ready: Callable[[], bool] = lambda: True

    def work(self, now_ms: int, _lives: Lives) -> Extra:
        """See whether a night's work is due; its date is committed as it begins, so that none is done twice."""
        at, zone = self._night.at, self._night.zone
        if self._seen_to is None:
            self._seen_to = day_before_first(now_ms, at, zone)
        elif self._thread is None and self.is_ready():
            day = day_due(now_ms, at, zone, self._seen_to)
            if day is not None:
                self._seen_to, self._due_ms = day, now_ms
        return Extra(notes={NOTE: self._seen_to.isoformat()} if self._due_ms is not None else {})

    def committed(self) -> None:
        """Begin what is due, and take up the end of what was done."""
        if self._thread is not None and not self._thread.is_alive():
            self._thread = None
        if self._due_ms is not None and self._thread is None:
            due_ms, self._due_ms = self._due_ms, None
            self._thread = threading.Thread(target=self._work, args=(due_ms,), name="nightly", daemon=True)
            self._thread.start()

    def stop(self, within_s: float = 5.0) -> None:
        """Wait a little for what is being done; a copy that is half made is none. Idempotent."""
        if self._thread is not None:
            self._thread.join(within_s)

    def _work(self, now_ms: int) -> None:
        try:
            if self._is_whole(now_ms) and self._night.copies is not None:
                self._copy(self._night.copies, now_ms)
        except StoreFailed as error:
            log.error("store not looked at", extra={"why": error.why})  # noqa: TRY400 - a locked file needs no traceback
            self._troubles.begin(NO_BACKUP, f"nothing could be looked at: {shortened(error.why)}")
        except Exception:  # the outermost round of this thread: a slip here must not end the watch
            log.exception("store not looked at")

    def _is_whole(self, now_ms: int) -> bool:
        """Look at all that is kept; packed hours that cannot be read are put aside, and the rest is whole."""
        damage = self._store.damage()
        if damage:
            log.error("store is damaged", extra={"why": damage})
            words = (
                f"{shortened(damage)}; no copy is made of it; start wardian anew to take in the newest backup"
            )
            self._troubles.begin(DAMAGED, words)
            return False
        unreadable = self._store.unreadable()
        if unreadable:
            mended = self._store.put_aside(unreadable, now_ms)
            log.error("packed hours cannot be read", extra={"hours": len(unreadable), "aside": mended.aside})
            self._troubles.happened(DAMAGED, mended_words(mended, self._night.moment))
        return True

    def _copy(self, copies: Copies, now_ms: int) -> None:
        try:
            name = copies.add(now_ms)
        except StoreFailed as error:
            log.error("no backup", extra={"why": error.why})  # noqa: TRY400 - a full disk needs no traceback
            self._troubles.begin(NO_BACKUP, shortened(error.why))
        else:
            log.info("backup made", extra={"file": name})
            self._troubles.end(NO_BACKUP)
