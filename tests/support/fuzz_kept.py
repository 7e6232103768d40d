"""The real loop and a store file behind the fuzzed door, and what must be in the store in the end."""

import sqlite3
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby, zip_longest
from pathlib import Path
from typing import Any

from base_config import built
from fake_clock import FakeClock
from fuzz_bench import TRAYS
from reference_payloads import Meaning
from reference_times import YEARS_MS

from wardian.adapters.sensors.mqtt import MqttSensor
from wardian.adapters.stores.sql import SqlStore
from wardian.daemon import wiring
from wardian.daemon.folding import Folding
from wardian.daemon.loop import Loop
from wardian.rules.engine import Engine
from wardian.rules.ports import Arrival
from wardian.rules.readings import Reading

_TRAYS = "".join(f"  - {{name: {tray}, crop: coleus, stuck: 2026-02-20}}\n" for tray in TRAYS)
CONFIG = f"""\
site: {{name: Fuzzed bench, timezone: Europe/Lisbon, units: US}}
trays:
{_TRAYS}light: {{on: 05:00, off: 23:00}}
sensors:
  - name: bench
    kind: csv
    file: never.read
    expect: [{{tray: tray-a, quantity: air_temperature}}, {{tray: tray-b, quantity: ppfd}}]
notifiers: [{{name: bell, kind: console}}]
"""


class KeptBench:
    """Takes some of the messages on: the loop judges them, the store keeps them, closed hours are folded."""

    def __init__(self, sensor: MqttSensor, clock: FakeClock, path: Path) -> None:
        self.count: Counter[str] = Counter()
        self._sensor, self._clock = sensor, clock
        self._store = SqlStore.open(path)
        config = built(CONFIG)
        engine = Engine(tray.plan for tray in config.trays)
        words = wiring.teller(config, ["bell"])
        self._loop = Loop(engine, self._store, words, dict.fromkeys(TRAYS, 5000), clock)
        self._loop.quiet_s = 0.0
        # All are to be found again here; how many of a flood are written down one by one is told elsewhere.
        self._loop._refusals.to_keep = lambda refused, _now_s: list(refused)  # type: ignore[assignment,method-assign]  # so that each is kept
        self._loop.bring_up_to_date(clock.now_ms)
        self._loop.beside = [Folding(self._store, self._loop, engine.trays, clock)]
        # On the disk, so that memory that grows is the program's and not ours.
        self._meant = sqlite3.connect(path.with_suffix(".meant"), isolation_level=None)
        self._meant.execute("pragma synchronous=off")
        self._meant.execute("begin")
        self._meant.execute(
            "create table meant (time_ms, tray, quantity, value, primary key (time_ms, tray, quantity))"
        )
        self._refusals = 0

    def take(self, message: Arrival, meant: Sequence[Meaning], refusals: int) -> None:
        """Let one message go on; it must leave these readings and so many refusals."""
        assert self._loop.queue.hand_over(message)
        self._meant.executemany("insert or ignore into meant values (?, ?, ?, ?)", meant)
        self._refusals += refusals

    def round(self) -> None:
        """Let the loop judge and keep what has come."""
        self._loop.round([self._sensor])

    def close_round(self) -> None:
        """Let everything that has come be kept."""
        self._loop.close()

    def differences(self) -> Iterator[str]:
        """Yield what is otherwise in the store than was meant."""
        kept = self._store.readings(YEARS_MS.start, YEARS_MS.stop)
        meant = self._meant.execute("select * from meant order by time_ms, tray, quantity")
        for one, other in zip_longest(sorted_within(kept), meant):
            self.count["stored"] += one is not None
            if one != other:
                yield f"store has {one}, meant was {other}"
                break
        counts: dict[str, Any] = self._store.counts()
        self.count["refusals kept"] = counts["refused"]
        if counts["refused"] != self._refusals:
            yield f"store counts {counts['refused']} refusals of {self._refusals}"
        for _, refused in self._store.refused(10_000):
            if not refused.why or not refused.source:
                yield f"kept without a reason: {refused}"
        if damage := self._store.damage():
            yield f"the store is damaged: {damage}"

    def close(self) -> None:
        """Close the store."""
        self._meant.close()
        self._store.close()


def sorted_within(readings: Iterable[Reading]) -> Iterator[tuple[int, str, str, float]]:
    """Yield readings that come in order of time, those of one instant by tray and quantity."""
    for _, some in groupby(readings, lambda reading: reading.time_ms):
        yield from sorted((one.time_ms, one.tray, one.quantity, one.value) for one in some)
