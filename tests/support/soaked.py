"""Weeks of a pretended bench in minutes, through the whole daemon as a process, and what it takes meanwhile.

What goes by the bench's own time runs: probes, judging, folding, a channel, people, the daily summary; and somebody looks
at the page. Copies at night and deletion by age go by the machine's clock and are not part of it. Looked at from outside, by what the system says of the process and by the sizes of files.
"""

import signal
import socket
import subprocess
import sys
import threading
import urllib.request
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from sqlite3 import connect
from statistics import linear_regression, median
from typing import Final

from receivers import HttpReceiver, http_receiver

DAY_S: Final = 86_400
BEGIN_S: Final = 1_772_431_200
#: Days after which nothing new is learnt: by then every tray has three days of minutes in memory.
WARM_DAYS: Final = 4.0
_PAGES: Final = ("page_count", "freelist_count", "page_size")

CONFIG: Final = """\
site: {{name: Evening propagation class, timezone: Europe/Lisbon, units: SI}}
store: {{url: "sqlite:///soak.db", commit_every: 10 s}}
trays:
{trays}
sensors:
  - name: pretended bench
    kind: simulator
    every: {every_s} s
    start: 2026-03-02T06:00:00+00:00
    speed: {speed}
    faults:
{faults}
notifiers:
  - {{name: office, kind: webhook, url: "http://127.0.0.1:{hook}/alarms"}}
people:
  - {{name: teacher, channels: [office], summary: true}}
summary: {{at: "07:00", channels: [office]}}
page: {{listen: "127.0.0.1:{page}"}}
{more}
"""


@dataclass(frozen=True)
class Sample:
    """What the daemon took at one moment; ``day`` is of its own time."""

    day: float
    resident_mib: float
    handles: int
    threads: int
    wal_bytes: int
    log_bytes: int
    store_bytes: int
    #: Of the database, what is not free for what comes next.
    used_bytes: int


@dataclass(frozen=True)
class Soaking:
    """How long, how fast, and how many trays, each with five probes."""

    days: float
    speed: float
    trays: int = 4
    every_s: int = 10
    more: str = ""


@dataclass
class Outcome:
    """Samples over the whole time, and what came of it."""

    samples: list[Sample] = field(default_factory=list)
    messages: int = 0
    pages: int = 0
    readings: int = 0
    log: str = ""
    exit_status: int | None = None

    def after(self, day: float) -> list[Sample]:
        """Return the samples from a day on."""
        return [one for one in self.samples if one.day >= day]

    def growth_a_day(self, what: str, from_day: float) -> float:
        """Return how much something grows in a day, by a straight line through what was seen."""
        seen = self.after(from_day)
        slope: float = linear_regression(
            [one.day for one in seen], [getattr(one, what) for one in seen]
        ).slope
        return slope

    def growth_of_a_usual_day(self, what: str, from_day: float) -> float:
        """Return by how much something grows from one day to the next, in the median.

        A machine that is busy for a while lets the pretended bench fall behind and then catch up with a day at once,
        which takes more memory once; what leaks, leaks every day.
        """
        days: dict[int, list[Sample]] = {}
        for one in self.after(from_day):
            days.setdefault(int(one.day), []).append(one)
        middles = [middle(seen, what) for _, seen in sorted(days.items())]
        return float(median(after - before for before, after in pairwise(middles)))


def soak(folder: Path, asked: Soaking, sample_s: float = 1.0) -> Outcome:
    """Let the daemon watch for some days of its own time."""
    outcome = Outcome()
    with http_receiver() as receiver, _daemon(folder, asked, receiver) as (process, page):
        over = threading.Event()
        while True:
            seen = _seen(folder)
            if seen is not None and process.poll() is None:
                outcome.samples.append(_sample(process.pid, folder, *seen))
                outcome.pages += _looked_at(page)
            if process.poll() is not None or (seen is not None and seen[0] >= asked.days):
                break
            over.wait(sample_s)
        process.send_signal(signal.SIGTERM)
        with suppress(subprocess.TimeoutExpired):
            outcome.exit_status = process.wait(30)
        outcome.messages = len(receiver.requests)
    outcome.log = (folder / "daemon.log").read_text(encoding="utf-8", errors="replace")
    assert outcome.samples, outcome.log
    outcome.readings = _readings(folder)
    return outcome


@contextmanager
def _daemon(
    folder: Path, asked: Soaking, receiver: HttpReceiver
) -> Iterator[tuple["subprocess.Popen[bytes]", int]]:
    page = _free_port()
    names = [f"tray-{number}" for number in range(asked.trays)]
    crops = ("coleus", "basil", "tomato", "fuchsia")
    trays = [
        f"  - {{name: {name}, crop: {crops[n % 4]}, stuck: 2026-03-0{1 + n % 2}}}"
        for n, name in enumerate(names)
    ]
    text = CONFIG.format(
        trays="\n".join(trays),
        faults="\n".join(_faults(names, asked.days)),
        every_s=asked.every_s,
        speed=asked.speed,
        hook=receiver.port,
        page=page,
        more=asked.more,
    )
    (folder / "config.yaml").write_text(text, encoding="utf-8")
    with (folder / "daemon.log").open("ab") as log:
        command = [sys.executable, "-m", "wardian.daemon.cli", "run"]
        process = subprocess.Popen(command, cwd=folder, stdout=log, stderr=log)
    try:
        yield process, page
    finally:
        if process.poll() is None:
            process.kill()
        process.wait(10)


def _faults(trays: Sequence[str], days: float) -> Iterator[str]:
    """Yield something that goes wrong each day, so that alarms, messages and causes are part of it."""
    kinds = ("cover left off", "heater dead", "lamp dead")
    for day in range(int(days) + 1):
        tray, kind = trays[day % len(trays)], kinds[day % len(kinds)]
        yield f"      - {{tray: {tray}, fault: {kind}, after: {day * 24 + 5} h, lasts: 5 h}}"


def _seen(folder: Path) -> tuple[float, int] | None:
    """Return how far the daemon has come, by its newest reading, and how much of the database is in use."""
    path = folder / "soak.db"
    if not path.exists():
        return None
    with suppress(Exception), closing(connect(f"file:{path}?mode=ro", uri=True, timeout=10)) as database:
        (newest,) = database.execute("select max(time_ms) from readings").fetchone()
        told = [database.execute(f"pragma {name}").fetchone()[0] for name in _PAGES]
        used = (told[0] - told[1]) * told[2]
        return None if newest is None else (float(newest / 1000 - BEGIN_S) / DAY_S, used)
    return None


def _sample(pid: int, folder: Path, day: float, used_bytes: int) -> Sample:
    status = Path(f"/proc/{pid}/status").read_text(encoding="utf-8").splitlines()
    told = {line.partition(":")[0]: line.partition(":")[2].split() for line in status}
    return Sample(
        day,
        int(told["VmRSS"][0]) / 1024,
        sum(1 for _ in Path(f"/proc/{pid}/fd").iterdir()),
        int(told["Threads"][0]),
        _size(folder / "soak.db-wal"),
        _size(folder / "daemon.log"),
        _size(folder / "soak.db"),
        used_bytes,
    )


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def _size(path: Path) -> int:
    return path.stat().st_size if path.exists() else 0


def _looked_at(port: int) -> int:
    """Look at the bench as a browser would."""
    with suppress(OSError), urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=20) as answer:
        return int(answer.status == 200 and bool(answer.read()))
    return 0


def _readings(folder: Path) -> int:
    from wardian.adapters.stores.opening import open_store

    store = open_store(f"sqlite:///{folder}/soak.db", folder, read_only=True)
    try:
        return store.counts()["readings"]
    finally:
        store.close()


def middle(samples: Sequence[Sample], what: str) -> float:
    """Return the median of something."""
    return float(median(getattr(one, what) for one in samples))
