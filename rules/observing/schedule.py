"""When the lamp is meant to burn, by the clock on the wall, whatever the clocks do that night."""

from datetime import timedelta
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from wardian.rules.crops import wall_time
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.plans import LampSchedule

_DAY_MIN: Final = 24 * 60
_QUARTER: Final = 15


class Meant(NamedTuple):
    """Whether the lamp is meant to burn, and since when [ms]."""

    is_on: bool
    since_ms: int


def meant(schedule: LampSchedule, at_ms: int) -> Meant | None:
    """Return what the lamp is meant to do at an instant; None in an hour that the wall shows a second time."""
    local = wall_time(at_ms, schedule.zone)
    if local.fold:
        return None
    on_for, off_for = _since_min(schedule, local.hour * 60 + local.minute)
    is_on = on_for < (schedule.off_min - schedule.on_min) % _DAY_MIN
    since_ms = at_ms - at_ms % MINUTE_MS - (on_for if is_on else off_for) * MINUTE_MS
    then = wall_time(since_ms, schedule.zone)
    moved = (local.utcoffset() or timedelta()) - (then.utcoffset() or timedelta())
    return Meant(is_on, min(since_ms + moved // timedelta(milliseconds=1), at_ms))


def meant_on(schedule: LampSchedule, until_ms: int, minutes: int) -> NDArray[np.bool_]:
    """Return for each of the last minutes before an instant whether the lamp was meant to burn."""
    ends = until_ms // MINUTE_MS - np.arange(minutes)[::-1] - 1
    quarters, place = np.unique(ends // _QUARTER, return_inverse=True)
    offsets = [wall_time(int(one) * _QUARTER * MINUTE_MS, schedule.zone).utcoffset() for one in quarters]
    moved = np.array([(one or timedelta()) // timedelta(minutes=1) for one in offsets])[place]
    lasts = (schedule.off_min - schedule.on_min) % _DAY_MIN
    on: NDArray[np.bool_] = (ends + moved - schedule.on_min) % _DAY_MIN < lasts
    return on


def _since_min(schedule: LampSchedule, wall_min: int) -> tuple[int, int]:
    return (wall_min - schedule.on_min) % _DAY_MIN, (wall_min - schedule.off_min) % _DAY_MIN
