"""Closed hours folded: readings out of their rows into one chunk a series and hour, with what the hour came to.

The rule of this file: one piece of work is one transaction that its caller opens and ends, and it is never
more than some sensors' hour. What comes for a folded hour later is a row until the hour is folded once more.
"""

from collections.abc import Mapping
from typing import Final

import numpy as np
from sqlalchemy import Connection, delete, func, select
from sqlalchemy.dialects.sqlite import insert

from wardian.adapters.stores import sums
from wardian.adapters.stores.hours import HOUR_MS, Instants, hour_packed, instants_packed
from wardian.adapters.stores.letting_go import gone_until_ms
from wardian.adapters.stores.pieces import pieces_packed, pieces_unpacked
from wardian.adapters.stores.reading_back import (
    Span,
    by_number,
    hour_kept,
    hour_of,
    names_by_number,
    rows_of,
)
from wardian.adapters.stores.schema import folded, readings, rollups
from wardian.adapters.stores.sqlite_file import driver_of
from wardian.rules.plans import TrayPlan
from wardian.rules.readings import Points, Series, merged
from wardian.rules.rollups import Carried, Rollups, between, one_after_another, plan_for, roll_up

#: So many rows of an hour are looked at to see of which series they are; to look at all would take as long as the rest.
_FIRST_ROWS: Final = 2_000
#: As a share of the instants; with more the sensors of a tray are not read together.
_MOST_MISSING: Final = 0.2
# Straight to the driver: a statement of these takes a thirtieth of what it takes through more layers, and there are
# five for each sensor's hour.
_KEEP: Final = "REPLACE INTO chunks (hour_ms, series_id, readings) VALUES (?, ?, ?)"
_SHARE: Final = "INSERT INTO instants (hour_ms, number, times) VALUES (?, ?, ?)"
_PUT: Final = (
    "REPLACE INTO rollups (series_id, hour_ms, last_ms, last, beyond, pieces) VALUES (?, ?, ?, ?, ?, ?)"
)
_CARRIED: Final = (
    "SELECT hour_ms, last_ms, last, beyond FROM rollups WHERE series_id = ? AND hour_ms <= ? "
    "ORDER BY hour_ms DESC LIMIT 2"
)
_NEXT: Final = "SELECT min(hour_ms) FROM rollups WHERE series_id = ? AND hour_ms > ?"
_HEARD: Final = "SELECT 1 FROM readings WHERE time_ms >= ? AND time_ms < ? AND series_id = ? LIMIT 1"


def fold(connection: Connection, extent: tuple[int, int], plans: Mapping[str, TrayPlan]) -> bool:
    """Fold the oldest hour that ended before an instant, of so many series; return whether more is to be folded."""
    before_ms, most = extent
    until_ms = folded_until_ms(connection)
    closed_ms = _closed_ms(connection, before_ms, until_ms)
    hour_ms = _oldest_hour(connection)
    if hour_ms is not None and hour_ms < closed_ms:
        rolling = _Rolling(connection, plans, names_by_number(connection))
        _fold_hour(connection, hour_ms, most, rolling)
        hour_ms = _oldest_hour(connection)
    is_more = hour_ms is not None and hour_ms < closed_ms
    if not is_more and closed_ms > until_ms:
        values = {"id": 1, "until_ms": closed_ms}
        connection.execute(insert(folded).values(values).on_conflict_do_update(set_=values))
    return is_more


def is_due(connection: Connection, before_ms: int) -> bool:
    """Return whether anything would be folded; looks without writing."""
    until_ms = folded_until_ms(connection)
    closed_ms = _closed_ms(connection, before_ms, until_ms)
    hour_ms = _oldest_hour(connection)
    return closed_ms > until_ms or (hour_ms is not None and hour_ms < closed_ms)


def folded_until_ms(connection: Connection) -> int:
    """Return before when all hours were folded at least once; 0 where none were."""
    return connection.execute(select(folded.c.until_ms)).scalar() or 0


def rolled_up(connection: Connection, series: Series, span: Span) -> Rollups:
    """Return the pieces of a series that begin in a span, of hours that are folded."""
    numbers = [number for number, one in names_by_number(connection).items() if one == series]
    to_ms = min(span.to_ms, folded_until_ms(connection))
    query = (
        select(rollups.c.hour_ms, rollups.c.pieces)
        .where(rollups.c.series_id.in_(numbers))
        .where(rollups.c.hour_ms > span.from_ms - HOUR_MS, rollups.c.hour_ms < to_ms)
        .order_by(rollups.c.hour_ms)
    )
    found = [pieces_unpacked(data, hour_ms) for hour_ms, data in connection.execute(query)]
    return between(one_after_another(found), span.from_ms, to_ms)


def _closed_ms(connection: Connection, before_ms: int, until_ms: int) -> int:
    """Return where the hour begins before which all may be folded; once folded, an hour stays closed."""
    return max(until_ms, hour_of(min(before_ms, sums.summed_until_ms(connection))))


def _oldest_hour(connection: Connection) -> int | None:
    oldest_ms = connection.execute(select(func.min(readings.c.time_ms))).scalar()
    return None if oldest_ms is None else hour_of(oldest_ms)


def _fold_hour(connection: Connection, hour_ms: int, most: int, rolling: "_Rolling") -> None:
    """Fold the hour of some of the series that have rows in it: of those with the lowest numbers that come first."""
    of_hour = (readings.c.time_ms >= hour_ms) & (readings.c.time_ms < hour_ms + HOUR_MS)
    first = select(readings.c.series_id).where(of_hour).order_by(*readings.primary_key)
    numbers = sorted(set(connection.execute(first.limit(_FIRST_ROWS)).scalars()))[:most]
    rows = by_number(rows_of(connection, Span(hour_ms, hour_ms + HOUR_MS, numbers)))
    driver = driver_of(connection)
    kept = {number: hour_kept(driver, number, hour_ms) for number in numbers}
    rows = {number: merged([kept[number], points])[0] for number, points in rows.items()}
    # What an hour has already is alone with its instants from now on: those that others share stay as they are.
    fresh = {number: points for number, points in rows.items() if len(kept[number].times_ms) == 0}
    shared = shared_instants(fresh, rolling.names)
    for one in {one.number: one for one in shared.values()}.values():
        driver.execute(_SHARE, (hour_ms, one.number, instants_packed(one.times_ms, hour_ms)))
    for number, points in rows.items():
        driver.execute(_KEEP, (hour_ms, number, hour_packed(points, hour_ms, shared.get(number))))
    connection.execute(delete(readings).where(of_hour, readings.c.series_id.in_(numbers)))
    if hour_ms >= gone_until_ms(connection):
        for number, points in rows.items():
            rolling.roll(number, hour_ms, points)


def shared_instants(fresh: Mapping[int, Points], names: Mapping[int, Series]) -> dict[int, Instants]:
    """Return, by the number of their series, the instants of those of a tray that were read together.

    They are found by the lowest number of these series, which no others of the hour can have.
    """
    trays: dict[str, list[int]] = {}
    for number in sorted(fresh):
        trays.setdefault(names[number].tray, []).append(number)
    found: dict[int, Instants] = {}
    for numbers in trays.values():
        times_ms = np.unique(np.concatenate([fresh[number].times_ms for number in numbers]))
        shortest = min(len(fresh[number].times_ms) for number in numbers)
        if len(numbers) > 1 and len(times_ms) - shortest <= len(times_ms) * _MOST_MISSING:
            found |= dict.fromkeys(numbers, Instants(numbers[0], times_ms))
    return found


class _Rolling:
    """Rolls up hours whose readings are in chunks already, and those after them that change by it."""

    def __init__(
        self, connection: Connection, plans: Mapping[str, TrayPlan], names: Mapping[int, Series]
    ) -> None:
        self._driver = driver_of(connection)
        self._plans = plans
        self.names = names

    def roll(self, number: int, hour_ms: int, points: Points) -> None:
        """Roll up an hour with these readings, and the next ones as far as they hang on it."""
        following = self._roll_one(number, hour_ms, points)
        while following is not None:
            points = hour_kept(self._driver, number, following)
            following = self._roll_one(number, following, points)

    def _roll_one(self, number: int, hour_ms: int, points: Points) -> int | None:
        """Roll up an hour and return the next one that has to be, if there is one."""
        series = self.names[number]
        plan = plan_for(series.tray, self._plans)
        was, before = self._carried(number, hour_ms)
        rolled = roll_up(points, before, plan, (series, hour_ms))
        if rolled.carried is None:
            return None
        self._put(number, hour_ms, rolled.rollups, rolled.carried)
        (next_ms,) = self._driver.execute(_NEXT, (number, hour_ms)).fetchone()
        end_ms = hour_ms + HOUR_MS
        if next_ms != end_ms and self._stands_on(number, end_ms, rolled.carried.time_ms + plan.hold_ms):
            return end_ms
        following: int | None = next_ms if rolled.carried != was else None
        return following

    def _carried(self, number: int, hour_ms: int) -> tuple[Carried | None, Carried | None]:
        """Return what was known after an hour the last time that it was rolled up, and what is known before it."""
        was: Carried | None = None
        for at_ms, last_ms, last, beyond in self._driver.execute(_CARRIED, (number, hour_ms)).fetchall():
            carried = Carried(last_ms, last, tuple(beyond.split()))
            if at_ms < hour_ms:
                return was, carried
            was = carried
        return was, None

    def _put(self, number: int, hour_ms: int, rolled: Rollups, carried: Carried) -> None:
        packed = pieces_packed(rolled, hour_ms)
        last = (carried.time_ms, carried.value, " ".join(carried.beyond))
        self._driver.execute(_PUT, (number, hour_ms, *last, packed))

    def _stands_on(self, number: int, from_ms: int, until_ms: int) -> bool:
        """Whether the last value stands on into an hour before anything else is heard in it."""
        if until_ms <= from_ms:
            return False
        span = (from_ms, min(until_ms, from_ms + HOUR_MS), number)
        return self._driver.execute(_HEARD, span).fetchone() is None
