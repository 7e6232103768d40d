"""From payloads to the commit: decode, validate, judge and keep, beside raw sqlite3 keeping ready tuples.

SenML packs of five readings, one of them in another unit, and plain numbers, one a message; batches as
large as a commit, synchronous FULL on both sides.
"""

import json
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from statistics import median
from time import perf_counter

from fake_clock import FakeClock
from probes import Probes, loop_over
from rows import Row, print_rows
from week import EVERY_MS, START_MS, TRAYS, plans

from wardian.adapters.payloads import Address, Form, NumberForm, Target
from wardian.adapters.senml import SenmlForm
from wardian.adapters.stores.sql import SqlStore
from wardian.rules.ports import Arrival, Decoded

ROUNDS = 5
READINGS = 40_000
UNITS = {
    "air_temperature": "Cel",
    "medium_temperature": "Cel",
    "relative_humidity": "%RH",
    "illuminance": "lx",
    "medium_moisture": "/",
}

#: When a payload came, from which place, and itself.
Payload = tuple[int, str, bytes]


def values(step: int) -> tuple[float, ...]:
    return 25.0 + step % 7 / 10, 24.5, 93.0 + step % 5 / 10, 9000.0, 0.75


def packs() -> Iterator[Payload]:
    for step in range(READINGS // 40):
        time_ms = START_MS + step * EVERY_MS
        for tray in TRAYS:
            rows = zip(UNITS.items(), values(step), strict=True)
            records = [{"n": name, "u": unit, "v": value} for (name, unit), value in rows]
            records[0]["bt"] = time_ms / 1000
            yield time_ms, tray, json.dumps(records).encode()


def numbers() -> Iterator[Payload]:
    for step in range(READINGS // 40):
        for tray in TRAYS:
            for name, value in zip(UNITS, values(step), strict=True):
                yield START_MS + step * EVERY_MS, f"{tray}/{name}", str(value).encode()


def pack_forms() -> Iterator[tuple[str, Form, Address]]:
    for tray in TRAYS:
        yield tray, SenmlForm({"{quantity}": Target()}), Address("probes", frozenset(TRAYS), tray)


def number_forms() -> Iterator[tuple[str, Form, Address]]:
    for tray in TRAYS:
        for name, unit in UNITS.items():
            form = NumberForm(Target(name, unit=unit if unit == "/" else ""))
            yield f"{tray}/{name}", form, Address("probes", frozenset(TRAYS), tray)


def ours_s(
    payloads: list[Payload], forms: Callable[[], Iterator[tuple[str, Form, Address]]], batch: int
) -> float:
    readers = {place: form.at(address) for place, form, address in forms()}

    def decode(arrival: Arrival) -> Decoded:
        place, payload = arrival.message
        return readers[place].decode(payload, arrival.received_ms)

    probes, size = Probes(decode), len(payloads) * batch // READINGS
    with tempfile.TemporaryDirectory() as folder:
        clock, store = FakeClock(START_MS), SqlStore.open(Path(folder) / "ours.db")
        loop = loop_over(store, plans(), clock)
        begin = perf_counter()
        for first in range(0, len(payloads), size):
            some = payloads[first : first + size]
            for time_ms, place, payload in some:
                loop.queue.hand_over(Arrival(probes, time_ms, (place, payload)))
            clock.step_to(some[-1][0] + 100)
            loop.round([probes])
        seconds = perf_counter() - begin
        assert store.counts()["readings"] == READINGS
        store.close()
    return seconds


def raw_s(batch: int) -> float:
    rows = [(START_MS + n // 40 * EVERY_MS, n % 40, 25.0 + n % 7 / 10) for n in range(READINGS)]
    with tempfile.TemporaryDirectory() as folder:
        database = sqlite3.connect(Path(folder) / "raw.db", isolation_level=None)
        database.execute("pragma journal_mode=wal")
        database.execute("pragma synchronous=full")
        database.execute("create table r (t integer, s integer, v real, primary key (t, s)) without rowid")
        begin = perf_counter()
        for first in range(0, READINGS, batch):
            database.execute("begin immediate")
            database.executemany("insert into r values (?, ?, ?)", rows[first : first + batch])
            database.execute("commit")
        seconds = perf_counter() - begin
        database.close()
    return seconds


def measure() -> Iterator[Row]:
    kinds = {"SenML packs": (list(packs()), pack_forms), "plain numbers": (list(numbers()), number_forms)}
    for kind, (payloads, forms) in kinds.items():
        for batch in (40, 1000):
            pairs = [(ours_s(payloads, forms, batch), raw_s(batch)) for _ in range(ROUNDS)]
            mine, other = (READINGS / median(pair[side] for pair in pairs) for side in (0, 1))
            yield Row(
                f"ingest of {kind}, commits of {batch} readings",
                f"{mine:,.0f} /s",
                f"{other:,.0f} /s raw executemany",
                mine / other,
                "at least 0.6",
                mine >= 0.6 * other,
            )


if __name__ == "__main__":
    print_rows(measure())
