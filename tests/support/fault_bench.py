"""A bench for faults: a real broker, the daemon as a process, a receiver of its messages; and what holds after any fault.

The rule of this file: what the daemon did is read from outside alone, from its store, its messages, its log and
what ``wardian status`` says.
"""

import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from receivers import HttpReceiver, http_receiver

from wardian.adapters.stores.opening import open_store
from wardian.adapters.timestamps import text_of
from wardian.rules.ports import Due, JournalEntry, Refused
from wardian.rules.readings import Reading
from wardian.rules.transitions import RAISED, RETURNED

MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS
DAY_MS = 24 * HOUR_MS
WaitUntil = Callable[..., None]
_ASK_EVERY_S = 0.3
#: What must never be seen in a log: the token of the receiver.
SECRET = "canary-of-perlite-7319"
#: What a pack of the bench's probes calls each quantity, and its unit there.
NAMES = {
    "medium_temperature": ("temp", "Cel"),
    "air_temperature": ("air", "Cel"),
    "relative_humidity": ("humidity", "%RH"),
    "illuminance": ("light", "lx"),
}
BANDS = """\
          medium_temperature: {low: 20 °C, high: 25 °C, on_delay: 10 min, off_delay: 5 min}
          relative_humidity: {low: 88 %, on_delay: 10 min, off_delay: 5 min}
"""
CONFIG = """\
site: {{name: Evening propagation class, timezone: Europe/Lisbon, units: SI}}
store: {{url: "sqlite:///bench.db", commit_every: 200 ms}}
trays:
  - {{name: tray-a, crop: coleus, stuck: {stuck}}}
  - {{name: tray-b, crop: coleus, stuck: {stuck}}}
crops:
  coleus:
    stages:
      - name: callusing
        from_day: 0
        bands:
{bands}\
readings: {{hold: {hold}}}
sensors:
  - name: probes
    kind: mqtt
    broker: {{host: {host}, port: {port}, protocol: "{protocol}", client_id: bench-12, keepalive: {keepalive}}}
    subscriptions:
      - topic: "class/{{tray}}/probes"
        payload: senml
        names: {{{names}}}
      - {{topic: "plain/{{tray}}/{{quantity}}", payload: number}}
{sensors}\
notifiers:
  - {{name: desk, kind: webhook, url: "{receiver}/desk", token_file: token}}
{more}
"""


@dataclass
class Settings:
    """What a test may want otherwise: text of the configuration."""

    bands: str = BANDS
    hold: str = "12 min"
    protocol: str = "5"
    keepalive: str = "30 s"
    sensors: str = ""
    more: str = ""
    #: Where the daemon finds its broker, when not at the broker's own place.
    host: str = "127.0.0.1"
    port: int = 0
    #: What the daemon is started by: a command and its options.
    before: tuple[str, ...] = ()


@dataclass
class FaultBench:
    """The folder of one bench, the daemon that watches it, and what its probes told the broker."""

    folder: Path
    broker: Any
    receiver: HttpReceiver
    wait_until: WaitUntil
    settings: Settings = field(default_factory=Settings)
    #: What the broker acknowledged to a probe: it must be stored, once each.
    acknowledged: set[Reading] = field(default_factory=set)
    process: subprocess.Popen[bytes] | None = None

    def __post_init__(self) -> None:
        self.begin_ms = time.time_ns() // 1_000_000 - DAY_MS  # the daemon under test has the machine's clock
        token = self.folder / "token"
        token.write_text(SECRET + "\n", encoding="utf-8")
        token.chmod(0o600)
        self.write_config()

    def write_config(self) -> None:
        """Write the configuration by the settings as they are now."""
        settings = self.settings
        names = ", ".join(f"{short}: {{quantity: {name}}}" for name, (short, _) in NAMES.items())
        text = CONFIG.format(
            stuck=text_of(self.begin_ms - 2 * DAY_MS)[:10],
            bands=settings.bands,
            hold=settings.hold,
            host=settings.host,
            port=settings.port or self.broker.port,
            protocol=settings.protocol,
            keepalive=settings.keepalive,
            names=names,
            receiver=self.receiver.address,
            sensors=settings.sensors,
            more=settings.more,
        )
        (self.folder / "config.yaml").write_text(text, encoding="utf-8")

    # ----------------------------------------------------------------------------------- the daemon

    def start(self, *, connects: bool = True, **environment: str) -> None:
        """Start the daemon; return once its broker has heard its subscription, where it connects."""
        before = self.subscriptions
        with (self.folder / "daemon.log").open("ab") as log:
            self.process = subprocess.Popen(
                [*self.settings.before, sys.executable, "-m", "wardian.daemon.cli", "run"],
                cwd=self.folder,
                stdout=log,
                stderr=log,
                env={**os.environ, "PYTHONUNBUFFERED": "1", **environment},
            )
        if connects:
            self.wait_until(lambda: self._has_subscribed(before), "the subscription", 60)

    def _has_subscribed(self, before: int) -> bool:
        assert self.lives, self.log
        return self.subscriptions > before

    def kill(self) -> None:
        """End the daemon as a power cut would end the process."""
        assert self.process is not None
        self.process.kill()
        self.process.wait(10)
        self.process = None

    def stop(self) -> int:
        """Ask the daemon to end; return its exit status."""
        assert self.process is not None
        self.process.send_signal(signal.SIGTERM)
        status = self.process.wait(30)
        self.process = None
        return status

    @property
    def lives(self) -> bool:
        """Whether the daemon's process runs."""
        return self.process is not None and self.process.poll() is None

    @property
    def log(self) -> str:
        """All that the daemon has written to its log."""
        return (self.folder / "daemon.log").read_text(encoding="utf-8", errors="replace")

    def run(self, *arguments: str, within_s: float = 60) -> "subprocess.CompletedProcess[str]":
        """Run a command of the program beside the daemon."""
        command = [sys.executable, "-m", "wardian.daemon.cli", *arguments]
        return subprocess.run(
            command, cwd=self.folder, capture_output=True, encoding="utf-8", timeout=within_s, check=False
        )

    def status(self) -> dict[str, Any]:
        """Return what ``wardian status --json`` says."""
        done = self.run("status", "--json")
        assert done.returncode == 0, done.stderr
        said: dict[str, Any] = json.loads(done.stdout)
        return said

    def until(self, condition: Callable[[], object], what: str, within_s: float = 30) -> None:
        """Wait for what takes work to find out, and ask for it now and then: the daemon needs the processor, too."""
        asked_s = 0.0

        def holds() -> bool:
            nonlocal asked_s
            if time.monotonic() - asked_s < _ASK_EVERY_S:
                return False
            holds = bool(condition())
            asked_s = time.monotonic()
            return holds

        self.wait_until(holds, what, within_s)

    def status_says(self, words: str, within_s: float = 30) -> None:
        """Wait until ``wardian status`` says these words."""
        self.until(lambda: words in self.run("status").stdout, f"status to say {words!r}", within_s)

    @property
    def subscriptions(self) -> int:
        """How often its broker has heard its subscription so far."""
        return int(self.broker.log.count("Sending SUBACK to bench-12"))

    # ----------------------------------------------------------------------------------- its probes

    def publish(self, tray: str, packs: Iterable[tuple[int, Mapping[str, float]]]) -> None:
        """Publish what a tray's probes measured at instants, a message each, all acknowledged by the broker."""
        lines = []
        for time_ms, values in packs:
            lines.append(pack(time_ms, values))
            self.acknowledged |= {Reading(time_ms, tray, name, value) for name, value in values.items()}
        self.publish_lines(f"class/{tray}/probes", lines)

    def publish_lines(self, topic: str, lines: Sequence[str]) -> None:
        """Publish lines of text as messages, by the broker's own client."""
        where = ["-h", "127.0.0.1", "-p", str(self.broker.port), *self.broker.options]
        command = ["mosquitto_pub", *where, "-q", "1", "-t", topic, "-l"]
        text = "".join(f"{line}\n" for line in lines).encode()
        subprocess.run(command, input=text, check=True, timeout=60, capture_output=True)

    def minutes_ago(self, minutes: float) -> int:
        """Return an instant so long before now, to the second."""
        return int(time.time_ns() // 1_000_000 - minutes * MINUTE_MS) // 1000 * 1000

    # ------------------------------------------------------------------------------ what it made of it

    @property
    def has_store(self) -> bool:
        """Whether there is a store to look into."""
        return (self.folder / "bench.db").exists()

    @contextmanager
    def store(self) -> Iterator[Any]:
        """Look into the store beside the daemon."""
        with closing(open_store("sqlite:///bench.db", self.folder, read_only=True)) as store:
            yield store

    def kept(self) -> list[Reading]:
        """Return all readings that are stored, those that came late included."""
        with self.store() as store:
            return list(store.readings(0, 2**62))

    def refused(self) -> list[Refused]:
        """Return what was refused, the newest hundred."""
        with self.store() as store:
            return [one for _, one in store.refused()]

    def counted(self) -> int:
        """Return how many readings were taken or refused so far."""
        return len(self.kept()) + len(self.refused()) if self.has_store else 0

    def journal(self) -> list[JournalEntry]:
        """Return the journal."""
        with self.store() as store:
            entries: list[JournalEntry] = store.journal()
            return entries

    def told(self) -> list[tuple[str, str, str, str]]:
        """Return what came and went: tray, quantity, alarm and event, in the order of the journal."""
        came = [one.fields for one in self.journal() if one.fields["event"] in (RAISED, RETURNED)]
        return [(one["tray"], one["quantity"], one["alarm"], one["event"]) for one in came]

    def waiting(self) -> list[Due]:
        """Return the messages that wait to be sent."""
        with self.store() as store:
            due: list[Due] = store.waiting()
            return due

    def rows(self, query: str) -> list[tuple[Any, ...]]:
        """Return rows of the store's file as they are."""
        place = f"file:{self.folder / 'bench.db'}?mode=ro"
        with closing(sqlite3.connect(place, uri=True, timeout=10)) as connection:
            return connection.execute(query).fetchall()

    def has_kept_all(self, within_s: float = 60) -> None:
        """Wait until everything acknowledged is stored."""
        self.until(
            lambda: self.has_store and len(self.kept()) >= len(self.acknowledged), "every reading", within_s
        )


def pack(time_ms: int, values: Mapping[str, float]) -> str:
    """Return what a probe of the bench sends (SenML, RFC 8428)."""
    records = [{"n": NAMES[name][0], "u": NAMES[name][1], "v": value} for name, value in values.items()]
    return json.dumps([{"bt": time_ms / 1000, **records[0]}, *records[1:]])


@contextmanager
def fault_bench(
    folder: Path, broker: Any, wait_until: WaitUntil, settings: Settings | None = None
) -> Iterator[FaultBench]:
    """Make a bench whose daemon is not started yet, and end what runs of it afterwards."""
    place = folder / "bench"
    place.mkdir()
    with http_receiver() as receiver:
        bench = FaultBench(place, broker, receiver, wait_until, settings or Settings())
        try:
            yield bench
        finally:
            if bench.process is not None:
                bench.kill()
