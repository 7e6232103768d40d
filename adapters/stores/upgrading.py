"""Bringing an older database up to the present schema.

The rule of this file: Alembic is imported here and nowhere else, and this file only when a step is due.
"""

from pathlib import Path
from typing import Final

from alembic import command
from alembic.config import Config
from alembic.util import CommandError
from sqlalchemy import Connection

from wardian.adapters.stores.packing import ADAPTER
from wardian.rules.errors import StoreFailed

_STEPS: Final = Path(__file__).with_name("migrations")


def upgrade(connection: Connection, steps: Path = _STEPS) -> None:
    """Take every step that is due, within the transaction that the connection is in.

    Raises:
        StoreFailed: No steps lead on from the schema that the database names.
    """
    config = Config()
    config.set_main_option("script_location", str(steps).replace("%", "%%"))
    config.attributes["connection"] = connection
    try:
        command.upgrade(config, "head")
    except CommandError as error:
        raise StoreFailed(ADAPTER, f"no way up from the schema of this database: {error}") from error
