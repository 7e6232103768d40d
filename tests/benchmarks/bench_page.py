"""The page of a daemon with 40 sensors and much in its store: first byte, bytes, and what it adds to the daemon."""

import argparse
import http.client
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median
from threading import Event
from time import perf_counter

from page_rig import free_port
from rows import Row, print_rows

from wardian.adapters.stores.opening import open_store
from wardian.daemon.clock import SystemClock
from wardian.rules.ports import Round
from wardian.rules.readings import Reading

TRAYS = [f"tray-{letter}" for letter in "abcdefgh"]
VALUES = {
    "air_temperature": 25.0,
    "medium_temperature": 24.5,
    "relative_humidity": 94.0,
    "illuminance": 5000.0,
    "tray_mass": 2400.0,
}
MINUTE_MS = 60_000
DAY_MS = 1440 * MINUTE_MS
LOOKS = 9
#: What was looked up stands for two seconds; a look after that is a look into the store.
PAUSE_S = 2.1
CONFIG = """\
site: {{name: Evening propagation class, timezone: Europe/Lisbon, units: US}}
store: {{url: "sqlite:///page.db"}}
trays:
{trays}
notifiers: [{{name: terminal, kind: console}}]
{page}
"""


def fill(folder: Path, days: int) -> int:
    """Keep a reading of each series each minute of so many days; return how many."""
    store = open_store("sqlite:///page.db", folder)
    now_ms = SystemClock().wall_ms()
    kept = 0
    for begin_ms in range(now_ms - days * DAY_MS, now_ms, DAY_MS):
        readings = [
            Reading(at, tray, name, value + at // MINUTE_MS % 7 / 10)
            for at in range(begin_ms, begin_ms + DAY_MS, MINUTE_MS)
            for tray in TRAYS
            for name, value in VALUES.items()
        ]
        kept += store.keep(Round(begin_ms + DAY_MS, readings=readings)).readings
    store.close()
    return kept


@contextmanager
def daemon(folder: Path, port: int | None) -> Iterator[int]:
    """Run the daemon, with its page at a port or without; yield its process once it has caught up."""
    stuck = datetime.fromtimestamp(SystemClock().wall_ms() / 1000, UTC).date() - timedelta(days=5)
    trays = "\n".join(f"  - {{name: {name}, crop: coleus, stuck: {stuck}}}" for name in TRAYS)
    page = f"page: {{listen: '127.0.0.1:{port}'}}" if port else ""
    (folder / "config.yaml").write_text(CONFIG.format(trays=trays, page=page), encoding="utf-8")
    command = [sys.executable, "-m", "wardian.daemon.cli", "run", "--config", "config.yaml"]
    with subprocess.Popen(command, cwd=folder, stderr=subprocess.DEVNULL) as process:
        try:
            Event().wait(20)
            yield process.pid
        finally:
            process.terminate()


def resident_mib(pid: int) -> float:
    status = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    return int(next(line for line in status.splitlines() if line.startswith("VmRSS")).split()[1]) / 1024


def look(port: int, path: str) -> tuple[float, float, int]:
    """Return when the first byte came and the last, and how many there were. [s]"""
    begin = perf_counter()
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    connection.request("GET", path)
    answer = connection.getresponse()
    first = perf_counter() - begin
    size = len(answer.read())
    assert answer.status == 200, (path, answer.status)
    return first, perf_counter() - begin, size


def measure(days: int) -> list[Row]:
    with tempfile.TemporaryDirectory() as name:
        folder, port, pause = Path(name), free_port(), Event()
        kept = fill(folder, days)
        size_mib = (folder / "page.db").stat().st_size / 2**20
        with daemon(folder, None):
            # What was never judged takes memory once, page or not.
            pass
        with daemon(folder, None) as pid:
            bare_mib = resident_mib(pid)
        rows = []
        with daemon(folder, port) as pid:
            rows.append(_memory("page: memory added, nobody looking", resident_mib(pid), bare_mib))
            for path in ("/", "/tray/1", "/journal", "/figures", "/page.css"):
                looks = []
                for _ in range(LOOKS):
                    pause.wait(PAUSE_S)
                    looks.append(look(port, path))
                first, last, size = (median(column) for column in zip(*looks, strict=True))
                beside = f"{size / 1000:.0f} kB; slowest {max(one[0] for one in looks) * 1000:.0f} ms"
                rows.append(
                    Row(
                        f"page: first byte of {path}",
                        f"{first * 1000:.0f} ms",
                        beside,
                        first,
                        "under 1 s",
                        last < 1,
                    )
                )
            rows.append(_memory("page: memory added, after looking", resident_mib(pid), bare_mib))
    print(f"{kept} readings of {days} days, {size_mib:.0f} MiB")
    return rows


def _memory(name: str, with_page: float, without: float) -> Row:
    return Row(
        name, f"{with_page - without:.1f} MiB", f"{without:.1f} MiB without", with_page / without, "", None
    )


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--days", type=int, default=14)
    print_rows(measure(parser.parse_args().days))
