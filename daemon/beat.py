"""A sign of life to the outside, for whoever watches the watcher.

The rule of this file: a beat follows a whole round, so that silence means that one of its parts stands still. It
has a thread of its own and never holds a round up; what fails is logged once, without where it went.
"""

import logging
import re
import threading
from collections.abc import Callable, Mapping
from typing import Any, Final

from wardian.daemon.beside import Extra
from wardian.daemon.lives import Lives
from wardian.daemon.progress import Progress
from wardian.daemon.tongue import utc_text
from wardian.rules.errors import AdapterError
from wardian.rules.ports import Clock

log = logging.getLogger(__name__)

#: Sends the fields of one beat within a bounded time, or raises an ``AdapterError``.
Send = Callable[[Mapping[str, Any]], None]
#: Where errors say that something went.
_PLACE: Final = re.compile(r"(?:https?://|broker )\S+")
_NOTHING: Final = Extra()
#: A beat that takes longer hangs.
LONGEST_BEAT_S: Final = 300.0


class Beat:
    """Takes part in the rounds, and beats after a whole one, at most so often."""

    def __init__(self, send: Send, every_s: float, clock: Clock, is_whole: Callable[[], bool]) -> None:
        """Beat by the machine's clock; ``is_whole`` says whether all else works, too."""
        self._send = send
        self._every_s = every_s
        self._clock = clock
        self._is_whole = is_whole
        self._last_s: float | None = None
        self._fields: dict[str, Any] = {}
        self._wake = threading.Event()
        self._idle = threading.Event()
        self._stopping = False
        self._fails = False
        self._thread = threading.Thread(target=self._work, name="beat", daemon=True)
        #: Hears that beats end; whoever waits for them misses those that hang.
        self.progress = Progress(clock)

    def start(self) -> None:
        """Begin; the first whole round is followed by a beat."""
        self._idle.set()
        self._thread.start()

    def work(self, _now_ms: int, _lives: Lives) -> Extra:
        """Add nothing to the round."""
        return _NOTHING

    def committed(self) -> None:
        """Beat, where it is time, the last one is over and everything works."""
        now_s = self._clock.monotonic_s()
        is_time = self._last_s is None or now_s - self._last_s >= self._every_s
        if is_time and self._idle.is_set() and self._is_whole():
            self._last_s = now_s
            self._fields = {"event": "beat", "time": utc_text(self._clock.wall_ms())}
            self._idle.clear()
            self._wake.set()

    def stop(self, within_s: float = 1.0) -> None:
        """End; a beat that hangs is left behind. Idempotent."""
        self._stopping = True
        self._wake.set()
        if self._thread.is_alive():
            self._thread.join(within_s)

    def _work(self) -> None:
        self._expect(None)
        while self._wake.wait() and not self._stopping:
            self._wake.clear()
            self._expect(LONGEST_BEAT_S)
            self._send_one()
            self._expect(None)
            self._idle.set()
        self.progress.leaves("beat")

    def _expect(self, within_s: float | None) -> None:
        self.progress.expect("beat", within_s, is_vital=False)

    def _send_one(self) -> None:
        try:
            self._send(self._fields)
        except AdapterError as error:
            self._failed(_PLACE.sub("the address", error.why))
        except Exception as error:  # noqa: BLE001 - the round of this thread; what we do not know may hold a secret
            self._failed(f"unexpected {type(error).__name__}")
        else:
            if self._fails:
                log.info("beat is taken again")
            self._fails = False

    def _failed(self, why: str) -> None:
        if not self._fails:
            log.warning("beat not taken", extra={"why": why})
        self._fails = True
