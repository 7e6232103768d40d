"""The care that shows in the traces of trays, noted for whoever has no traces at hand: a command, or a later run.

The rule of this file: what people recorded is no part of it; that stands among the records.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, Final, NamedTuple

from wardian.daemon.beside import Extra
from wardian.daemon.lives import Lives
from wardian.rules.observing.looks import Care
from wardian.rules.observing.observer import Observer
from wardian.rules.records import Record

#: The note: by tray a list of events, each with its beginning.
NOTE: Final = "care_seen"


class KnownCare(NamedTuple):
    """Where a daemon knows care from: the traces, the records there are, and whether both are up to date."""

    observer: Observer
    records: Callable[[], Sequence[Record]]
    is_ready: Callable[[], bool]


def seen_in(observer: Observer) -> dict[str, list[tuple[str, int]]]:
    """Return the care that shows in the traces of each tray and was not recorded."""
    return {name: _unrecorded(tray.care.events) for name, tray in observer.trays.items()}


def _unrecorded(events: Iterable[Care]) -> list[tuple[str, int]]:
    return [(one.event, one.from_ms) for one in events if not one.is_recorded]


class CareSeenNoted:
    """Takes part in the rounds: leaves a note of the care that shows in the traces, whenever there is more of it."""

    def __init__(self, observer: Observer, notes: Mapping[str, Any]) -> None:
        """Go on from the notes of an earlier run."""
        self._observer = observer
        self._noted = seen_of(notes)

    def work(self, _now_ms: int, _lives: Lives) -> Extra:
        """Return the note where it changed."""
        seen = {name: events for name, events in seen_in(self._observer).items() if events}
        if seen == self._noted:
            return Extra()
        self._noted = seen
        return Extra(notes={NOTE: seen})

    def committed(self) -> None:
        """Do nothing: a note waits for nothing."""


def seen_of(notes: Mapping[str, Any]) -> dict[str, list[tuple[str, int]]]:
    """Return the care that showed in the traces by the notes of a store."""
    return {
        name: [(event, from_ms) for event, from_ms in events] for name, events in notes.get(NOTE, {}).items()
    }
