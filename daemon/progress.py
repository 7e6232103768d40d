"""Who works for the watch, and for how long each may be silent: a part that stands still is found, whatever holds it.

The rule of this file: a part says beforehand when it will be heard again; nobody guesses for it. Everything
here is safe from any thread and waits for none.
"""

import threading
from typing import NamedTuple

from wardian.daemon.clock import SystemClock
from wardian.rules.ports import Clock


class _Word(NamedTuple):
    """What a part said last; ``until_s`` is None where it waits for nothing."""

    until_s: float | None
    is_vital: bool
    thread: threading.Thread


class Late(NamedTuple):
    """A part that should have been heard by now, or whose thread has ended."""

    name: str
    has_ended: bool
    is_vital: bool

    def words(self) -> str:
        """Return it as ``outbox mail stands still``."""
        return f"{self.name} {'has ended by itself' if self.has_ended else 'stands still'}"


class Progress:
    """What every part said of itself."""

    def __init__(self, clock: Clock | None = None) -> None:
        """Reckon by a clock's monotonic time; the machine's where none is given."""
        self._clock = clock or SystemClock()
        self._words: dict[str, _Word] = {}

    def expect(self, name: str, within_s: float | None, *, is_vital: bool = True) -> None:
        """Say that a part, in this thread, is at work and will be heard again within so many seconds.

        Args:
            name: The part's.
            within_s: None where it waits for nothing: then it is missed only when its thread ends.
            is_vital: Whether to begin anew is the cure when it is late.
        """
        until_s = None if within_s is None else self._clock.monotonic_s() + within_s
        self._words[name] = _Word(until_s, is_vital, threading.current_thread())

    def leaves(self, name: str) -> None:
        """Say that a part has done what it was for; nobody waits for it any more."""
        self._words.pop(name, None)

    def late(self) -> list[Late]:
        """Return the parts that are late now, by name."""
        now_s = self._clock.monotonic_s()
        found = []
        for name, word in sorted(self._words.copy().items()):
            has_ended = not word.thread.is_alive()
            if has_ended or (word.until_s is not None and now_s > word.until_s):
                found.append(Late(name, has_ended, word.is_vital))
        return found
