"""The clock on the wall of the pretended room: local hours and dates of instants."""

from datetime import UTC, date, datetime, timedelta, tzinfo
from typing import Final, NamedTuple

import numpy as np

from wardian.rules.readings import Times, Values

MS_PER_MINUTE: Final = 60_000
MS_PER_HOUR: Final = 3_600_000
MS_PER_DAY: Final = 86_400_000
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_MS: Final = timedelta(milliseconds=1)


class Wall(NamedTuple):
    """What clock and calendar on the wall show at instants: hours of the day, and days since 1970."""

    hours: Values
    days: Times


def wall(times_ms: Times, zone: tzinfo) -> Wall:
    """Return what clock and calendar on the wall show; clocks change on the hour at the earliest."""
    hours, at = np.unique(times_ms // MS_PER_HOUR, return_inverse=True)
    offsets_ms = np.array([_offset_ms(int(hour) * MS_PER_HOUR, zone) for hour in hours], dtype=np.int64)
    days, into_ms = np.divmod(times_ms + offsets_ms[at], MS_PER_DAY)
    return Wall(into_ms / MS_PER_HOUR, days)


def at_wall_ms(day: int, minutes: float, zone: tzinfo) -> int:
    """Return the instant at which the wall shows a day since 1970 and minutes after midnight."""
    local = datetime.combine(date(1970, 1, 1) + timedelta(days=day), datetime.min.time(), zone)
    # Wall minutes are added before the offset is looked up, as a person reads a clock.
    return (local + timedelta(minutes=round(minutes)) - _EPOCH) // _MS


def _offset_ms(time_ms: int, zone: tzinfo) -> int:
    offset = (_EPOCH + timedelta(milliseconds=time_ms)).astimezone(zone).utcoffset()
    assert offset is not None
    return offset // _MS
