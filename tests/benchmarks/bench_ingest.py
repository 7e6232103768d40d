"""From payloads to the commit: decode, validate, judge and keep, beside raw sqlite3 keeping ready tuples.

SenML packs of five readings, one of them in another unit; batches as large as a commit, synchronous FULL.
"""

import json
import sqlite3
import tempfile
from collections.abc import Iterator
from pathlib import Path
from statistics import median
from time import perf_counter

from fake_clock import FakeClock
from probes import Probes, loop_over
from rows import Row, print_rows
from week import EVERY_MS, START_MS, TRAYS, plans

from wardian.adapters.payloads import Address, Target
from wardian.adapters.senml import SenmlForm
from wardian.adapters.stores.sql import SqlStore
from wardian.rules.ports import Arrival, Decoded

ROUNDS = 3
READINGS = 40_000
NAMES = ("air_temperature", "medium_temperature", "relative_humidity", "illuminance", "medium_moisture")
UNITS = ("Cel", "Cel", "%RH", "lx", "/")


def packs() -> Iterator[tuple[int, str, bytes]]:
    for step in range(READINGS // 40):
        time_ms = START_MS + step * EVERY_MS
        for tray in TRAYS:
            values = (25.0 + step % 7 / 10, 24.5, 93.0 + step % 5 / 10, 9000.0, 0.75)
            records = [{"n": n, "u": u, "v": v} for n, u, v in zip(NAMES, UNITS, values, strict=True)]
            records[0]["bt"] = time_ms / 1000
            yield time_ms, tray, json.dumps(records).encode()


def ours_s(batch: int) -> float:
    form = SenmlForm({"{quantity}": Target()})
    readers = {tray: form.at(Address("probes", frozenset(TRAYS), tray)) for tray in TRAYS}

    def decode(arrival: Arrival) -> Decoded:
        tray, payload = arrival.message
        return readers[tray].decode(payload, arrival.received_ms)

    probes, messages = Probes(decode), list(packs())
    with tempfile.TemporaryDirectory() as folder:
        clock, store = FakeClock(START_MS), SqlStore.open(Path(folder) / "ours.db")
        loop = loop_over(store, plans(), clock)
        begin = perf_counter()
        for first in range(0, len(messages), batch // 5):
            some = messages[first : first + batch // 5]
            for time_ms, tray, payload in some:
                loop.queue.hand_over(Arrival(probes, time_ms, (tray, payload)))
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


def measure() -> list[Row]:
    rows = []
    for batch in (40, 1000):
        pairs = [(ours_s(batch), raw_s(batch)) for _ in range(ROUNDS)]
        mine, other = (READINGS / median(pair[side] for pair in pairs) for side in (0, 1))
        figure = f"ingest, commits of {batch} readings"
        rows.append(
            Row(
                figure,
                f"{mine:,.0f} /s",
                f"{other:,.0f} /s raw executemany",
                mine / other,
                "at least 0.6",
                mine >= 0.6 * other,
            )
        )
    return rows


if __name__ == "__main__":
    print_rows(measure())
