"""Closed hours: their readings in chunks, and what they came to in pieces of five minutes."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Make the tables that hours are folded into; the daemon folds what there is, bit by bit."""
    op.create_table(
        "chunks",
        sa.Column("hour_ms", sa.Integer, primary_key=True),
        sa.Column("series_id", sa.Integer, primary_key=True),
        sa.Column("readings", sa.LargeBinary, nullable=False),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "instants",
        sa.Column("hour_ms", sa.Integer, primary_key=True),
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("times", sa.LargeBinary, nullable=False),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "rollups",
        sa.Column("series_id", sa.Integer, primary_key=True),
        sa.Column("hour_ms", sa.Integer, primary_key=True),
        sa.Column("last_ms", sa.Integer, nullable=False),
        sa.Column("last", sa.REAL, nullable=False),
        sa.Column("beyond", sa.Text, nullable=False),
        sa.Column("pieces", sa.LargeBinary, nullable=False),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    op.create_table(
        "folded",
        sa.Column("id", sa.Integer, sa.CheckConstraint("id = 1"), primary_key=True),
        sa.Column("until_ms", sa.Integer, nullable=False),
        sqlite_strict=True,
    )
