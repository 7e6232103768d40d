"""Closed hours folded: readings out of their rows into one chunk a series and hour, with what the hour came to.

The rule of this file: one piece of work is one transaction that its caller opens and ends, and it is never
more than some sensors' hour. What comes for a folded hour later is a row until the hour is folded once more.
"""

from collections.abc import Mapping

from sqlalchemy import ColumnElement, Connection, delete, func, select
from sqlalchemy.dialects.sqlite import insert

from wardian.adapters.stores import sums
from wardian.adapters.stores.hours import HOUR_MS, hour_packed
from wardian.adapters.stores.pieces import pieces_packed, pieces_unpacked
from wardian.adapters.stores.reading_back import (
    Span,
    by_number,
    hour_kept,
    hour_of,
    names_by_number,
    rows_of,
)
from wardian.adapters.stores.schema import chunks, folded, readings, rollups
from wardian.rules.plans import TrayPlan
from wardian.rules.readings import Series, merged
from wardian.rules.rollups import Carried, RolledUp, Rollups, between, one_after_another, plan_for, roll_up


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
    """Fold the hour of the first of those series that have rows in it."""
    of_hour = (readings.c.time_ms >= hour_ms) & (readings.c.time_ms < hour_ms + HOUR_MS)
    query = select(readings.c.series_id).where(of_hour).distinct().order_by(readings.c.series_id)
    numbers = connection.execute(query.limit(most)).scalars().all()
    rows = by_number(rows_of(connection, Span(hour_ms, hour_ms + HOUR_MS, numbers)))
    for number, points in rows.items():
        whole, _ = merged([hour_kept(connection, number, hour_ms), points])
        values = {"hour_ms": hour_ms, "series_id": number, "readings": hour_packed(whole, hour_ms)}
        connection.execute(insert(chunks).values(values).on_conflict_do_update(set_=values))
    connection.execute(delete(readings).where(of_hour, readings.c.series_id.in_(numbers)))
    for number in numbers:
        rolling.roll(number, hour_ms)


class _Rolling:
    """Rolls up hours whose readings are in chunks already, and those after them that change by it."""

    def __init__(
        self, connection: Connection, plans: Mapping[str, TrayPlan], names: Mapping[int, Series]
    ) -> None:
        self._connection = connection
        self._plans = plans
        self._names = names

    def roll(self, number: int, hour_ms: int) -> None:
        """Roll up an hour, and the next ones as far as they hang on it."""
        following: int | None = hour_ms
        while following is not None:
            following = self._roll_one(number, following)

    def _roll_one(self, number: int, hour_ms: int) -> int | None:
        """Roll up an hour and return the next one that has to be, if there is one."""
        series = self._names[number]
        plan = plan_for(series.tray, self._plans)
        points = hour_kept(self._connection, number, hour_ms)
        was = self._carried(number, rollups.c.hour_ms == hour_ms)
        before = self._carried(number, rollups.c.hour_ms < hour_ms)
        rolled = roll_up(points, before, plan, (series, hour_ms))
        self._put(number, hour_ms, rolled)
        next_ms = self._next(number, hour_ms)
        end_ms = hour_ms + HOUR_MS
        if next_ms != end_ms and self._stands_on(number, end_ms, rolled.carried, plan.hold_ms):
            return end_ms
        return next_ms if rolled.carried != was else None

    def _carried(self, number: int, of_hour: ColumnElement[bool]) -> Carried | None:
        query = select(rollups.c.last_ms, rollups.c.last, rollups.c.beyond)
        newest = query.where(rollups.c.series_id == number, of_hour).order_by(rollups.c.hour_ms.desc())
        row = self._connection.execute(newest.limit(1)).one_or_none()
        return None if row is None else Carried(row.last_ms, row.last, tuple(row.beyond.split()))

    def _put(self, number: int, hour_ms: int, rolled: RolledUp) -> None:
        if rolled.carried is None:
            return
        values = {
            "series_id": number,
            "hour_ms": hour_ms,
            "last_ms": rolled.carried.time_ms,
            "last": rolled.carried.value,
            "beyond": " ".join(rolled.carried.beyond),
            "pieces": pieces_packed(rolled.rollups, hour_ms),
        }
        self._connection.execute(insert(rollups).values(values).on_conflict_do_update(set_=values))

    def _next(self, number: int, hour_ms: int) -> int | None:
        query = select(func.min(rollups.c.hour_ms))
        of_series = query.where(rollups.c.series_id == number, rollups.c.hour_ms > hour_ms)
        return self._connection.execute(of_series).scalar()

    def _stands_on(self, number: int, from_ms: int, carried: Carried | None, hold_ms: int) -> bool:
        """Whether the last value stands on into an hour before which nothing else is heard in it."""
        if carried is None or carried.time_ms + hold_ms <= from_ms:
            return False
        until_ms = min(carried.time_ms + hold_ms, from_ms + HOUR_MS)
        heard = select(readings.c.time_ms).where(
            readings.c.time_ms >= from_ms, readings.c.time_ms < until_ms, readings.c.series_id == number
        )
        return self._connection.execute(heard.limit(1)).first() is None
