"""The tables of the store as they are now.

The rule of this file: whatever changes here needs a step in ``migrations/versions`` that leads to
exactly the same tables, and one more on ``SCHEMA_VERSION``.

Readings are keyed by time first: forty series that come together then touch one page instead of
forty, which is what wears a memory card.
"""

from typing import Final

from sqlalchemy import (
    DDL,
    REAL,
    CheckConstraint,
    Column,
    Connection,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    PrimaryKeyConstraint,
    String,
    Table,
    Text,
    UniqueConstraint,
    event,
    insert,
)

#: Written in the file's header (PRAGMA application_id), so that no other program's file is taken for ours.
APPLICATION_ID: Final = int.from_bytes(b"tray")
#: Written in the file's header (PRAGMA user_version) and, as the step's name, where Alembic looks.
SCHEMA_VERSION: Final = 4

metadata = MetaData()


def _table(name: str, *parts: Column[object] | CheckConstraint | UniqueConstraint | Index) -> Table:
    return Table(name, metadata, *parts, sqlite_strict=True)


series = _table(
    "series",
    Column("id", Integer, primary_key=True),
    Column("tray", Text, nullable=False),
    Column("quantity", Text, nullable=False),
    UniqueConstraint("tray", "quantity"),
)

readings = Table(
    "readings",
    metadata,
    Column("time_ms", Integer, primary_key=True),
    Column("series_id", Integer, primary_key=True),
    Column("value", REAL, nullable=False),
    # Not a number is null to SQLite and refused as such; this refuses the infinite.
    CheckConstraint("abs(value) < 1e300"),
    sqlite_strict=True,
    sqlite_with_rowid=False,
)

#: Which readings came too late to be judged.
late = Table(
    "late",
    metadata,
    Column("time_ms", Integer, primary_key=True),
    Column("series_id", Integer, primary_key=True),
    sqlite_strict=True,
    sqlite_with_rowid=False,
)

#: Readings of closed hours, which have left ``readings``: an hour of a series a row. By the hour first, so
#: that a fold adds to the end.
chunks = Table(
    "chunks",
    metadata,
    Column("hour_ms", Integer, primary_key=True),
    Column("series_id", Integer, primary_key=True),
    Column("readings", LargeBinary, nullable=False),
    sqlite_strict=True,
    sqlite_with_rowid=False,
)

#: Instants that chunks of one hour share, found by the hour and a number that the chunks tell: sensors of a tray
#: are mostly read together, and when that was would else take more room than what was read.
instants = Table(
    "instants",
    metadata,
    Column("hour_ms", Integer, primary_key=True),
    Column("number", Integer, primary_key=True),
    Column("times", LargeBinary, nullable=False),
    sqlite_strict=True,
    sqlite_with_rowid=False,
)

#: Five-minute pieces of closed hours, an hour of a series a row, with what the next hour has to know:
#: the last reading and the limits it was beyond.
rollups = Table(
    "rollups",
    metadata,
    Column("series_id", Integer, primary_key=True),
    Column("hour_ms", Integer, primary_key=True),
    Column("last_ms", Integer, nullable=False),
    Column("last", REAL, nullable=False),
    Column("beyond", Text, nullable=False),
    Column("pieces", LargeBinary, nullable=False),
    sqlite_strict=True,
    sqlite_with_rowid=False,
)

#: One row: before when all hours are folded, but for what came later still.
folded = _table(
    "folded",
    Column("id", Integer, CheckConstraint("id = 1"), primary_key=True),
    Column("until_ms", Integer, nullable=False),
)

#: One row: how many readings there are before ``until_ms``. Moved on about once an hour of readings,
#: for a page written with every commit would wear the card more than the readings do.
summed_up = _table(
    "summed_up",
    Column("id", Integer, CheckConstraint("id = 1"), primary_key=True),
    Column("until_ms", Integer, nullable=False),
    Column("readings", Integer, nullable=False),
)

#: The newest reading of each series among those before ``summed_up.until_ms``.
newest = _table(
    "newest",
    Column("series_id", Integer, ForeignKey("series.id"), primary_key=True),
    Column("time_ms", Integer, nullable=False),
)

journal = _table(
    "journal",
    Column("number", Integer, primary_key=True),
    Column("time_ms", Integer, nullable=False),
    Column("tray", Text, nullable=False),
    Column("quantity", Text, nullable=False),
    Column("condition", Text, nullable=False),
    Column("event", Text, nullable=False),
    Column("fields", Text, nullable=False),
    Index("journal_by_alarm", "tray", "quantity", "condition", "number"),
)

#: What people say about trays and batches.
records = _table(
    "records",
    Column("number", Integer, primary_key=True),
    Column("kind", Text, nullable=False),
    Column("time_ms", Integer, nullable=False),
    Column("recorded_ms", Integer, nullable=False),
    Column("tray", Text, nullable=False),
    Column("batch", Text, nullable=False),
    Column("who", Text, nullable=False),
    Column("why", Text, nullable=False),
    Column("fields", Text, nullable=False),
    Column("corrects", Integer),
)

for _kept, _words in ((journal, "the journal is"), (records, "records are")):
    for _change in ("UPDATE", "DELETE"):
        _refusal = (
            f"CREATE TRIGGER {_kept.name}_refuses_{_change.lower()} BEFORE {_change} ON {_kept.name} "
            f"BEGIN SELECT RAISE(ABORT, '{_words} only ever added to'); END"
        )
        event.listen(_kept, "after_create", DDL(_refusal))  # type: ignore[no-untyped-call] # SQLAlchemy's gap

outbox = _table(
    "outbox",
    Column("number", Integer, primary_key=True),
    Column("channel", Text, nullable=False),
    Column("key", Text, nullable=False),
    Column("subject", Text, nullable=False),
    Column("body", Text, nullable=False),
    Column("fields", Text, nullable=False),
    Column("created_ms", Integer, nullable=False),
    Column("attempts", Integer, nullable=False),
    Column("due_ms", Integer, nullable=False),
    Column("last_error", Text, nullable=False),
    Column("delivered_ms", Integer),
    Column("given_up_ms", Integer),
    UniqueConstraint("channel", "key"),
)
#: A message that is still to be sent.
is_waiting = outbox.c.delivered_ms.is_(None) & outbox.c.given_up_ms.is_(None)
Index("outbox_waiting", outbox.c.due_ms, sqlite_where=is_waiting)

states = _table(
    "states",
    Column("tray", Text, primary_key=True),
    Column("state", LargeBinary, nullable=False),
)

notes = _table(
    "notes",
    Column("name", Text, primary_key=True),
    Column("value", Text, nullable=False),
)

refused = _table(
    "refused",
    Column("number", Integer, primary_key=True),
    Column("refused_ms", Integer, nullable=False),
    Column("source", Text, nullable=False),
    Column("why", Text, nullable=False),
    Column("raw", Text, nullable=False),
    Column("time_ms", Integer),
    Column("tray", Text),
    Column("quantity", Text),
)

#: What people want of alarms, until the daemon has done it.
acts = _table(
    "acts",
    Column("number", Integer, primary_key=True),
    Column("asked_ms", Integer, nullable=False),
    Column("tray", Text, nullable=False),
    Column("quantity", Text, nullable=False),
    Column("condition", Text, nullable=False),
    Column("event", Text, nullable=False),
    Column("who", Text, nullable=False),
    Column("why", Text, nullable=False),
    Column("until_ms", Integer),
)

#: Alembic's own table, exactly as Alembic would make it.
alembic_version = Table(
    "alembic_version",
    metadata,
    Column("version_num", String(32), nullable=False),
    PrimaryKeyConstraint("version_num", name="alembic_version_pkc"),
)


def create(connection: Connection) -> None:
    """Make every table in an empty database, and stamp it, within the connection's transaction."""
    metadata.create_all(connection, checkfirst=False)
    connection.execute(insert(alembic_version).values(version_num=f"{SCHEMA_VERSION:04d}"))
    stamp(connection)


def stamp(connection: Connection) -> None:
    """Write whose file this is and which schema it has into its header."""
    connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.exec_driver_sql(f"PRAGMA user_version = {SCHEMA_VERSION}")
