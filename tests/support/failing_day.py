"""Some hours of a bench in one thread, by a clock that is stepped: all that a daemon does, with a fault once.

The store is opened, readings are taken in from two wires, alarms are raised and return, somebody acknowledges one
and puts care on record, messages leave by two channels, hours are folded; once the daemon is stopped and started.
"""

import sqlite3
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any, Final

from failing_once import Fault, Seams
from fake_clock import FakeClock
from held_messages import HeldMessages, HeldSensor
from receivers import HttpReceiver

from wardian.adapters.stores.sql import SqlStore
from wardian.adapters.timestamps import text_of
from wardian.daemon import cli, run, visiting
from wardian.daemon.acts import NotToBeDone, Wish
from wardian.daemon.bench_watch import Watch
from wardian.daemon.config import Config
from wardian.daemon.lives import TOLD
from wardian.rules import life
from wardian.rules.engine import Engine
from wardian.rules.errors import StoreFailed
from wardian.rules.ports import Decoded, Measured, Sensor
from wardian.rules.readings import Reading, chunk_of
from wardian.rules.records import CARE, Record

MINUTE_MS: Final = 60_000
#: 2026-03-02T06:00Z.
BEGIN_MS: Final = 1_772_431_200_000
STEP_MS: Final = 20 * MINUTE_MS
STEPS: Final = 13
#: Steps in which the medium of tray-a is too warm, and in which the air at tray-b is too cold.
WARM: Final = frozenset({2, 3, 6, 9})
COLD: Final = frozenset({3, 4, 8})
ACKNOWLEDGED_AT: Final = 4
CARED_AT: Final = 5
RESTARTED_AT: Final = 7
#: So many steps more there are until everything was told.
PEACE: Final = 4

#: How the key of a message begins that says that nobody watches any more; it leaves without the store.
LAST_WORDS: Final = "wardian/not-watching/20"

CONFIG: Final = """\
site: {name: Evening propagation class, timezone: Europe/Lisbon, units: SI}
store: {url: "sqlite:///bench.db"}
trays:
  - {name: tray-a, crop: coleus, stuck: 2026-02-27}
  - {name: tray-b, crop: coleus, stuck: 2026-02-27}
crops:
  coleus:
    stages:
      - name: callusing
        from_day: 0
        bands:
          medium_temperature: {high: 25 °C, deadband: 0.2 °C, on_delay: 4 min, off_delay: 3 min}
          air_temperature: {low: 20 °C, deadband: 0.2 °C, on_delay: 0, off_delay: 0}
readings: {hold: 22 min}
sensors:
  - {name: logger, kind: csv, file: logger.csv}
notifiers:
  - {name: hook, kind: webhook, url: "ADDRESS/hook"}
  - {name: terminal, kind: console}
people:
  - {name: teacher, channels: [terminal], summary: false, care: false}
"""


# ---------------------------------------------------------------------------------- the hours


@dataclass
class Hours:
    """The bench, and what came of its daemon."""

    folder: Path
    receiver: HttpReceiver
    seams: Seams
    config: Config
    messages: HeldMessages = field(default_factory=HeldMessages)
    published: list[Reading] = field(default_factory=list)
    statuses: list[int] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    wishes: list[str] = field(default_factory=list)
    asked_in_vain: int = 0
    step: int = 0
    is_restarted: bool = False
    #: Of the present life: its outbox, and the step at which it is told to stop.
    outbox: Any = None
    until: int = 0

    @property
    def clock(self) -> FakeClock:
        return self.seams.clock

    @property
    def database(self) -> Path:
        return self.folder / "bench.db"

    def pass_by(self) -> None:
        """Let all hours pass, with whatever goes wrong; then let the daemon finish in peace."""
        self.seams.fault.begin()
        self._live_until(STEPS)
        self.seams.fault.end()
        self.seams.fault = self.messages.fault = Fault()
        self._live_until(STEPS + PEACE)

    def _live_until(self, step: int) -> None:
        while self.step < step:
            self.statuses.append(self._life(step))
            self.clock.step(10_000)
            assert len(self.statuses) < 12, (self.statuses, self.said)

    def _life(self, until: int) -> int:
        """Watch until a step, or until something ends it; return the status with which the process would end."""
        self.until = until
        return cli.main(["run", "--config", str(self.folder / "config.yaml")])

    def rounds(self, watching: Watch) -> int:
        """Do what the threads of a daemon do, until it is told to stop or something ends it."""
        watching.loop.queue.wait = partial(self._between_rounds, watching)  # type: ignore[method-assign]  # time is stepped instead
        try:
            watching.loop_until_stopped()
        except BaseException as error:  # noqa: BLE001 - as the thread of the rounds does
            run._end_with(error)
        assert watching.anew is None
        return 0

    def _between_rounds(self, watching: Watch, _seconds: float) -> None:
        """Send what is due, then let the world go on by a step."""
        for channel in self.outbox._channels:
            self.outbox._round(channel, self.clock.now_ms)
        if self.step == RESTARTED_AT and not self.is_restarted:
            self.is_restarted = True
            watching.stop()
        elif self.step >= self.until:
            watching.stop()
        else:
            self.clock.step_to(BEGIN_MS + (self.step + 1) * STEP_MS)
            self._go_on(watching)
            self.step += 1

    def _go_on(self, watching: Watch) -> None:
        self._measure(watching.sensors)
        if self.step == ACKNOWLEDGED_AT:
            self.wishes.append("acknowledge")
        if self.step == CARED_AT:
            self.wishes.append("care")
        for wish in list(self.wishes):
            try:
                self._ask(wish)
            except (StoreFailed, OSError) as error:
                # A person reads why, and tries again.
                self.said.append(str(error))
                self.asked_in_vain += 1
            else:
                self.wishes.remove(wish)
        for sensor in watching.sensors:
            if sensor.poll_every_s is not None:
                # A file that could not be read is looked at again seconds later.
                watching.polling._poll(sensor)
                if not sensor.health().works:
                    watching.polling._poll(sensor)

    def _ask(self, wish: str) -> None:
        if wish == "care":
            visiting.put_on_record(self.config, lambda _, now_ms: [misted(now_ms)])
            return
        try:
            visiting.ask(self.config, Wish(life.ACKNOWLEDGE, "tray-a", None, "teacher", ""), None)
        except NotToBeDone as error:
            # It was done and that was not learned; or the alarm is not in the journal yet, and it is tried again.
            entries = visiting.alarm_entries(self.config, everything=True)
            if not any(entry.fields["event"] == TOLD[life.ACKNOWLEDGE] for entry in entries):
                raise StoreFailed("journal", str(error)) from error

    def _measure(self, sensors: Sequence[Sensor]) -> None:
        """Let the probes of tray-a send a message, and those of tray-b write a row each."""
        now_ms, step = self.clock.now_ms, self.step
        warm, cold = (25.5 if step in WARM else 23.9), (19.4 if step in COLD else 21.7)
        a = [
            Reading(now_ms, "tray-a", "medium_temperature", warm + step / 1024),
            Reading(now_ms, "tray-a", "air_temperature", 21.9 + step / 3000),
        ]
        b = [
            Reading(now_ms, "tray-b", "air_temperature", cold + step / 7000),
            Reading(now_ms, "tray-b", "medium_temperature", 24.1),
        ]
        self.published += a + b
        with (self.folder / "logger.csv").open("a", encoding="utf-8") as file:
            file.writelines(f"{text_of(one.time_ms)},{one.tray},{one.quantity},{one.value!r},\n" for one in b)
        held = next(one for one in sensors if isinstance(one, HeldSensor))
        held.publish(Decoded([Measured(*one) for one in a]))

    # ------------------------------------------------------------------------------ what came of it

    def wrongs(self) -> list[str]:
        """Return everything that should not be so."""
        with sqlite3.connect(f"{self.database.as_uri()}?mode=ro", uri=True) as connection:
            due = connection.execute("SELECT channel, key, delivered_ms FROM outbox").fetchall()
            strangers = connection.execute("PRAGMA foreign_key_check").fetchall()
        connection.close()
        store = SqlStore.open(self.database, read_only=True)
        try:
            kept = Counter(store.readings(-(2**62), 2**62))
            journal = store.journal()
            wrongs = [f"damage: {store.damage()}"] if store.damage() else []
            waiting = store.waiting()
            records = store.records()
            counts, folded_ms = store.counts(), store.folded_until_ms()
        finally:
            store.close()
        wrongs += [f"strangers: {strangers}"] if strangers else []
        wrongs += [f"not kept: {one}" for one in (Counter(set(self.published)) - kept)]
        wrongs += [f"kept too often: {one}" for one in (kept - Counter(set(self.published)))]
        if counts["readings"] != kept.total():
            wrongs.append(f"counted {counts['readings']} readings of {kept.total()}")
        if counts["late"]:
            wrongs.append(f"{counts['late']} readings came late")
        wrongs += [f"still waits: {one.channel} {one.message.key}" for one in waiting]
        wrongs += [f"held by the broker for ever: {one}" for one in self.messages.held]
        wrongs += self._wrong_journal([one.fields for one in journal], {(one[0], one[1]) for one in due})
        wrongs += self._wrong_messages(due)
        wrongs += self._wrong_acts([one.fields for one in journal], records)
        if folded_ms <= BEGIN_MS:
            wrongs.append("no hour was folded")
        return wrongs

    def _wrong_journal(self, fields: list[Any], due: set[tuple[str, str]]) -> list[str]:
        found = Counter(_entry_of(one) for one in fields if one["event"] in ("raised", "returned"))
        limits = Counter({one: count for one, count in found.items() if one[2] in ("high", "low")})
        wanted = Counter(
            (one.tray, one.quantity, one.condition, one.event, text_of(one.time_ms))
            for one in replayed(self.config, self.published)
        )
        wrongs = [f"no entry: {one}" for one in (wanted - limits)]
        wrongs += [f"entry too often: {one}" for one in (limits - wanted)]
        wrongs += [f"entry twice: {one}" for one in found if found[one] > 1]
        wrongs += [f"no message: {one}" for one in found if ("hook", "/".join(one)) not in due]
        return wrongs

    def _wrong_messages(self, due: list[Any]) -> list[str]:
        hook = Counter(request.headers["Idempotency-Key"] for request in self.receiver.requests)
        lines = self.terminal.splitlines()
        terminal = Counter(line.strip()[9:-1] for line in lines if line.startswith("  (message "))
        received = {"hook": hook, "terminal": terminal}
        wrongs = [f"not received: {row}" for row in due if not received[row[0]][row[1]]]
        wrongs += [f"given up: {row}" for row in due if row[2] is None]
        repeats = sum(times - 1 for keys in received.values() for times in keys.values())
        if repeats > 1:
            wrongs.append(f"{repeats} repeats")
        told = {
            (name, key) for name, keys in received.items() for key in keys if not key.startswith(LAST_WORDS)
        }
        return wrongs + [f"a message of nobody's: {one}" for one in told - {row[:2] for row in due}]

    def _wrong_acts(self, fields: list[Any], records: list[Record]) -> list[str]:
        acknowledged = sum(one["event"] == TOLD[life.ACKNOWLEDGE] for one in fields)
        told = [one["record"] for one in fields if "record" in one]
        wrongs = [] if acknowledged == 1 else [f"acknowledged {acknowledged} times"]
        # Whoever did not learn that it was put down does so again.
        if not 1 <= len(records) <= 1 + self.asked_in_vain:
            wrongs.append(f"{len(records)} records of one care")
        if told != [one.number for one in records]:
            wrongs.append(f"records {[one.number for one in records]}, told of {told}")
        return wrongs

    def complaints(self) -> list[str]:
        """Return what a daemon said as it ended."""
        return [line for line in self.terminal.splitlines() if line.startswith("wardian: ")]

    @property
    def terminal(self) -> str:
        return str(self.seams.terminal.getvalue())


def misted(now_ms: int) -> Record:
    return Record(CARE, now_ms, now_ms, tray="tray-b", who="teacher", fields={"event": "misted"})


def _entry_of(fields: Any) -> tuple[str, str, str, str, str]:
    return fields["tray"], fields["quantity"], fields["condition"], fields["event"], fields["time"]


def replayed(config: Config, readings: Sequence[Reading]) -> list[Any]:
    """Return what the rules say of some readings, all at once."""
    engine = Engine(tray.plan for tray in config.trays)
    engine.feed(chunk_of(readings))
    return engine.advance(max(one.time_ms for one in readings) + 1)
