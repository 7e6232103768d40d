"""What there is to say of where things are kept: room, age, damage."""

from typing import NamedTuple


class Room(NamedTuple):
    """How much room there is where things are kept, and whether some is held back for what must be said."""

    free_bytes: int
    has_reserve: bool


class Older(NamedTuple):
    """Before when what was kept is let go; None: it stays for good.

    With readings go late marks and what was refused; messages go that ended. The last hours of all stay, the journal
    and records for good. What comes late for an hour that went is not rolled up.
    """

    readings_ms: int | None = None
    rollups_ms: int | None = None
    messages_ms: int | None = None


class Unreadable(NamedTuple):
    """A packed row that cannot be read: its table, its key in order of the columns, and why."""

    table: str
    key: tuple[int, int]
    why: str


class Mended(NamedTuple):
    """What was wrong with the database as it was opened, and what became of it.

    ``what`` is ``database`` (put aside, a backup of ``backup_ms`` taken in or a new one begun), ``log`` (put aside),
    ``missing log`` (nothing could be done) or ``hours`` (some packed ones put aside). ``aside`` is where it lies now.
    """

    what: str
    why: str
    aside: str = ""
    backup_ms: int | None = None
