"""What is broken in a database: its pages, what rows hang on, and what is written in them.

The rule of this file: all is looked at and nothing is changed. SQLite has no check sums: a number or a word that
became another one in its place is not found; in packed hours it is (``unreadable.py``).
"""

import json
import sqlite3
import zlib
from collections.abc import Iterator
from itertools import islice
from typing import Final

from wardian.adapters.stores.packing import state_of

#: So many are told.
_MOST: Final = 10
#: Tables of words, and which of their columns is JSON.
_WORDS: Final = {
    "series": None,
    "journal": "fields",
    "records": "fields",
    "outbox": "fields",
    "notes": "value",
    "refused": None,
    "acts": None,
}
_STRANGE: Final = (UnicodeDecodeError, ValueError, RecursionError, zlib.error)


def flaws_of(connection: sqlite3.Connection) -> list[str]:
    """Return what is broken in a database of ours, whatever its schema; nothing if it is whole. Reads all of it."""
    # Pages first, and all of the check: a quick one leaves out the order of keys.
    found = [str(row[0]) for row in connection.execute(f"PRAGMA integrity_check({_MOST})")]
    if found != ["ok"]:
        return found
    factory, connection.text_factory = connection.text_factory, bytes
    try:
        return list(islice(_in_rows(connection), _MOST))
    finally:
        connection.text_factory = factory


def _in_rows(connection: sqlite3.Connection) -> Iterator[str]:
    for row in connection.execute("PRAGMA foreign_key_check"):
        yield f"a row of {row[0].decode()} hangs on nothing"
    there = {row[0].decode() for row in connection.execute("SELECT name FROM sqlite_master")}
    for table, column in _WORDS.items():
        if table in there:
            yield from _in_words(connection, table, column)
    if "states" in there:
        for tray, state in connection.execute("SELECT tray, state FROM states"):
            try:
                state_of(state)
            except _STRANGE:
                yield f"the state of {tray!r} cannot be read"


def _in_words(connection: sqlite3.Connection, table: str, column: str | None) -> Iterator[str]:
    rows = connection.execute(f"SELECT * FROM {table}")  # noqa: S608 - names of our own tables
    names = [part[0] for part in rows.description]
    place = None if column is None else names.index(column)
    for row in rows:
        try:
            texts = [value.decode() if isinstance(value, bytes) else value for value in row]
            if place is not None:
                json.loads(str(texts[place]))
        except _STRANGE:
            yield f"a row of {table} has words that cannot be read"
