"""Acts: what people want of alarms, until the daemon has done it."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make the table of acts."""
    texts = ("tray", "quantity", "condition", "event", "who", "why")
    op.create_table(
        "acts",
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("asked_ms", sa.Integer, nullable=False),
        *(sa.Column(name, sa.Text, nullable=False) for name in texts),
        sa.Column("until_ms", sa.Integer, nullable=True),
        sqlite_strict=True,
    )
