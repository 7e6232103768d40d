"""The only place that opens adapters and the simulator: what a configuration names becomes a thing.

The rule of this file: each adapter is imported by the function that opens it, so that what a
configuration does not use is never loaded.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from wardian.daemon.config import Config, load
from wardian.daemon.lives import Lives
from wardian.daemon.tongue import Tongue
from wardian.daemon.words import Teller, TrayWords
from wardian.rules.crops import day_start_ms
from wardian.rules.documents import Path as Place
from wardian.rules.documents import dotted
from wardian.rules.errors import BadConfig, Mistake, StoreFailed
from wardian.rules.ports import Clock, Sensor, Store

if TYPE_CHECKING:
    from wardian.daemon.bench_clock import BenchClock
    from wardian.daemon.bench_watch import Watch
    from wardian.daemon.chronicle import Chronicle
    from wardian.daemon.clock import HurriedClock
    from wardian.daemon.clock_watch import Anew, ClockWatch
    from wardian.daemon.finding_words import FindingWords
    from wardian.daemon.guarded import Slips
    from wardian.daemon.library import Library
    from wardian.daemon.loop import Loop
    from wardian.daemon.outbox import Outbox
    from wardian.daemon.outward import Part, Wire
    from wardian.daemon.own_troubles import OwnTroubles
    from wardian.daemon.taking_part import RoundsOf

#: The note in which a bench leaves its time.
CLOCK_NOTE: Final = "clock"
#: The note that says whether its time can be trusted.
TIME_NOTE: Final = "time"
LONGEST_QUIET_S: Final = 60.0
#: A channel that sends longer than so often its own timeout, and so many seconds more, hangs.
SENDS: Final = 3
SEND_MORE_S: Final = 60.0


def load_config(path: Path) -> Config:
    """Return the configuration in a YAML file.

    Raises:
        BadConfig: It cannot be used, with every mistake in it.
    """
    from wardian.adapters.yaml_file import parse

    config = load(path, parse)
    mistakes = [
        Mistake(dotted(place), config.document.line(place), why) for place, why in _strange_sensors(config)
    ]
    if mistakes:
        raise BadConfig(str(path), mistakes)
    return config


def crop_library() -> "Library":
    """Return the library that comes with the program, for whoever has no configuration."""
    from wardian.adapters.yaml_file import parse
    from wardian.daemon.library import library

    return library(parse)


def _strange_sensors(config: Config) -> Iterator[tuple[Place, str]]:
    """Yield what of a sensor means nothing to its wire, and why: only the adapters know."""
    for number, keys in enumerate(config.sensors):
        if keys.kind == "kernel":
            from wardian.adapters.sensors.kernel import KernelChannel

            for place, channel in enumerate(keys.channels):
                with _told_of(("sensors", number, "channels", place, "file")) as why:
                    KernelChannel(channel.tray, channel.quantity, channel.file)
                yield from why
        elif keys.kind == "mqtt":
            from wardian.daemon.opening import subscription

            for place, keys_of_topic in enumerate(keys.subscriptions):
                with _told_of(("sensors", number, "subscriptions", place)) as why:
                    subscription(keys_of_topic)
                yield from why


@contextmanager
def _told_of(place: Place) -> Iterator[list[tuple[Place, str]]]:
    """Give a list in which a ValueError ends up, with its place."""
    told: list[tuple[Place, str]] = []
    try:
        yield told
    except ValueError as error:
        told.append((place, str(error)))


def teller(config: Config, channels: Sequence[str] = (), on_due: Callable[[], None] = lambda: None) -> Teller:
    """Return what puts alarms into words, for some channels."""
    from wardian.adapters.yaml_file import parse
    from wardian.daemon.cause_words import cause_words

    trays = {tray.name: TrayWords(tray.plan, tray.crop.name, tray.stuck) for tray in config.trays}
    tongue = Tongue.of(config.site)
    return Teller(tongue, trays, config.library.advice, channels, on_due, cause_words(parse))


def words_of_findings() -> "Mapping[str, FindingWords]":
    """Return what each finding about a batch is called, and what to try next."""
    from wardian.adapters.yaml_file import parse
    from wardian.daemon.finding_words import finding_words

    return finding_words(parse)


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


def lives(config: Config, store: Store, now_ms: Callable[[], int]) -> Lives:
    """Return where every alarm stands that a store knows of."""
    from wardian.daemon.acts import latching, named

    moment = Tongue.of(config.site).moment
    return Lives(store.last_of_alarms(), moment, named(config, now_ms), latching(config))


# --------------------------------------------------------------------------------------- the clock


def machine_clock() -> Clock:
    """Return the machine's own clock."""
    from wardian.daemon.clock import SystemClock

    return SystemClock()


def _clock(config: Config, store: Store) -> "BenchClock | HurriedClock":
    """Return the clock of the bench: one that follows the machine's, or that of a simulated bench."""
    from wardian.daemon.bench_clock import BenchClock
    from wardian.daemon.clock import HurriedClock

    keys = config.simulator
    machine, kept_ms = machine_clock(), known_ms(store)
    if keys is None or (keys.speed == 1 and keys.start is None):
        return BenchClock(machine, kept_ms, 0 if kept_ms else _stuck_ms(config))
    begin_ms = machine.wall_ms() if keys.start is None else keys.start
    return HurriedClock(max(begin_ms, kept_ms), keys.speed)


def _stuck_ms(config: Config) -> int:
    """Return when the last tray was stuck: a bench of which nothing is kept is mostly begun on that day."""
    return max(day_start_ms(tray.stuck, config.site.zone) for tray in config.trays)


def known_ms(store: Store) -> int:
    """Return the latest instant that a store knows of: it is later than that."""
    left_ms: int = store.notes().get(CLOCK_NOTE, {}).get("time_ms", 0)
    entries = [entry.time_ms for entry in store.journal(last=1)]
    return max(left_ms, *entries, *(reading.time_ms for reading in store.latest().values()), 0)


def earliest_ms(config: Config) -> int:
    """Return what the machine's clock shows at least if it is right, less what is no matter; 0 on a pretended bench."""
    from wardian.adapters.stores.opening import database_path
    from wardian.daemon.bench_clock import RELEASED_MS, TOLERABLE_MS

    path = database_path(config.store_url, Path())
    if config.simulator is not None:
        return 0
    if path is None or not path.exists():
        return RELEASED_MS
    try:
        with ExitStack() as opened:
            return max(known_ms(open_store(config, opened, read_only=True)) - TOLERABLE_MS, RELEASED_MS)
    except StoreFailed:
        # One of an older program, or of which whoever opens it will say what is wrong.
        return RELEASED_MS


def move_era(config: Config, anew: "Anew") -> None:
    """Move what was kept of an era to where it belongs, and its clock.

    Raises:
        StoreFailed: Nothing was moved.
    """
    with ExitStack() as opened:
        open_store(config, opened).move(anew.moving)
        anew.clock.move(anew.moving.by_ms)


# ------------------------------------------------------------------------------------- the daemon


def open_watch(config: Config, opened: ExitStack, anew: "Anew | None" = None) -> "Watch":
    """Open everything that a running daemon needs; it is closed with ``opened``.

    With ``anew`` it goes on by that clock, after an era was moved.

    Raises:
        StoreFailed: The store cannot be opened, or belongs to another daemon.
        AdapterError: A sensor or notifier can never work as configured.
    """
    from wardian.daemon.bench_watch import Watch
    from wardian.daemon.floods import Floods
    from wardian.daemon.opening import Bench, open_notifiers, open_sensors
    from wardian.daemon.opening_store import Around as StoreAround
    from wardian.daemon.opening_store import bench_note, open_to_watch, refuse_pretence, store_care
    from wardian.daemon.outbox import Outbox
    from wardian.daemon.own_troubles import OwnTroubles
    from wardian.daemon.planning import with_records
    from wardian.daemon.polling import Polling
    from wardian.daemon.refusing_channels import RefusingChannels
    from wardian.daemon.taking_part import RoundsOf

    store, mended = open_to_watch(config, opened, machine_clock().wall_ms(), is_looked_at=bool(anew))
    refuse_pretence(config, store)
    written, config = config, with_records(config, store.records())
    clock = anew.clock if anew else _clock(config, store)
    notifiers = open_notifiers(config, opened)
    outbox = Outbox(store, notifiers, clock, Tongue.of(config.site).moment)
    channels = [notifier.name for notifier in notifiers]
    words = teller(config, _of_nobody(config, channels), outbox.nudge)
    loop = _loop(config, store, words, clock)
    # Pretended growers keep to the days: what they do must not hang on when the daemon was started.
    sensors = open_sensors(Bench(written, clock, loop.queue.hurry))
    speed = config.simulator.speed if config.simulator else 1.0
    # Whoever only begins anew has had the backlog of the start.
    loop.quiet_s = 0.0 if anew else _quiet_s(sensors, speed)
    if config.people:
        from wardian.daemon.opening_people import open_telling

        loop.telling = open_telling(config, channels, store, loop.lives, words)
    loop.bring_up_to_date(clock.wall_ms())
    polling = Polling(sensors, machine_clock(), speed)
    polling.slips = loop.guard.slips
    troubles = loop.failing.troubles = OwnTroubles(config.library.watch, words)
    loop.failing.outbox, loop.failing.sensors = outbox, sensors
    around = RoundsOf(written, store, loop, words, clock, channels, words_of_findings)
    care = store_care(StoreAround(written, store, loop, troubles, machine_clock()), mended, opened)
    wires: list[Any] = [*sensors, *_take_part(around, troubles, (outbox, polling), opened)]
    loop.beside = [*care, *loop.beside]
    _watch_ways(wires, outbox, loop, troubles)
    loop.before.append(Floods(sensors, troubles))
    loop.notes = lambda: _notes(wires, clock, speed, loop.guard.slips) | bench_note(written)
    outbox.hear_answers(RefusingChannels(troubles).answered)
    outbox.progress = polling.progress = loop.progress
    outbox.send_s = _longest_send_s(config)
    outbox.start()
    opened.callback(outbox.stop)
    return Watch(
        loop=loop,
        sensors=sensors,
        polling=polling,
        every_s=config.commit_every_ms / 1000 / speed,
        after_round=_onlooker(config, loop.engine, clock),
        wires=wires,
        troubles=troubles,
        clock_watch=_clock_watch(config, around, troubles, anew),
        progress=loop.progress,
    )


def _longest_send_s(config: Config) -> Callable[[str], float]:
    """Return how long a channel may take to send one message: its own deadlines, a few times, and some more."""
    timeouts_s = {keys.name: getattr(keys, "timeout", 0) / 1000 for keys in config.notifiers}
    return lambda channel: SEND_MORE_S + SENDS * timeouts_s.get(channel.partition("#")[0], 0.0)


def _clock_watch(
    config: Config, around: "RoundsOf", troubles: "OwnTroubles", anew: "Anew | None"
) -> "ClockWatch | None":
    """Return what sees to it that the clock of a real bench is right; a pretended one always is."""
    from wardian.adapters.stores.opening import database_path
    from wardian.daemon.bench_clock import BenchClock
    from wardian.daemon.clock_watch import ClockWatch

    if not isinstance(around.clock, BenchClock):
        return None
    watching = ClockWatch(around.clock, around.loop, around.store, troubles)
    watching.can_move = database_path(config.store_url, Path()) is not None
    if anew:
        watching.begun_anew(anew)
    return watching


def _watch_ways(wires: Sequence[Any], outbox: "Outbox", loop: "Loop", troubles: "OwnTroubles") -> None:
    """Let it be told what does not bring readings in or messages out."""
    from wardian.daemon.ways_watched import WaysWatched

    ways = WaysWatched(wires, outbox.stuck, machine_clock())
    ways.troubles, ways.slips = troubles, loop.guard.slips
    loop.beside.insert(0, ways)
    loop.is_cut_off = ways.is_cut_off


def _loop(config: Config, store: Store, words: Teller, clock: Clock) -> "Loop":
    """Return the loop, with the engine as the store has kept it."""
    from wardian.daemon.loop import Loop
    from wardian.rules.engine import Engine

    engine = Engine((tray.plan for tray in config.trays), store.states())
    loop = Loop(engine, store, words, {tray.name: tray.settle_ms for tray in config.trays}, clock)
    loop.backlog_ms = round(loop.backlog_ms * (config.simulator.speed if config.simulator else 1.0))
    loop.lives = lives(config, store, clock.wall_ms)
    loop.hiding = config.library.hiding()
    return loop


def _take_part(
    around: "RoundsOf", troubles: "OwnTroubles", parts: "Sequence[Part]", opened: ExitStack
) -> "list[Wire]":
    """Let everything take part in the rounds that the configuration wants; return the wires that it needs."""
    from wardian.daemon.configuration_kept import NOTE, ConfigurationKept
    from wardian.daemon.folding import Folding
    from wardian.daemon.planning import with_records
    from wardian.daemon.strangers import Strangers
    from wardian.daemon.taking_part import taking_part

    written, store, loop = around.config, around.store, around.loop
    loop.before, loop.beside = taking_part(around, opened)
    kept = ConfigurationKept(written, store.notes().get(NOTE, {}), troubles)
    strangers = Strangers(store.notes(), troubles.happened)
    loop.hear_refused = strangers.hear
    loop.beside += [kept, strangers, troubles, Folding(store, loop, loop.engine.trays, machine_clock())]
    if not (written.outward.is_any or any(person.summary for person in written.people)):
        return []
    from wardian.daemon.outward import Around, open_outward

    def lives_there() -> Lives:
        return lives(with_records(written, store.records()), store, around.clock.wall_ms)

    outside = Around(written, store, loop, machine_clock(), lives_there)
    outward, wires = open_outward(outside._replace(channels=around.channels, parts=parts), opened)
    loop.beside += outward
    return wires


def _of_nobody(config: Config, channels: Sequence[str]) -> list[str]:
    """Return the channels that no person has: they get every alarm as it comes."""
    owned = {name for person in config.people for name in person.channels}
    return [name for name in channels if name.partition("#")[0] not in owned]


def _quiet_s(sensors: Sequence[Sensor], speed: float) -> float:
    """Return how long a start waits for what its wires hold back: two polls, or what a broker needs."""
    from wardian.daemon.loop import QUIET_S

    pauses_s = [QUIET_S if s.poll_every_s is None else 2 * s.poll_every_s / speed for s in sensors]
    return min(max(pauses_s, default=0.0), LONGEST_QUIET_S)


def _notes(
    sensors: Sequence[Any], clock: "BenchClock | HurriedClock", speed: float, slips: "Slips"
) -> dict[str, Any]:
    return {
        "sensors": {s.name: health.words for s in sensors if not (health := slips.health(s)).works},
        CLOCK_NOTE: {"time_ms": clock.wall_ms(), "machine_ms": machine_clock().wall_ms(), "speed": speed},
        TIME_NOTE: {"is_trusted": clock.is_trusted},
    }


def _onlooker(config: Config, engine: Any, clock: Clock) -> Callable[[], None]:
    """Return what shows a simulated bench as it goes by; a real one needs no onlooker."""
    if config.simulator is None or config.simulator.speed == 1:
        return lambda: None
    from wardian.daemon.report_bench import Onlooker

    return Onlooker(config, engine, clock).look
