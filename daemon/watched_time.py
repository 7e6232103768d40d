"""When the daemon was there, round by round: what the sign of life in a summary is measured by."""

from collections.abc import Sequence
from typing import Final

from wardian.rules.shares import Span, common, length_ms, merged

#: The note in which it outlives a restart.
NOTE: Final = "watched"
#: Of so long the time is remembered, and in at most so many pieces.
_REMEMBERED_MS: Final = 4 * 86_400_000
_MOST: Final = 200
#: How often it is noted; after a kill, readings that were kept tell the rest.
NOTED_EVERY_MS: Final = 600_000


class WatchedTime:
    """Spans of rounds that followed each other closely."""

    def __init__(self, noted: Sequence[Sequence[int]], pause_ms: int, newest_ms: int = 0) -> None:
        """Go on from what was noted.

        Args:
            noted: Spans of earlier runs.
            pause_ms: The longest pause between two rounds in which nothing is missed.
            newest_ms: The newest reading that was kept: shortly after the last note somebody was there until then.
        """
        self._spans: list[Span] = [(int(from_ms), int(to_ms)) for from_ms, to_ms in noted]
        self._pause_ms = pause_ms
        self._noted_ms: int | None = None
        if self._spans and 0 < newest_ms - self._spans[-1][1] <= NOTED_EVERY_MS + pause_ms:
            self._spans[-1] = (self._spans[-1][0], newest_ms)
        self._goes_on = False

    def saw(self, now_ms: int) -> None:
        """Take note of a round."""
        last = self._spans[-1] if self._spans else None
        if self._goes_on and last and 0 <= now_ms - last[1] <= self._pause_ms:
            self._spans[-1] = (last[0], now_ms)
        else:
            self._spans.append((now_ms, now_ms))
        self._goes_on = True
        while len(self._spans) > _MOST or self._spans[0][1] < now_ms - _REMEMBERED_MS:
            del self._spans[0]

    def note(self, now_ms: int) -> dict[str, list[list[int]]]:
        """Return what is to be noted now: once in a while."""
        if self._noted_ms is not None and 0 <= now_ms - self._noted_ms < NOTED_EVERY_MS:
            return {}
        self._noted_ms = now_ms
        return {NOTE: [list(span) for span in self._spans]}

    def within_ms(self, span: Span) -> int:
        """Return how much of a time somebody was there."""
        return length_ms(common(merged([span]), merged(self._spans)))
