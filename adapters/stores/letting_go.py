"""What is too old is let go, the oldest hour first.

The rule of this file: one piece of work is one transaction that its caller opens and ends, and it leaves all that
sums up the rest true. The file does not shrink by it; its room is used again.
"""

from typing import Any, Final, NamedTuple

from sqlalchemy import Connection, Select, Table, delete, func, select
from sqlalchemy.dialects.sqlite import insert

from wardian.adapters.stores import sums
from wardian.adapters.stores.hours import HOUR_MS, readings_packed
from wardian.adapters.stores.packing import GONE_NOTE
from wardian.adapters.stores.reading_back import hour_of
from wardian.adapters.stores.schema import (
    chunks,
    instants,
    is_waiting,
    late,
    notes,
    outbox,
    readings,
    refused,
    rollups,
    series,
)
from wardian.rules.kept import Older

#: Messages, and refused readings, that go at once.
_AT_ONCE: Final = 500


class _Due(NamedTuple):
    """The oldest hours that are to go, and before when messages and refused readings are."""

    readings_ms: int | None
    rollups_ms: int | None
    messages: bool
    refused: bool


def is_due(connection: Connection, older: Older) -> bool:
    """Return whether anything is to be let go; looks without writing."""
    return _due(connection, older) != (None, None, False, False)


def let_go(connection: Connection, older: Older) -> None:
    """Let go of the oldest hour of each kind, and of some messages."""
    due = _due(connection, older)
    if due.readings_ms is not None:
        _readings_go(connection, due.readings_ms)
    if due.rollups_ms is not None:
        of_hour = rollups.c.hour_ms <= due.rollups_ms
        for number in connection.execute(select(series.c.id)).scalars().all():
            connection.execute(delete(rollups).where(rollups.c.series_id == number, of_hour))
    if due.messages and older.messages_ms is not None:
        _rows_go(connection, outbox, _old_messages(older.messages_ms))
    if due.refused and older.readings_ms is not None:
        _rows_go(connection, refused, _old_refused(older.readings_ms))


def gone_until_ms(connection: Connection) -> int:
    """Return before when hours were let go; far back where none were."""
    found = connection.execute(select(notes.c.value).where(notes.c.name == GONE_NOTE)).scalar()
    return -(2**63) if found is None else int(found)


def _due(connection: Connection, older: Older) -> _Due:
    return _Due(
        _oldest_of_readings(connection, older.readings_ms),
        _oldest_of_rollups(connection, older.rollups_ms),
        older.messages_ms is not None and _is_any(connection, _old_messages(older.messages_ms)),
        older.readings_ms is not None and _is_any(connection, _old_refused(older.readings_ms)),
    )


def _oldest_of_readings(connection: Connection, before_ms: int | None) -> int | None:
    """Return the oldest hour that has anything and ended before an instant, of those that are summed up."""
    if before_ms is None:
        return None
    until_ms = min(before_ms, sums.summed_until_ms(connection))
    firsts = (chunks.c.hour_ms, instants.c.hour_ms, readings.c.time_ms, late.c.time_ms)
    found = [connection.execute(select(func.min(first))).scalar() for first in firsts]
    hours_ms = [hour_of(first_ms) for first_ms in found if first_ms is not None]
    return min((hour_ms for hour_ms in hours_ms if hour_ms + HOUR_MS <= until_ms), default=None)


def _oldest_of_rollups(connection: Connection, before_ms: int | None) -> int | None:
    if before_ms is None:
        return None
    numbers = connection.execute(select(series.c.id)).scalars().all()
    first = select(func.min(rollups.c.hour_ms))
    found = [connection.execute(first.where(rollups.c.series_id == number)).scalar() for number in numbers]
    return min(
        (hour_ms for hour_ms in found if hour_ms is not None and hour_ms + HOUR_MS <= before_ms), default=None
    )


def _readings_go(connection: Connection, hour_ms: int) -> None:
    end_ms = hour_ms + HOUR_MS
    packed = connection.execute(select(chunks.c.readings).where(chunks.c.hour_ms == hour_ms)).scalars()
    count = sum(readings_packed(data) for data in packed)
    for table in (chunks, instants):
        connection.execute(delete(table).where(table.c.hour_ms == hour_ms))
    count += connection.execute(delete(readings).where(_within(readings, hour_ms, end_ms))).rowcount
    connection.execute(delete(late).where(_within(late, hour_ms, end_ms)))
    sums.take_off(connection, count, (hour_ms, end_ms))
    gone_ms = max(gone_until_ms(connection), end_ms)
    values = {"name": GONE_NOTE, "value": str(gone_ms)}
    connection.execute(insert(notes).values(values).on_conflict_do_update(set_={"value": str(gone_ms)}))


def _within(table: Table, from_ms: int, to_ms: int) -> Any:
    return (table.c.time_ms >= from_ms) & (table.c.time_ms < to_ms)


def _old_messages(before_ms: int) -> Select[Any]:
    """Return the numbers of old messages; the newest of all stays, as numbers are never used again."""
    newest = select(func.max(outbox.c.number)).scalar_subquery()
    ended_ms = func.coalesce(outbox.c.delivered_ms, outbox.c.given_up_ms)
    return select(outbox.c.number).where(~is_waiting, ended_ms < before_ms, outbox.c.number < newest)


def _old_refused(before_ms: int) -> Select[Any]:
    """Return the numbers of what was refused long ago; the newest of all stays, as it says how many there ever were."""
    newest = select(func.max(refused.c.number)).scalar_subquery()
    return select(refused.c.number).where(refused.c.refused_ms < before_ms, refused.c.number < newest)


def _is_any(connection: Connection, numbers: Select[Any]) -> bool:
    return connection.execute(numbers.limit(1)).first() is not None


def _rows_go(connection: Connection, table: Table, numbers: Select[Any]) -> None:
    some = connection.execute(numbers.order_by(table.c.number).limit(_AT_ONCE)).scalars().all()
    connection.execute(delete(table).where(table.c.number.in_(some)))
