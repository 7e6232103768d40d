"""The page of a daemon with 40 sensors and much in its store: first byte, whole load, bytes, and what it adds to the daemon.

What is in the store is judged and folded before it is looked at, as it is of a daemon that has run all the time.
"""

import argparse
import gzip
import http.client
import re
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
from typing import NamedTuple

from page_rig import free_port
from rows import Row, print_rows

from wardian.adapters.stores.opening import open_store
from wardian.daemon import wiring
from wardian.daemon.clock import SystemClock
from wardian.daemon.folding import MARGIN_MS
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


def fold(folder: Path) -> None:
    """Fold all that the daemon would have folded by now."""
    write_config(folder, None)
    plans = {tray.name: tray.plan for tray in wiring.load_config(folder / "config.yaml").trays}
    store = open_store("sqlite:///page.db", folder)
    while store.fold(SystemClock().wall_ms() - MARGIN_MS, plans):
        pass
    store.close()


def write_config(folder: Path, port: int | None) -> None:
    stuck = datetime.fromtimestamp(SystemClock().wall_ms() / 1000, UTC).date() - timedelta(days=5)
    trays = "\n".join(f"  - {{name: {name}, crop: coleus, stuck: {stuck}}}" for name in TRAYS)
    page = f"page: {{listen: '127.0.0.1:{port}'}}" if port else ""
    (folder / "config.yaml").write_text(CONFIG.format(trays=trays, page=page), encoding="utf-8")


@contextmanager
def daemon(folder: Path, port: int | None) -> Iterator[int]:
    """Run the daemon, with its page at a port or without; yield its process once it has caught up."""
    write_config(folder, port)
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


class Look(NamedTuple):
    """When the first byte of an answer came and when the last [s], how many came, and what they say."""

    first_s: float
    last_s: float
    size: int
    text: str


def look(port: int, path: str) -> Look:
    """Ask as a browser does."""
    begin = perf_counter()
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
    connection.request("GET", path, headers={"Accept-Encoding": "gzip, deflate"})
    answer = connection.getresponse()
    first_s = perf_counter() - begin
    body = answer.read()
    last_s = perf_counter() - begin
    connection.close()
    assert answer.status == 200, (path, answer.status)
    is_compressed = answer.getheader("content-encoding") == "gzip"
    return Look(first_s, last_s, len(body), (gzip.decompress(body) if is_compressed else body).decode())


class Load(NamedTuple):
    """A page with what it needs, one after another: its own first byte, all of it [s], and how many bytes."""

    first_s: float
    whole_s: float
    size: int


def load(port: int, path: str) -> Load:
    """Load a page with its style, script and mark; without its pictures, which a browser draws in later."""
    looks = [look(port, one) for one in (path, "/page.css", "/page.js", "/icon.svg")]
    return Load(looks[0].first_s, sum(one.last_s for one in looks), sum(one.size for one in looks))


def page_rows(port: int, path: str) -> Iterator[Row]:
    """Yield how a page loads: at the first look after the start, and at later ones."""
    cold = load(port, path)
    warm = []
    for _ in range(LOOKS):
        Event().wait(PAUSE_S)
        warm.append(load(port, path))
    first_s, whole_s = (median(column) for column in zip(*(one[:2] for one in warm), strict=True))
    for words, first, whole in (
        ("first look after a start", cold.first_s, cold.whole_s),
        (f"median of {LOOKS} looks", first_s, whole_s),
    ):
        beside = f"{whole * 1000:.0f} ms until all is there"
        name = f"page: first byte of {path}, {words}"
        yield Row(name, f"{first * 1000:.0f} ms", beside, first / whole, "all in 1 s", whole < 1)
    size = max(one.size for one in (cold, *warm))
    yield Row(
        f"page: {path} with style and script", f"{size / 1000:.0f} kB", "", None, "200 kB", size < 200_000
    )


def pictures_row(port: int, path: str) -> Row:
    """Return what a tray's view weighs with its pictures of day, week and batch."""
    places = re.findall(r'src="(/tray/[^"]*\.svg)"', look(port, path).text)
    drawn = [look(port, place) for place in places]
    size = load(port, path).size + sum(one.size for one in drawn)
    plain = sum(len(one.text) for one in drawn)
    words = f"pictures {plain / 1000:.0f} kB before they are compressed, drawn in {sum(one.last_s for one in drawn):.1f} s"
    return Row(
        f"page: {path} with its {len(drawn)} pictures",
        f"{size / 1000:.0f} kB",
        words,
        None,
        "200 kB",
        size < 200_000,
    )


def measure(days: int) -> list[Row]:
    with tempfile.TemporaryDirectory() as name:
        folder, port = Path(name), free_port()
        kept = fill(folder, days)
        with daemon(folder, None):
            # What was never judged takes memory once, page or not.
            pass
        fold(folder)
        size_mib = (folder / "page.db").stat().st_size / 2**20
        with daemon(folder, None) as pid:
            bare_mib = resident_mib(pid)
        rows = []
        with daemon(folder, port) as pid:
            rows.append(_memory("page: memory added, nobody looking", resident_mib(pid), bare_mib))
            for path in ("/", "/tray/1"):
                rows += page_rows(port, path)
            rows.append(pictures_row(port, "/tray/1"))
            rows.append(_memory("page: memory added, after looking", resident_mib(pid), bare_mib))
    print(f"{kept} readings of {days} days, {size_mib:.0f} MiB of file")
    return rows


def _memory(name: str, with_page: float, without: float) -> Row:
    return Row(
        name, f"{with_page - without:.1f} MiB", f"{without:.1f} MiB without", with_page / without, "", None
    )


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--days", type=int, default=14)
    print_rows(measure(parser.parse_args().days))
