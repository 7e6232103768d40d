"""Readings read back, in whichever form they are kept: recent ones in rows, those of closed hours in chunks.

The rule of this file: nobody can tell by an answer what was folded; within one transaction each reading is
in exactly one of the two forms.
"""

import sqlite3
from collections.abc import Callable, Collection, Iterator, Sequence
from functools import lru_cache, partial
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, Select, func, select, tuple_

from wardian.adapters.stores.hours import HOUR_MS, Damaged, hour_unpacked, instants_unpacked
from wardian.adapters.stores.schema import chunks, late, readings, series
from wardian.adapters.stores.sqlite_file import driver_of
from wardian.rules.readings import Chunk, Points, Series, Times, merged

#: Rows fetched at a time while streaming.
_PAGE: Final = 5_000
_READING: Final = np.dtype([("time_ms", np.int64), ("series_id", np.int64), ("value", np.float64)])
_INSTANTS: Final = "SELECT times FROM instants WHERE hour_ms = ? AND number = ?"
_KEPT: Final = "SELECT readings FROM chunks WHERE hour_ms = ? AND series_id = ?"
_NEVER_MS: Final = 2**62
#: Instants remembered while reading; each hour has about one a tray.
_MOST_SHARED: Final = 500
#: Time and number of series: what a reading is found by.
Key = tuple[int, int]
#: A reading as it is kept.
Row = tuple[int, int, float]


class Page(NamedTuple):
    """Some readings in order of time and series, and after which one the next page begins; None: there is none."""

    rows: Sequence[Row]
    after: Key | None


class Span(NamedTuple):
    """From an instant (included) to another (not), and the numbers of the series that are wanted (None: all)."""

    from_ms: int
    to_ms: int
    numbers: Collection[int] | None = None


def hour_of(time_ms: int) -> int:
    """Return where the hour begins in which an instant lies."""
    return time_ms // HOUR_MS * HOUR_MS


def names_by_number(connection: Connection) -> dict[int, Series]:
    """Return every series by its number."""
    return {one.id: Series(one.tray, one.quantity) for one in connection.execute(select(series))}


def page(connection: Connection, after: Key, to_ms: int) -> Page:
    """Return the readings next after a place and before an instant: a page of rows, or one hour that has chunks."""
    query = select(func.min(chunks.c.hour_ms)).where(chunks.c.hour_ms > after[0] - HOUR_MS)
    hour_ms = connection.execute(query).scalar()
    if hour_ms is None or hour_ms >= to_ms:
        rows = _rows_after(connection, after, to_ms)
        return Page(rows, rows[-1][:2] if len(rows) == _PAGE else None)
    rows = _rows_after(connection, after, hour_ms)
    if rows:
        return Page(rows, rows[-1][:2])
    end_ms = hour_ms + HOUR_MS
    of_hour = _table(read(connection, Span(max(hour_ms, after[0]), min(end_ms, to_ms))))
    return Page([row for row in of_hour if row[:2] > after], (end_ms, -1))


def read(connection: Connection, span: Span) -> dict[int, Points]:
    """Return the readings of a span by the number of their series, those that came late included."""
    pieces = _of_chunks(connection, span)
    for number, points in _of_rows(connection, span).items():
        pieces.setdefault(number, []).append(points)
    return {number: merged(some)[0] for number, some in sorted(pieces.items())}


def judged(connection: Connection, span: Span) -> dict[int, Points]:
    """Return the readings of a span by the number of their series, without those that came late."""
    found = read(connection, span)
    for number, times_ms in late_times(connection, span).items():
        if number in found:
            in_time = ~np.isin(found[number].times_ms, times_ms)
            found[number] = Points(found[number].times_ms[in_time], found[number].values[in_time])
    return {number: points for number, points in found.items() if len(points.times_ms)}


def late_times(connection: Connection, span: Span) -> dict[int, list[int]]:
    """Return when readings were that came too late to be judged, by the number of their series."""
    query = select(late).where(late.c.time_ms >= span.from_ms, late.c.time_ms < span.to_ms)
    found: dict[int, list[int]] = {}
    for time_ms, number in driver_rows(connection, query):
        found.setdefault(number, []).append(time_ms)
    return found


def named(found: dict[int, Points], names: dict[int, Series]) -> Chunk:
    """Return readings by the name of their series."""
    return {names[number]: points for number, points in found.items()}


def numbers_of(
    names: dict[int, Series], quantities: Collection[str] | None, trays: Collection[str] | None
) -> list[int] | None:
    """Return the numbers of the series that are wanted; None: all."""
    if quantities is None and trays is None:
        return None
    return [
        number
        for number, one in names.items()
        if (quantities is None or one.quantity in quantities) and (trays is None or one.tray in trays)
    ]


def value_at(connection: Connection, key: Key) -> float:
    """Return the value of a reading that is in a chunk."""
    time_ms, number = key
    points = hour_kept(driver_of(connection), number, hour_of(time_ms))
    return float(points.values[points.times_ms.searchsorted(time_ms)])


def hour_kept(driver: sqlite3.Connection, number: int, hour_ms: int) -> Points:
    """Return what of a series' hour is in a chunk; nothing where there is none."""
    row = driver.execute(_KEPT, (hour_ms, number)).fetchone()
    if row is None:
        return Points(np.empty(0, np.int64), np.empty(0, np.float64))
    return hour_unpacked(row[0], hour_ms, instants_of_hours(driver)(hour_ms))


def instants_of_hours(driver: sqlite3.Connection) -> Callable[[int], Callable[[int], Times]]:
    """Return what has, by hour, the instants that chunks share; those of the last hour are remembered."""

    @lru_cache(maxsize=_MOST_SHARED)
    def instants(hour_ms: int, number: int) -> Times:
        row = driver.execute(_INSTANTS, (hour_ms, number)).fetchone()
        if row is None:
            raise Damaged("instants that were folded are missing")
        return instants_unpacked(row[0], hour_ms)

    return lambda hour_ms: partial(instants, hour_ms)


def not_in_chunks(connection: Connection, flat: list[Any]) -> list[Any]:
    """Return readings (time, series and value of all in one list) without those that chunks have already."""
    newest_ms = connection.execute(select(func.max(chunks.c.hour_ms))).scalar()
    if newest_ms is None or min(flat[::3], default=_NEVER_MS) >= newest_ms + HOUR_MS:
        return flat
    driver, hours = driver_of(connection), dict[Key, set[int]]()
    rest: list[Any] = []
    for time_ms, number, value in zip(flat[::3], flat[1::3], flat[2::3], strict=True):
        # What is no instant is refused by the table.
        if isinstance(time_ms, int) and time_ms < newest_ms + HOUR_MS:
            place = (hour_of(time_ms), number)
            if place not in hours:
                hours[place] = set(hour_kept(driver, number, place[0]).times_ms.tolist())
            if time_ms in hours[place]:
                continue
        rest += (time_ms, number, value)
    return rest


def rows_of(connection: Connection, span: Span) -> NDArray[np.void]:
    """Return the readings of a span that are in rows, in order of time."""
    query = select(readings).where(readings.c.time_ms >= span.from_ms, readings.c.time_ms < span.to_ms)
    if span.numbers is not None:
        query = query.where(readings.c.series_id.in_(span.numbers))
    # The driver's own rows: wrapping millions of them would take longer than reading them.
    return np.fromiter(driver_rows(connection, query.order_by(readings.c.time_ms)), dtype=_READING)


def by_number(table: NDArray[np.void]) -> dict[int, Points]:
    """Return readings in order of time by the number of their series."""
    table = table[np.argsort(table["series_id"], kind="stable")]
    numbers, starts = np.unique(table["series_id"], return_index=True)
    parts = np.split(table, starts[1:])
    return {
        number: Points(part["time_ms"].copy(), part["value"].copy())
        for number, part in zip(numbers.tolist(), parts, strict=False)
    }


def driver_rows(connection: Connection, query: Select[Any]) -> Iterator[tuple[Any, ...]]:
    """Yield rows as the driver has them."""
    cursor = connection.execute(query).cursor
    assert cursor is not None
    return iter(cursor.fetchone, None)


def _rows_after(connection: Connection, after: Key, to_ms: int) -> list[Row]:
    place = tuple_(readings.c.time_ms, readings.c.series_id)
    ordered = select(readings).where(place > after, readings.c.time_ms < to_ms)
    return list(driver_rows(connection, ordered.order_by(*place.clauses).limit(_PAGE)))


def _table(found: dict[int, Points]) -> list[Row]:
    """Return readings by the number of their series in order of time and series."""
    rows = [
        row
        for number, (times_ms, values) in found.items()
        for row in zip(times_ms.tolist(), [number] * len(times_ms), values.tolist(), strict=True)
    ]
    rows.sort()
    return rows


def _of_rows(connection: Connection, span: Span) -> dict[int, Points]:
    return by_number(rows_of(connection, span))


def _of_chunks(connection: Connection, span: Span) -> dict[int, list[Points]]:
    """Return the readings of a span that are in chunks, hour by hour."""
    found: dict[int, list[Points]] = {}
    instants_of = instants_of_hours(driver_of(connection))
    for hour_ms, number, data in _chunk_rows(connection, span):
        points = hour_unpacked(data, hour_ms, instants_of(hour_ms))
        if hour_ms < span.from_ms or hour_ms + HOUR_MS > span.to_ms:
            first, last = points.times_ms.searchsorted((span.from_ms, span.to_ms))
            points = Points(points.times_ms[first:last], points.values[first:last])
        if len(points.times_ms):
            found.setdefault(number, []).append(points)
    return found


def _chunk_rows(connection: Connection, span: Span) -> Iterator[tuple[Any, ...]]:
    of_span = (chunks.c.hour_ms > span.from_ms - HOUR_MS) & (chunks.c.hour_ms < span.to_ms)
    if span.numbers is None:
        return driver_rows(connection, select(chunks).where(of_span).order_by(*chunks.primary_key))
    # Hour by hour, each found by its key: the hours of all other series are not walked over.
    ends = select(func.min(chunks.c.hour_ms)), select(func.max(chunks.c.hour_ms))
    first_ms, last_ms = (connection.execute(end.where(of_span)).scalar() for end in ends)
    if first_ms is None:
        return iter(())
    numbers = sorted(span.numbers)
    places = ",".join("?" * len(numbers))
    sql = (
        f"WITH RECURSIVE hours (at_ms) AS (VALUES (?) UNION ALL SELECT at_ms + {HOUR_MS} FROM hours "  # noqa: S608 - only the number of places varies
        f"WHERE at_ms + {HOUR_MS} <= ?) SELECT hour_ms, series_id, readings FROM hours CROSS JOIN chunks "
        f"ON hour_ms = at_ms AND series_id IN ({places})"
    )
    cursor = connection.exec_driver_sql(sql, (first_ms, last_ms, *numbers)).cursor
    assert cursor is not None
    return iter(cursor.fetchone, None)
