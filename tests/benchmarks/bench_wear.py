"""Bytes that reach the device for each reading: 40 sensors every ten seconds, everything included.

A file system of its own (ext4 in a file, loop-mounted without access times), whose sectors written are
counted by the kernel, journal and checkpoints included. The real loop and store, on a stepped clock; the
yardstick is the same rows keyed by sensor first, committed as often. Needs root.
"""

import os
import sqlite3
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from fake_clock import FakeClock
from probes import Probes, loop_over
from rows import Row, print_rows
from week import EVERY_MS, MEASURED, START_MS, TRAYS, plans

from wardian.adapters.stores.sql import SqlStore
from wardian.rules.ports import Arrival, Decoded, Measured

HOURS = 24
SECTOR_BYTES = 512


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


def ours(place: Path, commit_every_ms: int) -> int:
    """Run a day through the real loop; return the number of readings."""
    clock, store = FakeClock(START_MS), SqlStore.open(place / "ours.db")
    probes = Probes(lambda arrival: arrival.message)
    loop = loop_over(store, plans(), clock)
    count = 0
    for begin_ms in range(START_MS, START_MS + HOURS * 3_600_000, commit_every_ms):
        for time_ms in range(begin_ms, begin_ms + commit_every_ms, EVERY_MS):
            step = time_ms // EVERY_MS
            for tray in TRAYS:
                values = [Measured(time_ms, tray, name, quiet(name, step)) for name in MEASURED]
                loop.queue.hand_over(Arrival(probes, time_ms, Decoded(values)))
                count += len(values)
        clock.step_to(begin_ms + commit_every_ms)
        loop.round([probes])
    loop.close()
    store.close()
    return count


def quiet(name: str, step: int) -> float:
    """Return a value within every band, with a probe's noise."""
    middle = {"air_temperature": 25.0, "relative_humidity": 93.0, "medium_temperature": 24.0}
    if name == "illuminance":
        return 9000.0 if step % 8640 < 6480 else 0.0
    return round(middle.get(name, 75.0) + (step * 7919 % 13) / 50, 2)


def keyed_by_sensor(place: Path, commit_every_ms: int) -> int:
    """Keep the same readings with the other order of the key; return their number."""
    database = sqlite3.connect(place / "other.db", isolation_level=None)
    database.execute("pragma journal_mode=wal")
    database.execute("pragma synchronous=full")
    database.execute("create table r (s integer, t integer, v real, primary key (s, t)) without rowid")
    count = 0
    for begin_ms in range(START_MS, START_MS + HOURS * 3_600_000, commit_every_ms):
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


def measure() -> list[Row]:
    if os.geteuid() != 0:
        return [Row("bytes to the device a reading", "not measured: needs root", "", None, "", None)]
    rows = []
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
    print_rows(measure())
