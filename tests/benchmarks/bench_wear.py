"""Bytes that reach the device for each reading: 40 sensors every ten seconds, everything included.

A file system of its own (ext4 in a file, loop-mounted without access times), whose sectors written are
counted by the kernel, journal and checkpoints included. The real loop, store and words, on a stepped
clock, over a seeded day on which every tray drifts: the alarms' journal, their messages for one channel and
each one's delivery are in the figure, and so are the engine's states. The yardstick is as many rows keyed
by sensor first, committed as often. A whole day's bytes are the same with closed hours folded beside the rounds, and
with a backup at the end of it, of a day and of as much as a year leaves. Needs root.
"""

import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from fake_clock import FakeClock
from probes import Probes
from rows import Row, print_rows
from week import DAY_MS, EVERY_MS, MEASURED, START_MS, TRAYS, configuration, week

from wardian.adapters.stores.copies import back_up
from wardian.adapters.stores.sql import SqlStore
from wardian.daemon import wiring
from wardian.daemon.folding import Folding
from wardian.daemon.loop import Loop
from wardian.rules.engine import Engine
from wardian.rules.ports import Arrival, Decoded, Measured

SECTOR_BYTES = 512
#: What a year of 40 sensors takes in the seeded week's manner, by ``bench_fold.py``.
YEAR_BYTES = 221_000_000


@contextmanager
def file_system(folder: Path) -> Iterator[tuple[Path, Callable[[], int]]]:
    """Mount a file system of our own; yield its folder and what counts the bytes written to its device."""
    image, place = folder / "image", folder / "mounted"
    place.mkdir()
    with image.open("wb") as file:
        file.truncate(2 << 30)
    subprocess.run(["mkfs.ext4", "-q", "-F", str(image)], check=True)
    device = subprocess.check_output(["losetup", "--find", "--show", str(image)], text=True).strip()
    try:
        subprocess.run(["mount", "-o", "noatime", device, str(place)], check=True)
        counter = Path(f"/sys/block/{Path(device).name}/stat")

        def written() -> int:
            subprocess.run(["sync", "-f", str(place)], check=True)
            return int(counter.read_text().split()[6]) * SECTOR_BYTES

        try:
            yield place, written
        finally:
            subprocess.run(["umount", str(place)], check=True)
    finally:
        subprocess.run(["losetup", "--detach", device], check=True)


def ours(place: Path, commit_every_ms: int, *, folds: bool = False) -> int:
    """Run a day through the real loop; return the number of readings."""
    clock, store = FakeClock(START_MS), SqlStore.open(place / "ours.db")
    probes = Probes(lambda arrival: arrival.message)
    loop = real_loop(place, store, clock)
    if folds:
        loop.beside = [Folding(store, loop, loop.engine.trays, clock)]
    day = arrivals(probes)
    first = 0
    for due_ms in range(START_MS + commit_every_ms, START_MS + DAY_MS + 1, commit_every_ms):
        clock.step_to(due_ms)
        while first < len(day) and day[first].received_ms < due_ms:
            loop.queue.hand_over(day[first])
            first += 1
        loop.round([probes])
        for due in store.due(due_ms):
            store.delivered(due.number, due_ms)
    loop.close()
    counts = store.counts()
    assert counts["sent"] >= counts["journal"] > 100, "the day should have had its alarms"
    store.close()
    return counts["readings"]


def real_loop(place: Path, store: SqlStore, clock: FakeClock) -> Loop:
    """Return the loop as a configuration makes it, with one channel for messages."""
    (place / "config.yaml").write_text(configuration(), encoding="utf-8")
    config = wiring.load_config(place / "config.yaml")
    settle_ms = {tray.name: tray.settle_ms for tray in config.trays}
    engine = Engine(tray.plan for tray in config.trays)
    loop = Loop(engine, store, wiring.teller(config, ["mail"]), settle_ms, clock)
    loop.quiet_s = 0.0
    loop.notes = lambda: {"sensors": {}, "clock": {"time_ms": clock.wall_ms()}}
    loop.bring_up_to_date(clock.wall_ms())
    return loop


def arrivals(probes: Probes) -> list[Arrival]:
    """Return the readings of a day in the order of time, one tray's of one instant at a time."""
    together: dict[tuple[int, str], list[Measured]] = {}
    for (tray, quantity), points in week(days=1).items():
        for time_ms, value in zip(points.times_ms.tolist(), points.values.tolist(), strict=True):
            together.setdefault((time_ms, tray), []).append(Measured(time_ms, tray, quantity, value))
    return [Arrival(probes, key[0], Decoded(values)) for key, values in sorted(together.items())]


def keyed_by_sensor(place: Path, commit_every_ms: int) -> int:
    """Keep the same readings with the other order of the key; return their number."""
    database = sqlite3.connect(place / "other.db", isolation_level=None)
    database.execute("pragma journal_mode=wal")
    database.execute("pragma synchronous=full")
    database.execute("create table r (s integer, t integer, v real, primary key (s, t)) without rowid")
    count = 0
    for begin_ms in range(START_MS, START_MS + DAY_MS, commit_every_ms):
        rows = [
            (sensor, time_ms, 25.0)
            for time_ms in range(begin_ms, begin_ms + commit_every_ms, EVERY_MS)
            for sensor in range(len(TRAYS) * len(MEASURED))
        ]
        database.execute("begin immediate")
        database.executemany("insert into r values (?, ?, ?)", rows)
        database.execute("commit")
        count += len(rows)
    database.close()
    return count


def bytes_a_reading(work: Callable[[Path, int], int], commit_every_ms: int) -> float:
    with tempfile.TemporaryDirectory() as folder, file_system(Path(folder)) as (place, written):
        before = written()
        count = work(place, commit_every_ms)
        return (written() - before) / count


def a_day() -> list[Row]:
    """Return what a day with folding writes, without a backup and with one."""
    with tempfile.TemporaryDirectory() as folder, file_system(Path(folder)) as (place, written):
        before = written()
        ours(place, 10_000, folds=True)
        watched = written() - before
        before = written()
        backup_bytes = back_up(place / "ours.db", place / "backups" / "ours.backup")
        copied = written() - before
    share = copied / backup_bytes
    rows = [
        Row(
            "a day of 40 sensors, closed hours folded: written to the device",
            f"{watched / 1e6:.0f} MB",
            "",
            None,
            "",
            None,
        )
    ]
    for what, size_bytes in (("the first day's backup", backup_bytes), ("a backup after a year", YEAR_BYTES)):
        total = watched + size_bytes * share
        words = f"{size_bytes / 1e6:.0f} MB are copied, {share:.2f} times that written"
        rows.append(Row(f"the same with {what}", f"{total / 1e6:.0f} MB", words, total / watched, "", None))
    return rows


def missing() -> str:
    """Return what this machine lacks for the measurement, or nothing."""
    if os.geteuid() != 0:
        return "needs root"
    programs = [name for name in ("mkfs.ext4", "losetup", "mount") if shutil.which(name) is None]
    if programs:
        return f"needs {', '.join(programs)}"
    found = subprocess.run(["losetup", "--find"], capture_output=True, check=False)
    return "" if found.returncode == 0 else "no loop device can be made"


def measure() -> list[Row]:
    why_not = missing()
    if why_not:
        return [Row("bytes to the device a reading", f"not measured here: {why_not}", "", None, "", None)]
    rows = a_day()
    for seconds, goal in ((10, 700), (60, 300)):
        mine = bytes_a_reading(ours, seconds * 1000)
        other = bytes_a_reading(keyed_by_sensor, seconds * 1000)
        figure = f"bytes to the device a reading, commits every {seconds} s"
        rows.append(
            Row(
                figure,
                f"{mine:.0f} B",
                f"{other:.0f} B keyed by sensor first",
                mine / other,
                f"at most {goal} B",
                mine <= goal,
            )
        )
    return rows


if __name__ == "__main__":
    print_rows(a_day() if sys.argv[1:] == ["--day"] and not missing() else measure())
