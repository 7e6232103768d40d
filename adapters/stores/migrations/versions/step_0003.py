"""Records: what people say about trays and batches; care moves there from the journal, which keeps its entries."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

_CARE_OF_THE_JOURNAL = """
INSERT INTO records (kind, time_ms, recorded_ms, tray, batch, who, why, fields)
SELECT 'care', json_extract(fields, '$.since_ms'), time_ms, tray, '',
       json_extract(fields, '$.who'), json_extract(fields, '$.why'), json_object('event', event)
FROM journal WHERE condition = 'care' ORDER BY number
"""
_CARE_ASKED = """
INSERT INTO records (kind, time_ms, recorded_ms, tray, batch, who, why, fields)
SELECT 'care', asked_ms, asked_ms, tray, '', who, why, json_object('event', event)
FROM acts WHERE condition = 'care' ORDER BY number
"""


def upgrade() -> None:
    """Make the table of records and put on record the care that was told so far."""
    texts = ("tray", "batch", "who", "why", "fields")
    op.create_table(
        "records",
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("time_ms", sa.Integer, nullable=False),
        sa.Column("recorded_ms", sa.Integer, nullable=False),
        *(sa.Column(name, sa.Text, nullable=False) for name in texts),
        sa.Column("corrects", sa.Integer, nullable=True),
        sqlite_strict=True,
    )
    for change in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER records_refuses_{change.lower()} BEFORE {change} ON records "
            "BEGIN SELECT RAISE(ABORT, 'records are only ever added to'); END"
        )
    # Care that was told is taken up already; what was only asked is taken up by the next round.
    op.execute(_CARE_OF_THE_JOURNAL)
    op.execute(
        "INSERT INTO notes (name, value) "
        "SELECT 'records', CAST(max(number) AS TEXT) FROM records HAVING count(*) > 0"
    )
    op.execute(_CARE_ASKED)
    op.execute("DELETE FROM acts WHERE condition = 'care'")
