"""Closed hours: what they take in the file, how long a day or a week takes to read, what folding wears off a card.

Forty sensors each ten seconds, twice: the seeded week, half of whose sensors have times of their own that jitter
by up to 300 ms (which takes a byte a reading by itself), and days of the pretended bench as they are simulated. The
yardstick is the same readings in rows, in the same run. Bytes written to the device need root.
"""

import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from statistics import median
from time import perf_counter

from bench_wear import file_system, missing
from rows import Row, print_rows
from week import DAY_MS, START_MS, plans, week

from wardian.adapters.stores.sql import SqlStore
from wardian.daemon.recorded import weeks
from wardian.rules.plans import TrayPlan
from wardian.rules.ports import Round
from wardian.rules.readings import Chunk, Reading, Series, count

HOUR_MS = 3_600_000
DAYS = 7
SENSORS_A_YEAR = 40 * 365 * 8_640
TIMES = 15
PLANS = {plan.tray: plan for plan in plans()}


def kept(path: Path, chunk: Chunk) -> SqlStore:
    """Keep readings in the order of time, a quarter of an hour a round."""
    store = SqlStore.open(path)
    rows = sorted(
        (
            Reading(time_ms, *series, value)
            for series, points in chunk.items()
            for time_ms, value in zip(points.times_ms.tolist(), points.values.tolist(), strict=True)
        ),
    )
    for first in range(0, len(rows), 3_600):
        store.keep(Round(START_MS, readings=rows[first : first + 3_600]))
    return store


def fold_all(store: SqlStore, before_ms: int, by_tray: dict[str, TrayPlan]) -> list[float]:
    """Fold what there is; return how long each piece took. [s]"""
    took, more = [], True
    while more:
        begun = perf_counter()
        more = store.fold(before_ms, by_tray)
        took.append(perf_counter() - begun)
    return took


def bytes_of(store: SqlStore, *tables: str) -> int:
    """Return the bytes of all pages of some tables."""
    names = ", ".join(f"'{table}'" for table in tables)
    with store._reading() as connection:
        query = f"SELECT sum(pgsize) FROM dbstat WHERE name IN ({names})"
        return int(connection.exec_driver_sql(query).scalar() or 0)


def seconds(work: Callable[[], object]) -> float:
    took = []
    for _ in range(TIMES):
        begun = perf_counter()
        work()
        took.append(perf_counter() - begun)
    return median(took)


def room(store: SqlStore, what: str, rows_bytes: int, readings: int) -> list[Row]:
    """Return what closed hours take, chunks alone and with what they came to."""
    chunks, rolled = bytes_of(store, "chunks", "instants"), bytes_of(store, "rollups")
    yardstick = f"{rows_bytes / readings:.1f} B in rows"
    year = (chunks + rolled) / readings * SENSORS_A_YEAR / 1e6
    return [
        Row(
            f"bytes a reading of closed hours, {what}",
            f"{chunks / readings:.2f} B",
            yardstick,
            chunks / rows_bytes,
            "at most 1.5 B",
            chunks / readings <= 1.5,
        ),
        Row(
            f"a year of 40 sensors with its five-minute pieces, {what}",
            f"{year:.0f} MB",
            f"{rows_bytes / readings * SENSORS_A_YEAR / 1e6:.0f} MB in rows",
            (chunks + rolled) / rows_bytes,
            "at most 250 MB",
            year <= 250,
        ),
    ]


def speed(folded: SqlStore, in_rows: SqlStore, series: Series) -> list[Row]:
    """Return how long reading takes, beside the same from rows."""
    day = (START_MS + 2 * DAY_MS, START_MS + 3 * DAY_MS)
    week_long = (START_MS, START_MS + (DAYS - 1) * DAY_MS)

    def of_day(store: SqlStore) -> float:
        return seconds(lambda: store.chunk(*day, [series.quantity], [series.tray]))

    def of_week(store: SqlStore) -> float:
        return min(_once(store, week_long) for _ in range(3))

    rows = []
    for what, work, goal in (("one sensor's day", of_day, 0.005), ("six days of all sensors", of_week, None)):
        ours, theirs = work(folded), work(in_rows)
        goal_words = f"under {goal * 1000:.0f} ms" if goal else ""
        met = ours < goal if goal else None
        yardstick = f"{theirs * 1000:.1f} ms from rows"
        rows.append(Row(f"{what} read", f"{ours * 1000:.1f} ms", yardstick, ours / theirs, goal_words, met))
    rolled = seconds(lambda: folded.rollups(series, *week_long))
    alone = of_day(folded)
    rows.append(
        Row(
            "six days of five-minute pieces read",
            f"{rolled * 1000:.1f} ms",
            f"{alone * 1000:.1f} ms for the readings of one of them",
            rolled / alone,
            "",
            None,
        )
    )
    return rows


def _once(store: SqlStore, span: tuple[int, int]) -> float:
    begun = perf_counter()
    store.chunk(*span)
    return perf_counter() - begun


def wear() -> Row:
    """Return how many bytes folding a day writes to the device, beside those of keeping it."""
    figure = "bytes to the device a reading for folding, hour by hour"
    why_not = missing()
    if why_not:
        return Row(figure, f"not measured here: {why_not}", "", None, "", None)
    chunk = week(days=1)
    readings = sum(count([points]) for points in chunk.values())
    with tempfile.TemporaryDirectory() as folder, file_system(Path(folder)) as (place, written):
        before = written()
        store = kept(place / "bench.db", chunk)
        keeping = written() - before
        before = written()
        for hour_ms in range(START_MS, START_MS + DAY_MS, HOUR_MS):
            fold_all(store, hour_ms + HOUR_MS, PLANS)
        folding = written() - before
        store.close()
    kept_bytes = f"{keeping / readings:.0f} B for keeping it, commits every 15 min"
    return Row(figure, f"{folding / readings:.0f} B", kept_bytes, folding / keeping, "", None)


def pretended(folder: Path) -> Chunk:
    """Return two days of the pretended bench, as they are simulated."""
    path = folder / "days.csv"
    options = ["--days", "2", "--seed", "7", "--start", "2026-03-02T00:00:00Z"]
    command = [sys.executable, "-m", "wardian.daemon.cli", "simulate", "--out", str(path), *options]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    (days,) = weeks([path], [])
    return days.chunk


def room_of(store: SqlStore, what: str, took: list[float]) -> list[Row]:
    """Fold what there is; return what closed hours take, beside the same readings in rows."""
    rows_bytes, every = bytes_of(store, "readings"), store.counts()["readings"]
    took += fold_all(store, START_MS + DAYS * DAY_MS, PLANS)
    with store._reading() as connection:
        still = connection.exec_driver_sql("SELECT count(*) FROM readings").scalar_one()
    return room(store, what, round(rows_bytes * (every - still) / every), every - still)


def measure() -> list[Row]:
    with tempfile.TemporaryDirectory() as folder:
        simulated = kept(Path(folder, "pretended.db"), pretended(Path(folder)))
        of_bench = room_of(simulated, "pretended bench", [])
        simulated.close()
        chunk = week(days=DAYS)
        in_rows = kept(Path(folder, "rows.db"), chunk)
        folded = kept(Path(folder, "folded.db"), chunk)
        took: list[float] = []
        rows = of_bench + room_of(folded, "seeded week", took)
        rows += speed(folded, in_rows, next(iter(chunk)))
        longest = max(took)
        figure = "an hour of 40 sensors folded"
        rows.append(
            Row(
                figure,
                f"{median(took) * 1000:.0f} ms",
                f"{longest * 1000:.0f} ms the longest",
                None,
                "",
                None,
            )
        )
        in_rows.close()
        folded.close()
    return [*rows, wear()]


if __name__ == "__main__":
    print_rows(measure())
