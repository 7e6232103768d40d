"""The rows of an era moved to where they belong, within a transaction that its caller opens and ends.

The rule of this file: rows are moved in two steps, through times before 1970, so that none meets another on its way.
"""

import json
from typing import Any, Final

from sqlalchemy import Connection, Table, select, update

from wardian.adapters.stores import schema, sums
from wardian.adapters.stores.packing import moved_entry, moved_packed, moved_text, to_json
from wardian.adapters.stores.reading_back import hour_of
from wardian.rules.moving import Moving, moved_json

#: Columns of instants that are moved one by one.
_TIMES: Final = (
    (schema.refused, ("refused_ms", "time_ms")),
    (schema.outbox, ("created_ms", "due_ms", "delivered_ms", "given_up_ms")),
)
_UNCHANGEABLE: Final = (
    "SELECT sql FROM sqlite_master WHERE type = 'trigger' AND name = 'journal_refuses_update'"
)


def move(connection: Connection, moving: Moving) -> None:
    """Move all that was kept of an era; the caller commits it."""
    for table in (schema.readings, schema.late):
        _move_keys(connection, table, moving)
    sums.move(connection, moving)
    # Hours of where the era was count as folded only for there was nothing in them.
    until_ms = hour_of(min(moving.from_ms, moving.begin_ms))
    folded = schema.folded
    connection.execute(update(folded).where(folded.c.until_ms > until_ms).values(until_ms=until_ms))
    _move_journal(connection, moving)
    _move_fields_of_messages(connection, moving)
    for table, names in _TIMES:
        for name in names:
            column = table.c[name]
            connection.execute(
                update(table).where(column >= moving.from_ms).values({name: column + moving.by_ms})
            )
    for tray, state in connection.execute(select(schema.states)).all():
        one = update(schema.states).where(schema.states.c.tray == tray)
        connection.execute(one.values(state=moved_packed(state, moving)))
    for name, value in connection.execute(select(schema.notes)).all():
        note = update(schema.notes).where(schema.notes.c.name == name)
        connection.execute(note.values(value=moved_text(value, moving)))


def _move_keys(connection: Connection, table: Table, moving: Moving) -> None:
    time_ms = table.c.time_ms
    away = update(table).where(time_ms >= moving.from_ms).values(time_ms=-(time_ms + moving.by_ms))
    connection.execute(away)
    connection.execute(update(table).where(time_ms < 0).values(time_ms=-time_ms))


def _move_journal(connection: Connection, moving: Moving) -> None:
    """Move entries; for this once the journal may be changed."""
    journal = schema.journal
    refusal = connection.exec_driver_sql(_UNCHANGEABLE).scalar_one()
    connection.exec_driver_sql("DROP TRIGGER journal_refuses_update")
    rows = connection.execute(select(journal).where(journal.c.time_ms >= moving.from_ms)).mappings().all()
    for row in rows:
        moved = moved_entry(dict(row), moving)
        connection.execute(update(journal).where(journal.c.number == row["number"]).values(moved))
    connection.exec_driver_sql(refusal)


def _move_fields_of_messages(connection: Connection, moving: Moving) -> None:
    outbox = schema.outbox
    of_era = select(outbox.c.number, outbox.c.fields).where(outbox.c.created_ms >= moving.from_ms)
    for number, fields in connection.execute(of_era).all():
        moved: Any = moved_json(json.loads(fields), moving)
        connection.execute(update(outbox).where(outbox.c.number == number).values(fields=to_json(moved)))
