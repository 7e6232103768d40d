"""The first tables: readings, journal, outbox, states, notes and what was refused."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make every table of the first schema."""
    _readings()
    _sums()
    _journal()
    _outbox()
    _states()
    _refused()


def _id(name: str) -> sa.Column[int]:
    return sa.Column(name, sa.Integer, primary_key=True)


def _whole(name: str, *, nullable: bool = False) -> sa.Column[int]:
    return sa.Column(name, sa.Integer, nullable=nullable)


def _text(name: str, *, nullable: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.Text, nullable=nullable)


def _readings() -> None:
    op.create_table(
        "series",
        _id("id"),
        _text("tray"),
        _text("quantity"),
        sa.UniqueConstraint("tray", "quantity"),
        sqlite_strict=True,
    )
    op.create_table(
        "readings",
        _id("time_ms"),
        _id("series_id"),
        sa.Column("value", sa.REAL, nullable=False),
        sa.CheckConstraint("abs(value) < 1e300"),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table("late", _id("time_ms"), _id("series_id"), sqlite_strict=True, sqlite_with_rowid=False)


def _sums() -> None:
    op.create_table(
        "summed_up",
        sa.Column("id", sa.Integer, sa.CheckConstraint("id = 1"), primary_key=True),
        _whole("until_ms"),
        _whole("readings"),
        sqlite_strict=True,
    )
    op.create_table(
        "newest",
        sa.Column("series_id", sa.Integer, sa.ForeignKey("series.id"), primary_key=True),
        _whole("time_ms"),
        sqlite_strict=True,
    )


def _journal() -> None:
    op.create_table(
        "journal",
        _id("number"),
        _whole("time_ms"),
        *map(_text, ("tray", "quantity", "condition", "event", "fields")),
        sqlite_strict=True,
    )
    op.create_index("journal_by_alarm", "journal", ["tray", "quantity", "condition", "number"])
    for change in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER journal_refuses_{change.lower()} BEFORE {change} ON journal "
            "BEGIN SELECT RAISE(ABORT, 'the journal is only ever added to'); END"
        )


def _outbox() -> None:
    op.create_table(
        "outbox",
        _id("number"),
        *map(_text, ("channel", "key", "subject", "body", "fields")),
        *map(_whole, ("created_ms", "attempts", "due_ms")),
        _text("last_error"),
        _whole("delivered_ms", nullable=True),
        _whole("given_up_ms", nullable=True),
        sa.UniqueConstraint("channel", "key"),
        sqlite_strict=True,
    )
    waiting = sa.text("delivered_ms IS NULL AND given_up_ms IS NULL")
    op.create_index("outbox_waiting", "outbox", ["due_ms"], sqlite_where=waiting)


def _states() -> None:
    op.create_table(
        "states",
        sa.Column("tray", sa.Text, primary_key=True),
        sa.Column("state", sa.LargeBinary, nullable=False),
        sqlite_strict=True,
    )
    op.create_table("notes", sa.Column("name", sa.Text, primary_key=True), _text("value"), sqlite_strict=True)


def _refused() -> None:
    op.create_table(
        "refused",
        _id("number"),
        _whole("refused_ms"),
        *map(_text, ("source", "why", "raw")),
        _whole("time_ms", nullable=True),
        _text("tray", nullable=True),
        _text("quantity", nullable=True),
        sqlite_strict=True,
    )
