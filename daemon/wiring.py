"""The only place that opens adapters and the simulator: what a configuration names becomes a thing.

The rule of this file: each adapter is imported by the function that opens it, so that what a
configuration does not use is never loaded.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from wardian.daemon.config import Config, load
from wardian.daemon.lives import Lives, alarm_of
from wardian.daemon.tongue import Tongue
from wardian.daemon.words import Teller, TrayWords
from wardian.rules.documents import Path as Place
from wardian.rules.documents import dotted
from wardian.rules.errors import BadConfig, Mistake, StoreFailed
from wardian.rules.ports import Clock, JournalEntry, Sensor, Store

if TYPE_CHECKING:
    from wardian.adapters.stores.lock import Holder
    from wardian.daemon.acts import Asked, Wish
    from wardian.daemon.bench_watch import Watch
    from wardian.daemon.chronicle import Chronicle
    from wardian.daemon.library import Library
    from wardian.daemon.look import BenchNow
    from wardian.daemon.telling import Telling
    from wardian.rules.ports import Act

#: The note in which a simulated bench leaves its time.
CLOCK_NOTE: Final = "clock"
LONGEST_QUIET_S: Final = 60.0


def load_config(path: Path) -> Config:
    """Return the configuration in a YAML file.

    Raises:
        BadConfig: It cannot be used, with every mistake in it.
    """
    from wardian.adapters.yaml_file import parse

    config = load(path, parse)
    mistakes = [
        Mistake(dotted(place), config.document.line(place), why) for place, why in _strange_files(config)
    ]
    if mistakes:
        raise BadConfig(str(path), mistakes)
    return config


def crop_library() -> "Library":
    """Return the library that comes with the program, for whoever has no configuration."""
    from wardian.adapters.yaml_file import parse
    from wardian.daemon.library import library

    return library(parse)


def _strange_files(config: Config) -> Iterator[tuple[Place, str]]:
    """Yield the files of kernel sensors that mean nothing, or not that quantity, and why."""
    for number, keys in enumerate(config.sensors):
        if keys.kind != "kernel":
            continue
        from wardian.adapters.sensors.kernel import KernelChannel

        for place, channel in enumerate(keys.channels):
            try:
                KernelChannel(channel.tray, channel.quantity, channel.file)
            except ValueError as error:
                yield ("sensors", number, "channels", place, "file"), str(error)


def teller(config: Config, channels: Sequence[str] = (), on_due: Callable[[], None] = lambda: None) -> Teller:
    """Return what puts alarms into words, for some channels."""
    trays = {tray.name: TrayWords(tray.plan, tray.crop.name, tray.stuck) for tray in config.trays}
    return Teller(Tongue.of(config.site), trays, config.library.advice, channels, on_due)


def chronicle(config: Config) -> "Chronicle":
    """Return what writes the journal of a bench of which nothing is known yet."""
    from wardian.daemon.acts import latching
    from wardian.daemon.chronicle import Chronicle
    from wardian.rules.observing.observer import Observer

    lives = Lives({}, Tongue.of(config.site).moment, latches=latching(config))
    observer = Observer(tray.plan for tray in config.trays)
    return Chronicle(teller(config), lives, observer, config.library.hiding())


# ------------------------------------------------------------------------------------- the store


def open_store(config: Config, opened: ExitStack, *, read_only: bool = False) -> Store:
    """Open the store; it is closed with ``opened``.

    Raises:
        StoreFailed: It cannot be opened or is damaged.
    """
    from wardian.adapters.stores.opening import open_store as open_named

    store = open_named(config.store_url, Path(), read_only=read_only)
    opened.callback(store.close)
    return store


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

    path = database_path(config.store_url, Path())
    if path is not None and not path.exists():
        return look(config, MemoryStore(), machine_clock().wall_ms(), {"words": ["nothing was watched yet"]})
    from wardian.adapters.stores.lock import holder

    held = holder(path) if path is not None else None
    with ExitStack() as opened:
        store = open_store(config, opened, read_only=True)
        now_ms = _time_there(config, store, is_running=held is not None)
        pid = held.pid if held else None
        return look(config, store, now_ms, {"pid": pid, "words": _daemon_words(config, store, held)})


def _daemon_words(config: Config, store: Store, held: "Holder | None") -> list[str]:
    from wardian.daemon.outbox import backlogs

    words = [f"watching (process {held.pid})" if held else "NOBODY IS WATCHING: wardian run is not running"]
    if held and held.trouble:
        words.append(f"NOTHING IS KEPT: {held.trouble}")
    latest = store.latest().values()
    if latest:
        newest_ms = max(reading.time_ms for reading in latest)
        words.append(f"last reading kept: {Tongue.of(config.site).moment(newest_ms)}")
    words += [
        f"{one.channel}: {one.words(Tongue.of(config.site).moment)}" for one in backlogs(store.waiting())
    ]
    words += [f"{name}: {state}" for name, state in sorted(store.notes().get("sensors", {}).items())]
    return words


def lives(config: Config, store: Store, now_ms: Callable[[], int]) -> Lives:
    """Return where every alarm stands that a store knows of."""
    from wardian.daemon.acts import latching, named

    moment = Tongue.of(config.site).moment
    return Lives(store.last_of_alarms(), moment, named(config, now_ms), latching(config))


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


def record_care(
    config: Config, tray: str, event: str, done_ms: int | None, by: tuple[str, str]
) -> tuple["Act", bool]:
    """Ask the daemon to write down what was done at a tray; ``by`` is who did it and why.

    Returns:
        What is asked for, and whether a daemon is there to hear it at once.

    Raises:
        ValueError: There is no such tray, or it was done at no time that can be meant.
        StoreFailed: The store cannot be read or written.
    """
    from wardian.adapters.stores.lock import holder
    from wardian.adapters.stores.opening import database_path
    from wardian.daemon.care import LONGEST_AGO_MS, act_of
    from wardian.rules.documents import nearest

    names = [one.name for one in config.trays]
    if tray not in names:
        raise ValueError(f"there is no tray {tray!r}; {nearest(tray, names)}")
    path = database_path(config.store_url, Path())
    if path is None or not path.exists():
        raise ValueError("nothing was watched yet; `wardian run` makes the database")
    is_watching = holder(path) is not None
    with ExitStack() as opened:
        store = open_store(config, opened, read_only=True)
        now_ms = _time_there(config, store, is_running=is_watching)
        done_ms = now_ms if done_ms is None else done_ms
        if not now_ms - LONGEST_AGO_MS <= done_ms <= now_ms:
            raise ValueError("--at: a time of the last 24 h is accepted")
        act = act_of(tray, event, done_ms, *by)
        store.ask([act])
    return act, is_watching


def alarm_entries(config: Config, *, everything: bool) -> list[JournalEntry]:
    """Return the present alarms, or the whole journal.

    Raises:
        StoreFailed: The store cannot be read.
    """
    with ExitStack() as opened:
        store = _store_to_look_at(config, opened)
        return store.journal() if everything else store.standing()


# --------------------------------------------------------------------------------------- the clock


def machine_clock() -> Clock:
    """Return the machine's own clock."""
    from wardian.daemon.clock import SystemClock

    return SystemClock()


def _clock(config: Config, store: Store) -> Clock:
    """Return the clock of the bench: the machine's, or that of a simulated bench."""
    from wardian.daemon.clock import HurriedClock

    keys = config.simulator
    machine = machine_clock()
    if keys is None or (keys.speed == 1 and keys.start is None):
        return machine
    begin_ms = machine.wall_ms() if keys.start is None else keys.start
    left_ms = store.notes().get(CLOCK_NOTE, {}).get("time_ms", 0)
    kept_ms = max((reading.time_ms for reading in store.latest().values()), default=0)
    return HurriedClock(max(begin_ms, left_ms, kept_ms), keys.speed)


def _time_there(config: Config, store: Store, *, is_running: bool) -> int:
    """Return what time it is at the bench: a simulated one has its own, which stops with the daemon."""
    now_ms = machine_clock().wall_ms()
    note = store.notes().get(CLOCK_NOTE)
    if config.simulator is None or not note:
        return now_ms
    passed_ms = (now_ms - note["machine_ms"]) * note["speed"] if is_running else 0
    return int(note["time_ms"] + max(passed_ms, 0))


# ------------------------------------------------------------------------------------- the daemon


def open_watch(config: Config, opened: ExitStack) -> "Watch":
    """Open everything that a running daemon needs; it is closed with ``opened``.

    Raises:
        StoreFailed: The store cannot be opened, is damaged, or belongs to another daemon.
        AdapterError: A sensor or notifier can never work as configured.
    """
    from wardian.daemon.bench_watch import Watch
    from wardian.daemon.loop import Loop
    from wardian.daemon.opening import Bench, open_notifiers, open_sensors
    from wardian.daemon.outbox import Outbox
    from wardian.daemon.polling import Polling
    from wardian.rules.engine import Engine

    store = open_store(config, opened)
    _refuse_damage(store)
    clock = _clock(config, store)
    notifiers = open_notifiers(config, opened)
    outbox = Outbox(store, notifiers, clock, Tongue.of(config.site).moment)
    engine = Engine((tray.plan for tray in config.trays), store.states())
    settle_ms = {tray.name: tray.settle_ms for tray in config.trays}
    channels = [notifier.name for notifier in notifiers]
    words = teller(config, _of_nobody(config, channels), outbox.nudge)
    loop = Loop(engine, store, words, settle_ms, clock)
    sensors = open_sensors(Bench(config, clock, loop.queue.hurry))
    speed = config.simulator.speed if config.simulator else 1.0
    loop.backlog_ms = round(loop.backlog_ms * speed)
    loop.quiet_s = _quiet_s(sensors, speed)
    loop.lives = lives(config, store, clock.wall_ms)
    loop.hiding = config.library.hiding()
    loop.telling = _telling(config, channels, store, loop.lives, words)
    loop.bring_up_to_date(clock.wall_ms())
    polling = Polling(sensors, machine_clock(), speed)
    wires: list[Any] = list(sensors)
    if config.outward.is_any:
        from wardian.daemon.outward import Around, open_outward

        around = Around(config, store, loop, machine_clock(), lambda: lives(config, store, clock.wall_ms))
        around = around._replace(channels=words.channels, parts=(outbox, polling))
        loop.beside, more = open_outward(around, opened)
        wires += more
    loop.notes = lambda: _notes(wires, clock, speed)
    outbox.start()
    opened.callback(outbox.stop)
    return Watch(
        loop=loop,
        sensors=sensors,
        polling=polling,
        every_s=config.commit_every_ms / 1000 / speed,
        after_round=_onlooker(config, engine, clock),
    )


def _of_nobody(config: Config, channels: Sequence[str]) -> list[str]:
    """Return the channels that no person has: they get every alarm as it comes."""
    owned = {name for person in config.people for name in person.channels}
    return [name for name in channels if name.partition("#")[0] not in owned]


def _telling(
    config: Config, channels: Sequence[str], store: Store, lives: Lives, words: Teller
) -> "Telling | None":
    """Return what people are told, brought up to date with the alarms; nothing where there are none."""
    if not config.people:
        return None
    from wardian.daemon.loop import TELLING_NOTE
    from wardian.daemon.people import people_of
    from wardian.daemon.telling import Telling

    people = people_of(config.people, channels, config.site.zone)
    telling = Telling(people, Tongue.of(config.site).moment, state=store.notes().get(TELLING_NOTE))
    # What became of alarms while nobody was to be told, or by another configuration, is learned now.
    listed = {alarm_of(fields) for fields in lives.listed()}
    for alarm in sorted(telling.alarms() | listed):
        fields = lives.of(alarm).fields
        telling.hear(fields, words.message(fields))
    return telling


def _quiet_s(sensors: Sequence[Sensor], speed: float) -> float:
    """Return how long a start waits for what its wires hold back: two polls, or what a broker needs."""
    from wardian.daemon.loop import QUIET_S

    pauses_s = [QUIET_S if s.poll_every_s is None else 2 * s.poll_every_s / speed for s in sensors]
    return min(max(pauses_s, default=0.0), LONGEST_QUIET_S)


def _refuse_damage(store: Store) -> None:
    damage = store.damage()
    if damage:
        raise StoreFailed("store", f"the database is damaged: {damage}; move it aside and start anew")


def _notes(sensors: Sequence[Any], clock: Clock, speed: float) -> dict[str, Any]:
    return {
        "sensors": {s.name: health.words for s in sensors if not (health := s.health()).works},
        CLOCK_NOTE: {"time_ms": clock.wall_ms(), "machine_ms": machine_clock().wall_ms(), "speed": speed},
    }


def _onlooker(config: Config, engine: Any, clock: Clock) -> Callable[[], None]:
    """Return what shows a simulated bench as it goes by; a real one needs no onlooker."""
    if config.simulator is None or config.simulator.speed == 1:
        return lambda: None
    from wardian.daemon.report_bench import Onlooker

    return Onlooker(config, engine, clock).look
