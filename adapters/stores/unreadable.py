"""Packed rows that cannot be read: found, and put aside so that all the others can be.

The rule of this file: what is put aside is on the disk elsewhere before it leaves the database, and what is
known of all readings is reckoned anew without it.
"""

import json
import os
import zlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, Table, delete, select, tuple_

from wardian.adapters.stores import sums
from wardian.adapters.stores.hours import Damaged, hour_unpacked, instants_number, instants_unpacked, opened
from wardian.adapters.stores.pieces import pieces_unpacked
from wardian.adapters.stores.reading_back import instants_of_hours
from wardian.adapters.stores.schema import chunks, instants, rollups
from wardian.adapters.stores.sqlite_file import driver_of
from wardian.rules.kept import Unreadable

#: Rows looked at in one transaction, so that the log of a busy database can be put away in between.
_ROWS: Final = 1_000
_FAILS: Final = (Damaged, ValueError, IndexError, zlib.error, OverflowError, MemoryError)
#: By table, the column that is packed.
_PACKED: Final = {"chunks": chunks.c.readings, "instants": instants.c.times, "rollups": rollups.c.pieces}
_THERE: Final = "SELECT 1 FROM instants WHERE hour_ms = ? AND number = ?"
Reading = Callable[[], AbstractContextManager[Connection]]
#: Reads one packed row by its key, or raises.
Reader = Callable[[tuple[int, int], bytes], Any]


def unreadable(reading: Reading, from_ms: int = 0, *, fully: bool = False) -> list[Unreadable]:
    """Return the packed rows of the hours from one on that cannot be read; looks at the check sum of each.

    ``fully`` unpacks each besides, which takes ten times as long and finds what was packed wrongly.
    """
    return [
        *_of_table(reading, instants, from_ms, _instants_reader if fully else _sealed_reader),
        *_of_table(reading, chunks, from_ms, _chunk_reader if fully else _sealed_chunk_reader),
        *_of_table(reading, rollups, from_ms, _pieces_reader if fully else _sealed_reader),
    ]


def put_aside(connection: Connection, rows: Sequence[Unreadable], out: Path) -> None:
    """Write packed rows to a file and take them out of the database, within the connection's transaction."""
    with out.open("x", encoding="utf-8") as file:
        for row in rows:
            file.write(json.dumps(_written(connection, row)) + "\n")
        file.flush()
        os.fsync(file.fileno())
    for row in rows:
        table = _PACKED[row.table].table
        connection.execute(delete(table).where(tuple_(*table.primary_key) == row.key))
    sums.reckon_anew(connection)


def _of_table(
    reading: Reading, table: Table, from_ms: int, reader: Callable[[Connection], Reader]
) -> Iterator[Unreadable]:
    # What is packed is the last column of each of these tables.
    key = tuple(table.primary_key)
    after = (-(2**62), -(2**62))
    while after is not None:
        query = select(table).where(tuple_(*key) > after, table.c.hour_ms >= from_ms)
        with reading() as connection:
            rows = connection.execute(query.order_by(*key).limit(_ROWS)).all()
            read = reader(connection)
            for first, second, *_, data in rows:
                try:
                    read((first, second), data)
                except _FAILS as error:
                    yield Unreadable(table.name, (first, second), str(error))
        if len(rows) < _ROWS:
            return
        after = rows[-1][0], rows[-1][1]


def _sealed_reader(_: Connection) -> Reader:
    return lambda _, data: opened(data)


def _instants_reader(_: Connection) -> Reader:
    return lambda key, data: instants_unpacked(data, key[0])


def _pieces_reader(_: Connection) -> Reader:
    return lambda key, data: pieces_unpacked(data, key[1])


def _chunk_reader(connection: Connection) -> Reader:
    instants_of = instants_of_hours(driver_of(connection))
    return lambda key, data: hour_unpacked(data, key[0], instants_of(key[0]))


def _sealed_chunk_reader(connection: Connection) -> Reader:
    """Return what looks at the check sum, and whether the instants that are told of elsewhere are there."""
    driver = driver_of(connection)

    @lru_cache(maxsize=_ROWS)
    def are_there(hour_ms: int, number: int) -> bool:
        return driver.execute(_THERE, (hour_ms, number)).fetchone() is not None

    def read(key: tuple[int, int], data: bytes) -> None:
        number = instants_number(data)
        if number and not are_there(key[0], number):
            raise Damaged("instants that were folded are missing")

    return read


def _written(connection: Connection, row: Unreadable) -> dict[str, Any]:
    packed = _PACKED[row.table]
    data = connection.execute(select(packed).where(tuple_(*packed.table.primary_key) == row.key)).scalar()
    names = [column.name for column in packed.table.primary_key]
    return {
        "table": row.table,
        **dict(zip(names, row.key, strict=True)),
        "packed": (data or b"").hex(),
        "why": row.why,
    }
