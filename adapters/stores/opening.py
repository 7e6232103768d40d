"""The store that a configuration's ``store.url`` names.

The rule of this file: SQLAlchemy is imported only when a database is opened.
"""

from pathlib import Path
from typing import Final

from wardian.adapters.stores.memory import MemoryStore
from wardian.adapters.stores.packing import ADAPTER
from wardian.rules.errors import StoreFailed
from wardian.rules.kept import Mended
from wardian.rules.ports import Store

MEMORY: Final = "memory:"
ACCEPTED: Final = "accepted are sqlite:///FILE (a path, relative to the configuration's folder) and memory:"
_SQLITE: Final = "sqlite:///"


def database_path(url: str, base: Path) -> Path | None:
    """Return the file that a store's URL names, or None for the store in memory.

    Raises:
        ValueError: No store is meant by it; the text says what is accepted.
    """
    if url == MEMORY:
        return None
    name = url.removeprefix(_SQLITE)
    if name == url or not name or name.startswith(":") or "?" in name:
        raise ValueError(f"{_without_password(url)!r} names no store; {ACCEPTED}")
    return base / name


def open_store(url: str, base: Path, *, read_only: bool = False) -> Store:
    """Open the store that a URL names, its path being relative to ``base``.

    Raises:
        StoreFailed: There is no such kind of store, or it cannot be opened.
    """
    try:
        path = database_path(url, base)
    except ValueError as error:
        raise StoreFailed(ADAPTER, str(error)) from error
    if path is None:
        return MemoryStore()
    from wardian.adapters.stores.sql import SqlStore

    return SqlStore.open(path, read_only=read_only)


def open_whole_store(url: str, base: Path, backups: str, now_ms: int) -> tuple[Store, list[Mended]]:
    """Open the store to write; a damaged one is mended first, and what was done is told.

    ``backups`` is the folder of its backups, relative to its own.

    Raises:
        StoreFailed: There is no such kind of store, or it cannot be opened.
    """
    path = database_path(url, base)
    if path is None:
        return MemoryStore(), []
    from wardian.adapters.stores.mending import open_whole

    opened = open_whole(path, path.resolve().parent / backups, now_ms)
    return opened.store, opened.mended


def _without_password(url: str) -> str:
    """Return a URL of another kind down to its kind: what follows may hold a password."""
    kind, separator, rest = url.partition("://")
    return f"{kind}{separator}…" if "@" in rest else url
