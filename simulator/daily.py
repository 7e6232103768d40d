"""What comes back every day in the pretended room: its warmth, the lamp's hours, and somebody's care."""

import math
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from random import Random
from typing import Final, NamedTuple

#: Mornings, noons and evenings at which the cover is lifted and the cuttings are misted.
_CARE_HOURS: Final = (8.5, 13.5, 18.5)
#: Nobody is on the minute.
_CARE_JITTER_H: Final = 0.25
_LIFTED_H: Final = 2 / 60

_ROOM_MEAN_C: Final = 17.0
_ROOM_SWING_K: Final = 1.5
_ROOM_WARMEST_H: Final = 15.0


class LocalTime(NamedTuple):
    """A local date and the hours shown by the clock on the wall, with their fraction."""

    date: str
    hour: float


def local_time(time_ms: int, zone: tzinfo) -> LocalTime:
    """Return what a clock and a calendar on the wall show at an instant."""
    seconds, millis = divmod(time_ms, 1000)
    local = datetime.fromtimestamp(seconds, UTC).astimezone(zone)
    hour = local.hour + local.minute / 60 + (local.second + millis / 1000) / 3600
    return LocalTime(local.date().isoformat(), hour)


def room_c(hour: float) -> float:
    """Return the room's temperature at a local hour [°C]."""
    return _ROOM_MEAN_C + _ROOM_SWING_K * math.cos(math.tau * (hour - _ROOM_WARMEST_H) / 24)


def is_between(hour: float, from_h: float, until_h: float) -> bool:
    """Return whether an hour lies in a span of the day that may go past midnight."""
    return (hour - from_h) % 24 < (until_h - from_h) % 24


@dataclass(slots=True)
class Care:
    """When somebody lifts one tray's cover: about the same hours every day, seeded."""

    seed: str
    _date: str = ""
    _begins_h: tuple[float, ...] = ()

    def is_lifted(self, now: LocalTime) -> bool:
        """Return whether the cover is lifted at this moment."""
        if now.date != self._date:
            # pretended habits need no secrecy
            chance = Random(f"{self.seed} {now.date}")  # noqa: S311 # no secret hangs on it
            self._begins_h = tuple(
                hour + chance.uniform(-_CARE_JITTER_H, _CARE_JITTER_H) for hour in _CARE_HOURS
            )
            self._date = now.date
        return any(begin <= now.hour < begin + _LIFTED_H for begin in self._begins_h)
