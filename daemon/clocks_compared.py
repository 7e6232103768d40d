"""The times that sensors give themselves, compared with when their messages came.

The rule of this file: one message says nothing, for it may have waited somewhere; what all messages of some minutes say
alike is a clock that is wrong, ours or the sensor's.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from wardian.daemon.tongue import span_words

#: Clocks that are no further apart agree.
APART_MS: Final = 120_000
#: All messages of so long are looked at together, if they are so many.
_WINDOW_MS: Final = 600_000
_FEWEST: Final = 3


@dataclass(slots=True)
class _Window:
    """How far the messages of some minutes lagged behind: the least and the most."""

    from_ms: int
    least_ms: int
    most_ms: int
    messages: int = 1


class ClocksCompared:
    """Says whose clocks are steadily apart from ours; ``say`` is told in words, empty where none is any more."""

    def __init__(self, say: Callable[[str], None]) -> None:
        """Begin with nothing heard."""
        self._say = say
        self._windows: dict[tuple[str, str], _Window] = {}
        self._apart: dict[tuple[str, str], int] = {}

    def heard(self, whose: tuple[str, str], received_ms: int, own_ms: int) -> None:
        """Take note of a message: of a sensor and a tray, when it came, and its newest own time."""
        lag_ms = received_ms - own_ms
        window = self._windows.get(whose)
        if window is None or received_ms < window.from_ms:
            self._windows[whose] = _Window(received_ms, lag_ms, lag_ms)
            return
        window.least_ms, window.most_ms = min(window.least_ms, lag_ms), max(window.most_ms, lag_ms)
        window.messages += 1
        if received_ms - window.from_ms >= _WINDOW_MS and window.messages >= _FEWEST:
            del self._windows[whose]
            self._conclude(whose, window)

    def forget(self) -> None:
        """Begin anew: our own clock was set."""
        self._windows.clear()
        if self._apart:
            self._apart.clear()
            self._say("")

    def _conclude(self, whose: tuple[str, str], window: _Window) -> None:
        before = dict(self._apart)
        self._apart.pop(whose, None)
        if window.least_ms >= APART_MS:
            self._apart[whose] = window.least_ms
        elif window.most_ms <= -APART_MS:
            self._apart[whose] = window.most_ms
        if self._apart or before:
            self._say(self._words())

    def _words(self) -> str:
        if not self._apart:
            return ""
        each = (
            f"sensor {sensor} at {tray} is {span_words(abs(lag_ms))} {'behind' if lag_ms > 0 else 'ahead'}"
            for (sensor, tray), lag_ms in sorted(self._apart.items())
        )
        return f"by its own times, {'; '.join(each)}; this machine's clock or theirs is wrong."
