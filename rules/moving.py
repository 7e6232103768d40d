"""Instants moved to where a clock that was set says that they belong.

The rule of this file: what lasted goes on lasting. Everything from the begin of an era on is moved alike; what was
there before stays, and nothing reaches across the time that then lies between.
"""

import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any, Final, NamedTuple

#: What lies beyond is no instant but stands for "never" or "always".
_NO_INSTANT_MS: Final = 2**61
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_WRITTEN: Final = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d{3})?Z")


class Moving(NamedTuple):
    """Instants from ``from_ms`` on are moved by ``by_ms``, ahead or back; 0 < from_ms."""

    from_ms: int
    by_ms: int

    @property
    def begin_ms(self) -> int:
        """Where the moved era begins."""
        return self.from_ms + self.by_ms

    def of(self, time_ms: int) -> int:
        """Return where an instant belongs."""
        return time_ms + self.by_ms if self.from_ms <= time_ms < _NO_INSTANT_MS else time_ms

    def end_of(self, until_ms: int) -> int:
        """Return before when all lies, once moved, that lay before an instant; nothing that lay after it."""
        return until_ms + self.by_ms if until_ms > self.from_ms else min(until_ms, self.begin_ms)


def moved_json(value: Any, moving: Moving) -> Any:
    """Return plain JSON with every instant in it moved: whole milliseconds since 1970, and RFC 3339 in UTC.

    No other whole number that the watch writes is as large as an instant of our days.
    """
    if isinstance(value, Mapping):
        return {name: moved_json(one, moving) for name, one in value.items()}
    if isinstance(value, list | tuple):
        return [moved_json(one, moving) for one in value]
    if isinstance(value, str) and _WRITTEN.fullmatch(value):
        return _written(moving.of((datetime.fromisoformat(value) - _EPOCH) // timedelta(milliseconds=1)))
    return moving.of(value) if type(value) is int else value


def _written(time_ms: int) -> str:
    moment = _EPOCH + timedelta(milliseconds=time_ms)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def moved_state(state: Mapping[str, Any], moving: Moving) -> dict[str, Any]:
    """Return the state of a tray's engine as if the clock had been right from the begin of the era.

    Durations stay what they were: runs, silences and the hours of light. A run from before the era begins with the
    era, for nobody knows what was between. The photon sum is exact but for one hold at the seam.
    """
    stands = {quantity: _stand(stand, moving) for quantity, stand in state["stands"].items()}
    return {
        **state,
        "judged_ms": moving.of(state["judged_ms"]),
        "stands": stands,
        "limits": [
            [quantity, limit, [beyond, _run(run_ms, stands.get(quantity), moving), *rest]]
            for quantity, limit, (beyond, run_ms, *rest) in state["limits"]
        ],
        "lit": [part for run in state["lit"] for part in _lit(run, moving)],
        "photons": [[moving.of(int(time_ms)), *rest] for time_ms, *rest in state["photons"]],
        "silences": {
            quantity: [raised, None if from_ms is None else moving.of(from_ms)]
            for quantity, (raised, from_ms) in state["silences"].items()
        },
        "doubts": moved_json(state["doubts"], moving),
        "pending": {
            quantity: [[[moving.of(time_ms) for time_ms in times], values] for times, values in pieces]
            for quantity, pieces in state["pending"].items()
        },
    }


def _stand(stand: Sequence[Any], moving: Moving) -> list[Any]:
    from_ms, until_ms, *values = stand
    if from_ms < moving.from_ms:
        return [from_ms, until_ms, *values]
    return [moving.of(from_ms), moving.of(until_ms), *values]


def _run(run_ms: int | None, stand: Sequence[Any] | None, moving: Moving) -> int | None:
    """Return since when a verdict holds without a break; ``stand`` is moved already."""
    if run_ms is None or run_ms >= moving.from_ms:
        return None if run_ms is None else moving.of(run_ms)
    return moving.begin_ms if stand is not None and stand[0] >= moving.begin_ms else run_ms


def _lit(run: Sequence[int], moving: Moving) -> list[list[int]]:
    """Return one run of light or dark, in two where the era begins within it."""
    from_ms, to_ms, lit, lit_before, known_before = run
    if from_ms < moving.from_ms < to_ms:
        before_ms = moving.from_ms - from_ms
        return [
            [from_ms, moving.from_ms, lit, lit_before, known_before],
            [moving.begin_ms, moving.of(to_ms), lit, lit_before + lit * before_ms, known_before + before_ms],
        ]
    if from_ms < moving.from_ms:
        return [list(run)]
    return [[moving.of(from_ms), moving.of(to_ms), lit, lit_before, known_before]]
