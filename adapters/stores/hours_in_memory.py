"""Hours rolled up for the store in memory: the plain way, every hour after the first that changed."""

from collections.abc import Mapping, Sequence

from wardian.rules.moving import Moving
from wardian.rules.plans import TrayPlan
from wardian.rules.readings import Reading, Series, points
from wardian.rules.rollups import (
    HOUR_MS,
    Carried,
    RolledUp,
    Rollups,
    between,
    one_after_another,
    plan_for,
    roll_up,
)


def summed_until_ms(from_ms: int, times_ms: Sequence[int]) -> int:
    """Return before when all is summed up once readings of these times are kept: a full hour that is long over."""
    newest_ms = max(times_ms, default=from_ms)
    return from_ms if newest_ms < from_ms + 2 * HOUR_MS else newest_ms // HOUR_MS * HOUR_MS - HOUR_MS


class HoursInMemory:
    """Readings by hour, and what each hour came to."""

    def __init__(self) -> None:
        self.until_ms = 0
        self._newest_ms = 0
        self._gone_ms = -(2**63)
        self._heard: dict[Series, dict[int, dict[int, float]]] = {}
        self._rolled: dict[Series, dict[int, RolledUp]] = {}
        self._changed_ms: dict[Series, int] = {}

    def add(self, reading: Reading) -> None:
        """Take a reading that is new."""
        series, hour_ms = Series(reading.tray, reading.quantity), reading.time_ms // HOUR_MS * HOUR_MS
        self._newest_ms = max(self._newest_ms, reading.time_ms)
        if hour_ms < self._gone_ms:
            return
        self._heard.setdefault(series, {}).setdefault(hour_ms, {})[reading.time_ms] = reading.value
        self._changed_ms[series] = min(self._changed_ms.get(series, hour_ms), hour_ms)

    def move(self, moving: Moving) -> None:
        """Move readings of an era of which nothing is rolled up."""
        moved = [
            Reading(time_ms, *series, values.pop(time_ms))
            for series, heard in self._heard.items()
            for values in heard.values()
            for time_ms in list(values)
            if moving.of(time_ms) != time_ms
        ]
        for heard in self._heard.values():
            for hour_ms in [hour_ms for hour_ms, values in heard.items() if not values]:
                del heard[hour_ms]
        self._newest_ms = max(
            (max(max(hour) for hour in one.values()) for one in self._heard.values() if one), default=0
        )
        until_ms = min(moving.from_ms, moving.begin_ms) // HOUR_MS * HOUR_MS
        self.until_ms = min(self.until_ms, until_ms)
        for rolled in self._rolled.values():
            for hour_ms in [hour_ms for hour_ms in rolled if hour_ms >= until_ms]:
                del rolled[hour_ms]
        for reading in moved:
            self.add(reading._replace(time_ms=moving.of(reading.time_ms)))

    def roll(self, before_ms: int, plans: Mapping[str, TrayPlan]) -> None:
        """Roll up every hour that ended before an instant and an hour before that of the newest reading."""
        closed_ms = min(before_ms, self._newest_ms - HOUR_MS) // HOUR_MS * HOUR_MS
        begun_ms, self.until_ms = self.until_ms, max(self.until_ms, closed_ms)
        for series, heard in self._heard.items():
            changed_ms = self._changed_ms.pop(series, self.until_ms)
            self._roll_series(series, min(changed_ms, begun_ms), plan_for(series.tray, plans))
            waiting = [hour_ms for hour_ms in heard if hour_ms >= self.until_ms]
            if waiting:
                self._changed_ms[series] = min(waiting)

    def rolled_up(self, series: Series, from_ms: int, to_ms: int) -> Rollups:
        """Return the pieces of a series that begin in a span."""
        rolled = self._rolled.get(series, {})
        found = [rolled[hour_ms].rollups for hour_ms in sorted(rolled)]
        return between(one_after_another(found), from_ms, to_ms)

    def let_readings_go(self, until_ms: int) -> None:
        """Forget the readings before an instant, and roll up nothing of that time any more."""
        self._gone_ms = until_ms
        for series, heard in self._heard.items():
            for hour_ms in [hour_ms for hour_ms in heard if hour_ms < until_ms]:
                del heard[hour_ms]
            if self._changed_ms.get(series, until_ms) < until_ms:
                self._changed_ms[series] = until_ms

    def let_rollups_go(self, before_ms: int) -> None:
        """Forget what the hours before an instant came to."""
        for rolled in self._rolled.values():
            for hour_ms in [hour_ms for hour_ms in rolled if hour_ms < before_ms]:
                del rolled[hour_ms]

    def _roll_series(self, series: Series, from_ms: int, plan: TrayPlan) -> None:
        """Roll up the closed hours of a series, from the last one before an instant in which it was heard."""
        heard, rolled = self._heard[series], self._rolled.setdefault(series, {})
        begin_ms = max((hour_ms for hour_ms in heard if hour_ms < from_ms), default=from_ms)
        for hour_ms in [hour_ms for hour_ms in rolled if hour_ms >= begin_ms]:
            del rolled[hour_ms]
        carried: Carried | None = rolled[max(rolled)].carried if rolled else None
        for heard_ms in sorted(hour_ms for hour_ms in heard if begin_ms <= hour_ms < self.until_ms):
            hour_ms = heard_ms
            while hour_ms == heard_ms or (hour_ms not in heard and _stands(carried, plan, hour_ms)):
                if hour_ms >= self.until_ms:
                    break
                times = sorted(heard.get(hour_ms, {}))
                own = points(times, [heard[hour_ms][time_ms] for time_ms in times])
                rolled[hour_ms] = roll_up(own, carried, plan, (series, hour_ms))
                carried = rolled[hour_ms].carried
                hour_ms += HOUR_MS


def _stands(carried: Carried | None, plan: TrayPlan, at_ms: int) -> bool:
    return carried is not None and carried.time_ms + plan.hold_ms > at_ms
