"""Sensors that are heard and that nobody configured: a new one, one that was mixed up, somebody else's.

The rule of this file: what is heard is listed and not judged, and whoever makes names up fills no more than the list.
"""

from collections.abc import Iterable, Mapping
from typing import Any, Final

from wardian.daemon.beside import Extra
from wardian.daemon.lives import Lives
from wardian.daemon.own_troubles import Happened
from wardian.rules.ports import Refused, Stranger

#: The note in which they are kept.
NOTE: Final = "strangers"
UNKNOWN_SENSOR: Final = "unknown-sensor"
#: So many are listed; the one not heard for longest gives way.
MOST: Final = 100
#: Who was not heard for so long is forgotten.
FORGOTTEN_MS: Final = 7 * 86_400_000
#: How often it is written down when each was last heard; a new one is at once.
WRITTEN_EVERY_MS: Final = 600_000
_LONGEST: Final = 120


class Strangers:
    """Takes part in the rounds with what was refused because nobody configured it."""

    def __init__(self, notes: Mapping[str, Any], tell: Happened) -> None:
        """Go on from what an earlier run knew; a new one is told by ``tell``."""
        self._heard_ms: dict[str, int] = dict(notes.get(NOTE, {}))
        self._tell = tell
        self._new: list[str] = []
        self._has_news = False
        self._written_ms = 0

    def hear(self, refused: Iterable[Refused], now_ms: int) -> None:
        """Take what a round refused."""
        for one in refused:
            if isinstance(one, Stranger):
                self._hear(named(one), now_ms)

    def _hear(self, name: str, now_ms: int) -> None:
        if self._heard_ms.pop(name, None) is None:
            self._new = [*self._new[-MOST + 1 :], name]
            while len(self._heard_ms) >= MOST:
                del self._heard_ms[next(iter(self._heard_ms))]
        self._heard_ms[name] = now_ms
        self._has_news = True

    def work(self, now_ms: int, lives: Lives) -> Extra:  # noqa: ARG002 - alarms have no part in it
        """Return the list to be kept, where it is due."""
        is_due = not 0 <= now_ms - self._written_ms < WRITTEN_EVERY_MS
        if not (self._new or (self._has_news and is_due)):
            return Extra()
        if self._new:
            self._tell(UNKNOWN_SENSOR, f"{listed(self._new)}.")
        self._new, self._has_news, self._written_ms = [], False, now_ms
        self._heard_ms = {
            name: heard_ms for name, heard_ms in self._heard_ms.items() if now_ms - heard_ms < FORGOTTEN_MS
        }
        return Extra(notes={NOTE: dict(self._heard_ms)})

    def committed(self) -> None:
        """Do nothing: a list that was not kept is kept with the next news."""


def named(refused: Refused) -> str:
    """Return who was heard and why it is none of ours, without what is accepted."""
    return f"{refused.source}: {refused.why.partition(';')[0]}"[:_LONGEST]


def listed(names: Iterable[str], most: int = 3) -> str:
    """Return some names one after the other, and how many more there are."""
    every = list(names)
    more = f" and {len(every) - most} more" if len(every) > most else ""
    return "; ".join(every[:most]) + more
