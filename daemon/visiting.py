"""What commands do beside a daemon that may be running: look at its store, and ask it for things.

The rule of this file: as in the wiring, each adapter is imported by the function that opens it.
"""

from collections.abc import Mapping
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wardian.daemon.config import Config
from wardian.daemon.configuration_kept import cautions
from wardian.daemon.own_troubles import own_troubles
from wardian.daemon.strangers import NOTE as STRANGERS
from wardian.daemon.strangers import listed
from wardian.daemon.tongue import Tongue, ms_of, utc_text
from wardian.daemon.wiring import CLOCK_NOTE, TIME_NOTE, lives, machine_clock, open_store
from wardian.rules.ports import JournalEntry, Store

if TYPE_CHECKING:
    from wardian.adapters.stores.lock import Holder
    from wardian.daemon.acts import Asked, Wish
    from wardian.daemon.care_today import Known
    from wardian.daemon.look import BenchNow
    from wardian.daemon.putting import Make, PutDown
    from wardian.daemon.trends import Trends
    from wardian.rules.records import Record


def _store_to_look_at(config: Config, opened: ExitStack) -> Store:
    """Open the store to look at; an empty one where nothing was watched yet.

    Raises:
        StoreFailed: It cannot be read.
    """
    from wardian.adapters.stores.memory import MemoryStore
    from wardian.adapters.stores.opening import database_path

    path = database_path(config.store_url, Path())
    if path is not None and not path.exists():
        return MemoryStore()
    return open_store(config, opened, read_only=True)


def look(config: Config, opened: ExitStack) -> tuple[Store, int]:
    """Open the store to look at; return it and what time it is at the bench.

    Raises:
        StoreFailed: It cannot be read.
    """
    from wardian.adapters.stores.opening import database_path

    store = _store_to_look_at(config, opened)
    path = database_path(config.store_url, Path())
    if path is None or not path.exists():
        return store, machine_clock().wall_ms()
    from wardian.adapters.stores.lock import holder

    return store, _time_there(config, store, is_running=holder(path) is not None)


def bench_now(config: Config) -> "BenchNow":
    """Return the present state of the bench, as far as the store knows it.

    Raises:
        StoreFailed: The store cannot be read.
    """
    from wardian.adapters.stores.memory import MemoryStore
    from wardian.adapters.stores.opening import database_path
    from wardian.daemon.look import bench_now as look
    from wardian.daemon.planning import with_records

    path = database_path(config.store_url, Path())
    if path is not None and not path.exists():
        return look(config, MemoryStore(), machine_clock().wall_ms(), {"words": ["nothing was watched yet"]})
    from wardian.adapters.stores.lock import holder

    held = holder(path) if path is not None else None
    with ExitStack() as opened:
        store = open_store(config, opened, read_only=True)
        now_ms = _time_there(config, store, is_running=held is not None)
        pid = held.pid if held else None
        config = with_records(config, store.records())
        return look(
            config,
            store,
            now_ms,
            {
                "pid": pid,
                "time": {"is_trusted": is_time_trusted(store.notes())},
                "words": _daemon_words(config, store, held, now_ms),
                "strangers": _strangers(store),
            },
        )


def _strangers(store: Store) -> dict[str, str]:
    """Return the sensors that are heard and that nobody configured, and when each was last heard."""
    return {name: utc_text(heard_ms) for name, heard_ms in store.notes().get(STRANGERS, {}).items()}


def trends(config: Config) -> "dict[str, Trends]":
    """Return, by tray and quantity, a line of the last day.

    Raises:
        StoreFailed: The store cannot be read.
    """
    from wardian.daemon.planning import with_records
    from wardian.daemon.trends import DAY_MS
    from wardian.daemon.trends import trends as lines

    with ExitStack() as opened:
        store, now_ms = look(config, opened)
        trays = with_records(config, store.records()).trays
        from_ms = now_ms - DAY_MS - max((tray.plan.hold_ms for tray in trays), default=0)
        return lines(trays, store.chunk(from_ms, now_ms), now_ms, Tongue.of(config.site))


def is_time_trusted(notes: Mapping[str, Any]) -> bool:
    """Return whether the time at the bench can be trusted, as far as the notes of a store say."""
    return bool(notes.get(TIME_NOTE, {}).get("is_trusted", True))


def _daemon_words(config: Config, store: Store, held: "Holder | None", now_ms: int) -> list[str]:
    from wardian.daemon.outbox import backlogs

    words = [f"watching (process {held.pid})" if held else "NOBODY IS WATCHING: wardian run is not running"]
    if held and held.trouble:
        words.append(f"NOTHING IS KEPT: {held.trouble}")
    words += [
        f"! {fields['message']} Since {Tongue.of(config.site).moment(ms_of(fields['since']))}."
        for fields in own_troubles(store.standing())
    ]
    latest = store.latest().values()
    if latest:
        newest_ms = max(reading.time_ms for reading in latest)
        words.append(f"last reading kept: {Tongue.of(config.site).moment(newest_ms)}")
    words += [
        f"{one.channel}: {one.words(Tongue.of(config.site).moment)}" for one in backlogs(store.waiting())
    ]
    notes = store.notes()
    words += [f"{name}: {state}" for name, state in sorted(notes.get("sensors", {}).items())]
    strangers = notes.get(STRANGERS, {})
    if strangers:
        # Who was heard last stands last in the note.
        words.append(f"heard, and not configured: {listed(reversed(strangers), 5)}")
    return words + cautions(config, notes, now_ms)


def database_of(config: Config) -> "Path | None":
    """Return the file in which a bench is kept, None where that is none."""
    from wardian.adapters.stores.opening import database_path

    return database_path(config.store_url, Path())


def another_watches(config: Config) -> bool:
    """Return whether another process watches a bench."""
    import os

    from wardian.adapters.stores.lock import holder

    path = database_of(config)
    held = holder(path) if path is not None else None
    return held is not None and held.pid != os.getpid()


def alarm_lives(config: Config) -> list[Mapping[str, Any]]:
    """Return the last entries of alarms that somebody has yet to deal with, or has set aside.

    Raises:
        StoreFailed: The store cannot be read.
    """
    with ExitStack() as opened:
        return lives(config, _store_to_look_at(config, opened), lambda: 0).listed()


def ask(config: Config, wish: "Wish", lasts_ms: int | None) -> "Asked":
    """Ask the daemon for what a person wants of alarms, for so long where it ends.

    Raises:
        NotToBeDone: It cannot be done.
        StoreFailed: The store cannot be read or written.
    """
    from wardian.adapters.stores.lock import holder
    from wardian.adapters.stores.opening import database_path
    from wardian.daemon.acts import Asked, NotToBeDone, acts

    path = database_path(config.store_url, Path())
    if path is None or not path.exists():
        raise NotToBeDone("nothing was watched yet; `wardian run` makes the database")
    is_watching = holder(path) is not None
    with ExitStack() as opened:
        store = open_store(config, opened, read_only=True)
        now_ms = _time_there(config, store, is_running=is_watching)
        wish = wish._replace(until_ms=None if lasts_ms is None else now_ms + lasts_ms)
        asked = acts(wish, config, lives(config, store, lambda: now_ms), now_ms)
        store.ask(list(asked))
    return Asked(asked, is_watching)


def put_on_record(config: Config, make: "Make") -> "PutDown":
    """Put on record what ``make`` returns in the light of all records and of what time it is at the bench.

    A database is made where there is none yet. What ``make`` raises is raised, and nothing is put on record.

    Raises:
        ValueError: Nothing is kept: the store is in memory.
        StoreFailed: The store cannot be read or written.
    """
    from wardian.adapters.stores.lock import holder
    from wardian.adapters.stores.opening import database_path
    from wardian.daemon.putting import PutDown

    path = database_path(config.store_url, Path())
    if path is None:
        raise ValueError("nothing is kept in memory:; name a file in store.url")
    is_there = path.exists()
    is_watching = is_there and holder(path) is not None
    with ExitStack() as opened:
        store = open_store(config, opened, read_only=is_there)
        now_ms = _time_there(config, store, is_running=is_watching)
        return PutDown(store.record(lambda known: make(known, now_ms)), is_watching)


def records(config: Config) -> list["Record"]:
    """Return all records there are, corrected ones included, in order of number.

    Raises:
        StoreFailed: The store cannot be read.
    """
    with ExitStack() as opened:
        return _store_to_look_at(config, opened).records()


def care_known(config: Config) -> "tuple[Known, int]":
    """Return what is known of the care of all trays, and what time it is at the bench.

    Raises:
        StoreFailed: The store cannot be read.
    """
    from wardian.daemon.care_seen_noted import seen_of
    from wardian.daemon.care_today import Known, by_tray
    from wardian.daemon.planning import with_records

    with ExitStack() as opened:
        store, now_ms = look(config, opened)
        records = store.records()
        plans = {tray.name: tray.plan for tray in with_records(config, records).trays}
        return Known(plans, by_tray(records), seen_of(store.notes())), now_ms


def alarm_entries(config: Config, *, everything: bool) -> list[JournalEntry]:
    """Return the present alarms, or the whole journal.

    Raises:
        StoreFailed: The store cannot be read.
    """
    with ExitStack() as opened:
        store = _store_to_look_at(config, opened)
        return store.journal() if everything else store.standing()


def last_entries(config: Config, count: int) -> list[JournalEntry]:
    """Return the newest entries of the journal, the newest last.

    Raises:
        StoreFailed: The store cannot be read.
    """
    with ExitStack() as opened:
        return _store_to_look_at(config, opened).journal(last=count)


def _time_there(config: Config, store: Store, *, is_running: bool) -> int:
    """Return what time it is at the bench: a simulated one has its own, which stops with the daemon.

    A real one goes by the machine's clock, unless that is behind what is known.
    """
    now_ms, notes = machine_clock().wall_ms(), store.notes()
    note = notes.get(CLOCK_NOTE)
    if not note:
        return now_ms
    if config.simulator is None and (not is_running or is_time_trusted(notes)):
        return int(max(now_ms, note["time_ms"]))
    passed_ms = (now_ms - note["machine_ms"]) * note["speed"] if is_running else 0
    return int(note["time_ms"] + max(passed_ms, 0))
