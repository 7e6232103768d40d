"""What takes part in the rounds, kept from ending the watch by an error that nobody foresaw.

The rule of this file: whatever breaks is logged once in a row with all of it, counted, and told after three times
in a row; the watching goes on without it. What comes before judging is tried again in every round, since
everything is judged by it; the rest is left out for some minutes.
"""

import logging
from collections import Counter
from collections.abc import Callable
from typing import Any, Final

from wardian.daemon.beside import Beside, Extra
from wardian.daemon.lives import Lives
from wardian.daemon.own_troubles import Happened
from wardian.rules.errors import AdapterError, StoreFailed
from wardian.rules.ports import Clock
from wardian.rules.wire_health import SensorHealth

log = logging.getLogger(__name__)

#: The name of it among what goes wrong with the watch itself.
INTERNAL_ERROR: Final = "internal-error"
#: So often in a row it is no accident.
IN_A_ROW: Final = 3
#: How long a part is left out.
REST_S: Final = 300.0


class Slips:
    """Counts the errors that nobody foresaw, by the name of what broke; safe from any thread."""

    def __init__(self, happened: Happened) -> None:
        """Tell of what breaks again and again by ``happened``."""
        self._happened = happened
        #: How often each broke since it last worked, and in all.
        self.in_a_row: Counter[str] = Counter()
        self.ever: Counter[str] = Counter()

    def broke(self, name: str, error: Exception) -> None:
        """Count an error; called while it is handled."""
        self.in_a_row[name] += 1
        self.ever[name] += 1
        kind = type(error).__name__
        if self.in_a_row[name] == 1:
            log.error("internal error", extra={"part": name}, exc_info=error)
        if self.in_a_row[name] == IN_A_ROW:
            log.error("internal error again and again", extra={"part": name, "error": kind})
            words = f"{name} broke {IN_A_ROW} times in a row ({kind}), the watching goes on without it."
            self._happened(INTERNAL_ERROR, words)

    def worked(self, name: str) -> None:
        """Hear that it works."""
        if self.in_a_row.pop(name, 0):
            log.info("works again after an internal error", extra={"part": name})

    def try_(self, name: str, does: Callable[..., Any], *arguments: Any, otherwise: Any = None) -> Any:
        """Return what something does, or something else where it breaks.

        Raises:
            AdapterError: From it: that somebody foresaw, and knows what to do.
        """
        try:
            done = does(*arguments)
        except AdapterError:
            raise
        except Exception as error:  # noqa: BLE001 - logged and counted by ``broke``
            self.broke(name, error)
            return otherwise
        if self.in_a_row:
            self.worked(name)
        return done

    def health(self, wire: Any) -> SensorHealth:
        """Return whether a wire works; one that cannot say does not."""
        unknown = SensorHealth(works=False, words="cannot say whether it works")
        health: SensorHealth = self.try_(f"{wire.name} (health)", wire.health, otherwise=unknown)
        return health


class Guard:
    """Lets parts take part in the rounds, and leaves them out for a while when they break."""

    def __init__(self, slips: Slips, clock: Clock) -> None:
        """Count what breaks by ``slips``."""
        self.slips = slips
        self._clock = clock
        self._until_s: dict[int, float] = {}

    def work(self, part: Beside, now_ms: int, lives: Lives, *, rests: bool) -> Extra:
        """Return what a part adds to this round; nothing where it breaks or is left out.

        Args:
            part: It is the same object in every round.
            now_ms: The present round's.
            lives: Where every alarm stands.
            rests: Whether it may be left out.
        """
        if not rests:
            self._until_s.pop(id(part), None)
        extra: Extra | None = self._try(part, part.work, now_ms, lives) if self._is_in(part) else None
        return extra or Extra()

    def committed(self, part: Beside) -> None:
        """Let a part hear that a round was whole."""
        if self._is_in(part):
            self._try(part, part.committed)

    def _is_in(self, part: Beside) -> bool:
        until_s = self._until_s.get(id(part))
        return until_s is None or self._clock.monotonic_s() >= until_s

    def _try(self, part: Beside, does: Callable[..., Any], *arguments: Any) -> Any:
        name = f"{type(part).__name__} ({does.__name__})"
        before = self.slips.ever[name]
        try:
            return self.slips.try_(name, does, *arguments)
        except StoreFailed as error:
            if not error.may_heal:
                raise
            log.warning("store cannot be asked now", extra={"part": name, "why": error.why})
            return None
        finally:
            if self.slips.ever[name] > before:
                self._until_s[id(part)] = self._clock.monotonic_s() + REST_S
