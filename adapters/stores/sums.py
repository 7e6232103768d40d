"""What is known of the readings without walking over all of them: how many, and each series' newest.

The key of the readings begins with the time, so the newest reading of a series that fell silent could
lie anywhere. Two small tables sum up what is older than ``summed_up.until_ms``; the hour or two after
it is looked through when asked. Writing them with every round would cost a memory card a page a commit,
so they are moved on about once an hour of readings, and touched besides only by what comes later still.
Only what is summed up is ever folded, so that a fold changes neither.
"""

from collections.abc import Sequence
from typing import Final, NamedTuple

from sqlalchemy import Connection, delete, func, select, update
from sqlalchemy.dialects.sqlite import insert

from wardian.adapters.stores.reading_back import Key, hour_kept, value_at
from wardian.adapters.stores.schema import chunks, newest, readings, series, summed_up
from wardian.adapters.stores.sqlite_file import driver_of
from wardian.rules.moving import Moving
from wardian.rules.readings import Reading, Series

_HOUR_MS: Final = 3_600_000
_BEGIN_OF_TIME_MS: Final = -(2**63)
_END_OF_TIME_MS: Final = 2**63 - 1
#: Rows fetched at a time while walking back.
_PAGE: Final = 200


class _Newest(NamedTuple):
    time_ms: int
    value: float


def summed_until_ms(connection: Connection) -> int:
    """Return the time before which all readings are summed up; 0 when none are."""
    return connection.execute(select(summed_up.c.until_ms)).scalar() or 0


def add(connection: Connection, keys: Sequence[Key]) -> None:
    """Add readings, new to the store, from before the time until which is summed up."""
    if keys:
        _keep_newest(connection, {series_id: time_ms for time_ms, series_id in sorted(keys)})
        _add_to_count(connection, summed_until_ms(connection), len(keys))


def move_on(connection: Connection, from_ms: int, newest_ms: int) -> int:
    """Sum up to a full hour at least an hour before the newest reading, once that is an hour's worth.

    Returns:
        Until when is summed up now.
    """
    if newest_ms < from_ms + 2 * _HOUR_MS:
        return from_ms
    until_ms = newest_ms // _HOUR_MS * _HOUR_MS - _HOUR_MS
    found = _newest_between(connection, from_ms, until_ms)
    _keep_newest(connection, {series_id: last.time_ms for series_id, last in found.items()})
    _add_to_count(connection, until_ms, _count_between(connection, from_ms, until_ms))
    return until_ms


def move(connection: Connection, moving: Moving) -> None:
    """Say the same of readings that were moved: none passes the time until which is summed up, nor another reading."""
    until_ms = summed_until_ms(connection)
    if not until_ms:
        return
    connection.execute(update(summed_up).values(until_ms=moving.end_of(until_ms)))
    time_ms = newest.c.time_ms
    connection.execute(update(newest).where(time_ms >= moving.from_ms).values(time_ms=time_ms + moving.by_ms))


def count(connection: Connection) -> int:
    """Return how many readings are kept."""
    row = connection.execute(select(summed_up.c.until_ms, summed_up.c.readings)).one_or_none()
    until_ms, before = row or (0, 0)
    return int(before) + _count_between(connection, until_ms, _END_OF_TIME_MS)


def take_off(connection: Connection, count: int, span: tuple[int, int]) -> None:
    """Count so many readings no more that were summed up, and forget the newest of series that lay in a span."""
    connection.execute(delete(newest).where(newest.c.time_ms >= span[0], newest.c.time_ms < span[1]))
    connection.execute(update(summed_up).values(readings=summed_up.c.readings - count))


def reckon_anew(connection: Connection) -> None:
    """Count all that is summed up once more and find the newest of each series; looks at every packed row."""
    until_ms = summed_until_ms(connection)
    total = _count_between(connection, _BEGIN_OF_TIME_MS, until_ms)
    times_ms = {
        number: one.time_ms
        for number, one in _newest_between(connection, _BEGIN_OF_TIME_MS, until_ms).items()
    }
    driver = driver_of(connection)
    for hour_ms, number in connection.execute(select(chunks.c.hour_ms, chunks.c.series_id)).all():
        points = hour_kept(driver, number, hour_ms)
        total += len(points.times_ms)
        times_ms[number] = max(times_ms.get(number, _BEGIN_OF_TIME_MS), int(points.times_ms[-1]))
    connection.execute(delete(newest))
    _keep_newest(connection, times_ms)
    connection.execute(update(summed_up).values(readings=total))


def latest(connection: Connection) -> dict[Series, Reading]:
    """Return the newest reading of every series."""
    is_newest = (readings.c.time_ms == newest.c.time_ms) & (readings.c.series_id == newest.c.series_id)
    # Not a join, which the planner might walk from the side of the readings.
    value = select(readings.c.value).where(is_newest).scalar_subquery()
    older = connection.execute(select(newest.c.series_id, newest.c.time_ms, value)).all()
    found = {
        number: _Newest(time_ms, value_at(connection, (time_ms, number)) if in_row is None else in_row)
        for number, time_ms, in_row in older
    }
    found |= _newest_between(connection, summed_until_ms(connection), _END_OF_TIME_MS)
    return {
        Series(tray, quantity): Reading(found[number].time_ms, tray, quantity, found[number].value)
        for number, tray, quantity in connection.execute(select(series).order_by(series.c.id))
        if number in found
    }


def _newest_between(connection: Connection, from_ms: int, until_ms: int) -> dict[int, _Newest]:
    """Walk back from the newest reading until every series was met; a silent one costs the whole span."""
    wanted = connection.execute(select(func.count()).select_from(series)).scalar_one()
    walk = (
        select(readings)
        .where(readings.c.time_ms >= from_ms, readings.c.time_ms < until_ms)
        .order_by(readings.c.time_ms.desc())
        .execution_options(yield_per=_PAGE)
    )
    found: dict[int, _Newest] = {}
    with connection.execute(walk) as rows:
        for time_ms, series_id, value in rows:
            found.setdefault(series_id, _Newest(time_ms, value))
            if len(found) == wanted:
                break
    return found


def _keep_newest(connection: Connection, times_ms: dict[int, int]) -> None:
    """Note the newest time of each series, unless a newer one is noted."""
    if times_ms:
        statement = insert(newest)
        newer = func.max(newest.c.time_ms, statement.excluded.time_ms)
        connection.execute(
            statement.on_conflict_do_update(set_={"time_ms": newer}),
            [{"series_id": series_id, "time_ms": time_ms} for series_id, time_ms in times_ms.items()],
        )


def _count_between(connection: Connection, from_ms: int, until_ms: int) -> int:
    in_span = (readings.c.time_ms >= from_ms) & (readings.c.time_ms < until_ms)
    return connection.execute(select(func.count()).select_from(readings).where(in_span)).scalar_one()


def _add_to_count(connection: Connection, until_ms: int, more: int) -> None:
    statement = insert(summed_up).values(id=1, until_ms=until_ms, readings=more)
    total = summed_up.c.readings + statement.excluded.readings
    connection.execute(
        statement.on_conflict_do_update(set_={"until_ms": statement.excluded.until_ms, "readings": total})
    )
