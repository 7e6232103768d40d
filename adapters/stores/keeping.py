"""One round written into the tables, within a transaction that its caller opens and ends.

The hot part is the insert of readings: many rows a statement, straight to the driver. Everything
else in a round is rare.
"""

from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from typing import Any, Final

from sqlalchemy import Connection, Table, delete, func, insert, select
from sqlalchemy.dialects.sqlite import insert as insert_or

from wardian.adapters.stores import schema, sums
from wardian.adapters.stores.packing import REFUSED_LIMIT, Packed, Row
from wardian.adapters.stores.reading_back import Key, not_in_chunks
from wardian.rules.ports import Kept, Round
from wardian.rules.readings import Reading

#: Readings a statement: more gain little, and fewer different statements stay prepared.
_BATCH: Final = 100


class Keeper:
    """Writes rounds, and remembers between them what it would else look up for each.

    After a transaction that was not committed, ``forget`` what was learnt in it.
    """

    def __init__(self) -> None:
        self._numbers: dict[tuple[str, str], int] = {}
        self._summed_until_ms: int | None = None

    def forget(self) -> None:
        """Look everything up again."""
        self._numbers = {}
        self._summed_until_ms = None

    def keep(self, connection: Connection, round_: Round, packed: Packed) -> Kept:
        """Write one round; the caller commits it."""
        offered = len(round_.readings) + len(round_.late)
        added = self._keep_readings(connection, round_) if offered else 0
        _keep_rest(connection, packed)
        return Kept(added, offered - added)

    def _keep_readings(self, connection: Connection, round_: Round) -> int:
        if self._summed_until_ms is None:
            self._summed_until_ms = sums.summed_until_ms(connection)
        until_ms = self._summed_until_ms
        flat = self._flat(connection, round_.readings)
        late = self._flat(connection, round_.late)
        if min(flat[::3], default=until_ms) < until_ms:
            added = self._keep_told(connection, flat)
        else:
            added = _insert(connection, flat)
        added += self._keep_told(connection, late, are_late=True)
        newest_ms = max(max(flat[::3], default=until_ms), max(late[::3], default=until_ms))
        self._summed_until_ms = sums.move_on(connection, until_ms, newest_ms)
        return added

    def _keep_told(self, connection: Connection, flat: list[Any], *, are_late: bool = False) -> int:
        """Insert readings of which it must be known which ones were new; this takes longer."""
        keys = _insert_and_tell(connection, not_in_chunks(connection, flat)) if flat else []
        if are_late and keys:
            marks = [{"time_ms": time_ms, "series_id": series_id} for time_ms, series_id in keys]
            connection.execute(insert(schema.late), marks)
        sums.add(connection, [key for key in keys if key[0] < (self._summed_until_ms or 0)])
        return len(keys)

    def _flat(self, connection: Connection, readings: Sequence[Reading]) -> list[Any]:
        """Return time, series and value of all readings in one list, as a statement takes them."""
        try:
            return _flattened(readings, self._numbers)
        except KeyError:
            self._number_series(connection, readings)
            return _flattened(readings, self._numbers)

    def _number_series(self, connection: Connection, readings: Iterable[Reading]) -> None:
        stored = connection.execute(
            select(schema.series.c.tray, schema.series.c.quantity, schema.series.c.id)
        )
        self._numbers = {(tray, quantity): number for tray, quantity, number in stored}
        for tray, quantity in dict.fromkeys((one.tray, one.quantity) for one in readings):
            if (tray, quantity) not in self._numbers:
                statement = insert(schema.series).values(tray=tray, quantity=quantity)
                number = connection.execute(statement.returning(schema.series.c.id)).scalar_one()
                self._numbers[tray, quantity] = number


def _flattened(readings: Iterable[Reading], numbers: Mapping[tuple[str, str], int]) -> list[Any]:
    flat: list[Any] = []
    for time_ms, tray, quantity, value in readings:
        flat += (time_ms, numbers[tray, quantity], value)
    return flat


def _insert(connection: Connection, flat: list[Any]) -> int:
    """Insert readings that are not there yet, and return how many that were."""
    added = 0
    for start in range(0, len(flat), 3 * _BATCH):
        part = tuple(flat[start : start + 3 * _BATCH])
        added += connection.exec_driver_sql(_insert_sql(len(part) // 3), part).rowcount
    return added


def _insert_and_tell(connection: Connection, flat: list[Any]) -> list[Key]:
    """Insert readings that are not there yet, and return which ones that were."""
    keys: list[Key] = []
    for start in range(0, len(flat), 3 * _BATCH):
        part = tuple(flat[start : start + 3 * _BATCH])
        sql = f"{_insert_sql(len(part) // 3)} RETURNING time_ms, series_id"
        keys += ((time_ms, series_id) for time_ms, series_id in connection.exec_driver_sql(sql, part))
    return keys


@cache
def _insert_sql(rows: int) -> str:
    # Unlike OR IGNORE this passes over repeats only: what is no number still fails.
    places = ",".join(["(?,?,?)"] * rows)
    return f"INSERT INTO readings (time_ms, series_id, value) VALUES {places} ON CONFLICT DO NOTHING"  # noqa: S608 - only the number of places varies


def _keep_rest(connection: Connection, packed: Packed) -> None:
    if packed.journal:
        connection.execute(insert(schema.journal), packed.journal)
    if packed.outbox:
        connection.execute(insert_or(schema.outbox).on_conflict_do_nothing(), packed.outbox)
    _overwrite(connection, schema.states, "state", packed.states)
    _overwrite(connection, schema.notes, "value", packed.notes)
    if packed.acts_done:
        connection.execute(delete(schema.acts).where(schema.acts.c.number.in_(packed.acts_done)))
    if packed.records:
        connection.execute(insert(schema.records), packed.records)
    if packed.refused:
        connection.execute(insert(schema.refused), packed.refused)
        newest = select(func.max(schema.refused.c.number)).scalar_subquery()
        connection.execute(delete(schema.refused).where(schema.refused.c.number <= newest - REFUSED_LIMIT))


def _overwrite(connection: Connection, table: Table, column: str, rows: list[Row]) -> None:
    if rows:
        statement = insert_or(table)
        statement = statement.on_conflict_do_update(set_={column: statement.excluded[column]})
        connection.execute(statement, rows)
