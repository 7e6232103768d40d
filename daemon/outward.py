"""What a bench does outwards, put together as configured: what is asked from afar, the daily summary, the beat.

The rule of this file: each part is imported only where its section is there.
"""

from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol

from wardian.daemon.config_outward import SummaryKeys
from wardian.rules.ports import Clock, Store
from wardian.rules.wire_health import SensorHealth

if TYPE_CHECKING:
    from wardian.daemon.beside import Beside
    from wardian.daemon.config import Config
    from wardian.daemon.config_outward import BeatKeys, CommandsKeys
    from wardian.daemon.lives import Lives
    from wardian.daemon.loop import Loop
    from wardian.daemon.watched_time import WatchedTime
    from wardian.rules.ports import Message
    from wardian.rules.shares import Span

#: However often rounds are, a pause of so much between two of them is none.
LEAST_PAUSE_MS = 60_000
#: Rounds that may be missed before a pause is one.
ROUNDS_MISSED = 3


class Wire(NamedTuple):
    """Something whose connection is looked at each round, beside the sensors'."""

    name: str
    health: Callable[[], SensorHealth]


class Part(Protocol):
    """Something that runs on threads of its own."""

    def is_working(self) -> bool:
        """Whether all of them live."""


class Around(NamedTuple):
    """What is there already when the rest is opened.

    ``config`` is as written; ``lives`` reads where alarms stand from the store; ``channels`` are all there are; ``parts`` must work for a beat.
    """

    config: "Config"
    store: Store
    loop: "Loop"
    machine: Clock
    lives: Callable[[], "Lives"]
    channels: Sequence[str] = ()
    parts: Sequence[Part] = ()


def open_outward(around: Around, opened: ExitStack) -> tuple[list["Beside"], list[Wire]]:
    """Return what takes part in the rounds, started, and the wires it needs; it is stopped with ``opened``.

    Raises:
        AdapterError: A part can never work as configured.
    """
    keys, beside, wires = around.config.outward, [], []
    if keys.commands is not None:
        wishes, wire = _wishes(keys.commands, around, opened)
        beside.append(wishes)
        wires.append(wire)
    if keys.summary is not None or any(person.summary for person in around.config.people):
        beside.append(_summary(keys.summary or SummaryKeys(), around, opened))
    if keys.beat is not None:
        beside.append(_beat(keys.beat, around, opened))
    return beside, wires


def _wishes(keys: "CommandsKeys", around: Around, opened: ExitStack) -> tuple["Beside", Wire]:
    from wardian.daemon.opening import open_wishes
    from wardian.daemon.wishes import NOTE, Wishes

    wire = open_wishes(keys, around.machine, around.loop.queue.hurry)
    wishes = Wishes(wire, around.config, around.machine, around.store.notes().get(NOTE, ()))
    wire.start()
    opened.callback(wire.stop)
    return wishes, Wire(wire.name, wire.health)


def _summary(keys: "SummaryKeys", around: Around, opened: ExitStack) -> "Beside":
    from wardian.daemon.daily_summary import NOTE, DailySummary, Plan, Told
    from wardian.daemon.planning import with_records
    from wardian.daemon.summary import summed_up
    from wardian.daemon.summary_words import summary_message

    config = around.config

    def make(span: "Span", watched_ms: int, key: str) -> "Message":
        present = with_records(config, around.store.records())
        summary = summed_up(present, around.store, around.lives(), span, watched_ms)
        return summary_message(summary, config.site, key)

    of_people = [name for person in config.people if person.summary for name in person.channels]
    channels = channels_of([*keys.channels, *of_people], around.channels)
    settle_ms = max((tray.settle_ms for tray in config.trays), default=0)
    notes = around.store.notes()
    speed = config.simulator.speed if config.simulator else 1.0
    pause_ms = ROUNDS_MISSED * max(config.commit_every_ms, LEAST_PAUSE_MS, round(speed * 1000))
    told = Told.of(notes[NOTE]) if NOTE in notes else None
    plan = Plan(keys.at, config.site.zone, channels, settle_ms)
    daily = DailySummary(plan, make, watched_time(notes, around.store, pause_ms), told)
    daily.is_ready = lambda: around.loop.is_sure
    daily.progress = around.loop.progress
    opened.callback(daily.stop)
    return daily


def watched_time(notes: Mapping[str, Any], store: Store, pause_ms: int = LEAST_PAUSE_MS) -> "WatchedTime":
    """Return when the daemon was there, as far as a store says."""
    from wardian.daemon.watched_time import NOTE, WatchedTime

    newest_ms = max((reading.time_ms for reading in store.latest().values()), default=0)
    return WatchedTime(notes.get(NOTE, ()), pause_ms, newest_ms)


def channels_of(wanted: Sequence[str], there: Sequence[str]) -> list[str]:
    """Return the channels of notifiers by name; one with several addresses has several, told apart by a number."""
    return [channel for channel in there if channel.rpartition("#")[0] in wanted or channel in wanted]


def _beat(keys: "BeatKeys", around: Around, opened: ExitStack) -> "Beside":
    from wardian.daemon.beat import Beat
    from wardian.daemon.opening import open_beat

    def is_whole() -> bool:
        return around.loop.is_up_to_date and all(part.is_working() for part in around.parts)

    beat = Beat(open_beat(keys), keys.every / 1000, around.machine, is_whole)
    beat.progress = around.loop.progress
    beat.start()
    opened.callback(beat.stop)
    return beat
