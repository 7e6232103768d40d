"""The store opened for the watch, and what looks after it; what commands do to the whole of it.

The rule of this file: as in the wiring, each adapter is imported by the function that needs it.
"""

from contextlib import ExitStack, closing
from pathlib import Path
from typing import TYPE_CHECKING, Final, NamedTuple

from wardian.daemon.config import Config
from wardian.daemon.config_store import BackupKeys
from wardian.daemon.own_troubles import OwnTroubles
from wardian.daemon.store_words import mended_words
from wardian.daemon.tongue import Tongue
from wardian.rules.errors import AdapterError, StoreDamaged
from wardian.rules.kept import Mended
from wardian.rules.ports import Clock, Store

if TYPE_CHECKING:
    from wardian.daemon.beside import Beside
    from wardian.daemon.loop import Loop

#: The note that says whether a bench is real.
BENCH_NOTE: Final = "bench"
REAL: Final = "real"
#: While it stands nothing is let go: what is old by a wrong clock is not old.
UNSURE_OF_TIME: Final = "time-not-trusted"


def open_to_watch(
    config: Config, opened: ExitStack, now_ms: int, *, is_looked_at: bool = False
) -> tuple[Store, list[Mended]]:
    """Open the store of a watch, mended if need be; it is closed with ``opened``.

    One that this process has looked at from end to end is not looked at again, which can take minutes.

    Raises:
        StoreFailed: It cannot be opened, or belongs to another daemon.
    """
    from wardian.adapters.stores.opening import open_store, open_whole_store

    mended: list[Mended] = []
    if is_looked_at:
        store = open_store(config.store_url, Path())
    else:
        store, mended = open_whole_store(config.store_url, Path(), config.store.backup.folder, now_ms)
    opened.callback(store.close)
    return store, mended


def refuse_pretence(config: Config, store: Store) -> None:
    """Keep pretended readings out of what a real bench was kept in.

    Raises:
        AdapterError: There are some of a real bench, and a simulator is configured.
    """
    if config.simulator is not None and store.notes().get(BENCH_NOTE) == REAL:
        why = "holds the readings of a real bench, and pretended ones must not come among them"
        raise AdapterError("store", f"{config.store_url} {why}; name another file in store.url")


def bench_note(config: Config) -> dict[str, str]:
    """Return the note that says whose readings are kept."""
    return {BENCH_NOTE: REAL if config.simulator is None else "pretended"}


class Around(NamedTuple):
    """What is there already when the care of the store is opened."""

    config: Config
    store: Store
    loop: "Loop"
    troubles: OwnTroubles
    machine: Clock


def store_care(around: Around, mended: list[Mended], opened: ExitStack) -> "list[Beside]":
    """Return what looks after the store in the rounds, having said what was mended; it is stopped with ``opened``."""
    from wardian.daemon.nightly import DAMAGED, Night, Nightly
    from wardian.daemon.store_room import StoreRoom

    config, store, loop, troubles, _ = around
    moment = Tongue.of(config.site).moment
    if mended:
        troubles.happened(DAMAGED, "; ".join(mended_words(one, moment) for one in mended))
    if config.simulator is not None and config.simulator.speed != 1:
        return [StoreRoom(store, troubles)]  # nights of a hurried clock follow each other within minutes
    keys = config.store.backup
    at = BackupKeys().at if keys.at is None else keys.at
    assert at is not None
    copies = None if keys.at is None else copies_of(config)
    nightly = Nightly(Night(at, config.site.zone, moment, copies), store, troubles, store.notes())
    nightly.is_ready = lambda: loop.is_sure
    opened.callback(nightly.stop)
    return [StoreRoom(store, troubles), nightly, *_letting_go(around)]


def _letting_go(around: Around) -> "list[Beside]":
    """Return what lets old things go, where anything is to go at all."""
    keys = around.config.store.keep
    if keys.readings is None and keys.rollups is None and keys.messages is None:
        return []
    from wardian.daemon.letting_go import LettingGo

    letting_go = LettingGo(around.store, around.loop, keys, around.machine)
    letting_go.is_sure = lambda: UNSURE_OF_TIME not in around.troubles.standing()
    return [letting_go]


class Copies:
    """The backups of the configured store."""

    def __init__(self, database: Path, keys: BackupKeys) -> None:
        """Keep so many of them in the folder that the keys name."""
        self.database = database
        self.folder = database.parent / keys.folder
        self._keep = keys.keep

    def add(self, now_ms: int) -> str:
        """Make a backup and let the oldest go; return its path.

        Raises:
            StoreFailed: It cannot be made; older ones are as they were.
        """
        out = self.next(now_ms)
        self.write(out)
        self.let_oldest_go()
        return str(out)

    def next(self, now_ms: int) -> Path:
        """Return what a backup of now is called."""
        from wardian.adapters.stores.copies import backup_path

        return backup_path(self.folder, self.database, now_ms)

    def write(self, out: Path) -> int:
        """Write a copy to a path; return its size in bytes.

        Raises:
            StoreFailed: It cannot be made.
        """
        from wardian.adapters.stores.copies import back_up

        return back_up(self.database, out)

    def let_oldest_go(self) -> list[Path]:
        """Delete the oldest backups that are too many; return which.

        Raises:
            StoreFailed: One cannot be deleted.
        """
        from wardian.adapters.stores.copies import keep_newest
        from wardian.adapters.stores.failures import explaining

        with explaining(self.folder):
            return keep_newest(self.folder, self.database, self._keep)


def copies_of(config: Config) -> Copies | None:
    """Return the backups of the configured store; None where nothing is kept in a file."""
    from wardian.adapters.stores.opening import database_path

    path = database_path(config.store_url, Path())
    return None if path is None else Copies(path.resolve(), config.store.backup)


def flaws(database: Path) -> tuple[list[str], int]:
    """Look at all that is kept, beside whoever writes it; return what is wrong with it, and how many readings there are.

    Raises:
        StoreFailed: It cannot be looked at.
    """
    from wardian.adapters.stores.sql import SqlStore

    try:
        with closing(SqlStore.open(database, read_only=True)) as store:
            damage = store.damage()
            if damage:
                return [damage], 0
            rows = store.unreadable(fully=True)
            found = [f"{one.table}, hour and series {one.key}: {one.why}" for one in rows]
            return found, 0 if found else store.counts()["readings"]
    except StoreDamaged as error:
        return [error.why], 0


def restore(database: Path, copy: Path, now_ms: int) -> Path | None:
    """Put a backup in place of the database; return what the database was put aside as, if there was any.

    Raises:
        StoreFailed: A daemon has the database, or the backup is not whole; nothing was changed.
    """
    from wardian.adapters.stores.copies import copied, flaw_of, put_aside, put_in_place
    from wardian.adapters.stores.failures import explaining, failed
    from wardian.adapters.stores.lock import DatabaseLock

    if copy.exists() and database.exists() and copy.samefile(database):
        raise failed(database, "cannot be restored from itself")
    lock = DatabaseLock.take(database)
    try:
        flaw = flaw_of(copy)
        if flaw:
            raise failed(copy, f"is no backup that can be taken in: {flaw}")
        with explaining(database), copied(copy, database) as part:
            is_there = any(Path(f"{database}{part}").exists() for part in ("", "-wal"))
            aside = put_aside(database, "replaced", now_ms) if is_there else None
            put_in_place(part, database)
        lock.mark_made()
        lock.mark_whole()
    finally:
        lock.release()
    return aside
