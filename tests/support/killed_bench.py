"""A bench under load whose daemon is killed again and again: broker, publisher, daemon and receiver of messages.

Limits are crossed again and again, in the readings' own time.
"""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from own_times import HOUR_MS, TRAYS, now_ms
from receivers import HttpReceiver, http_receiver

from wardian.adapters.stores.sql import SqlStore
from wardian.adapters.timestamps import text_of
from wardian.rules.readings import Reading

#: What must never show in a log.
CANARY: Final = "canary-of-the-webhook-4711"

CONFIG: Final = """\
site: {{name: Evening propagation class, timezone: Europe/Lisbon, units: SI}}
store: {{url: "sqlite:///bench.db", commit_every: 100 ms}}
trays:
{trays}
crops:
  coleus:
    stages:
      - name: callusing
        from_day: 0
        bands:
          medium_temperature: {{high: 25 °C, deadband: 0.2 °C, on_delay: 1500 ms, off_delay: 1 s}}
          air_temperature: {{low: 20 °C, deadband: 0.2 °C, on_delay: 0, off_delay: 700 ms}}
sensors:
  - name: probes
    kind: mqtt
    broker: {{host: 127.0.0.1, port: {port}, user: {user}, password_file: "{password_file}"}}
    subscriptions:
      - {{topic: "class/{{tray}}/medium", payload: senml, names: {{temp: {{quantity: medium_temperature}}}}}}
      - topic: "class/{{tray}}/climate"
        payload: json
        pointers: {{air_temperature: /air/t, relative_humidity: /air/rh}}
        time: /at
        time_form: unix_ms
notifiers:
  - {{name: hook, kind: webhook, url: "{address}/hook", token_file: token}}
  - {{name: phone, kind: webhook, url: "{address}/phone", token_file: token}}
people:
  - {{name: teacher, channels: [phone], summary: false, care: false}}
"""

WaitUntil = Callable[..., None]


# --------------------------------------------------------------------------------------- bench


@dataclass
class Told:
    """What one channel received, and during how many lives of the daemon before."""

    life: int
    channel: str
    key: str


@dataclass
class KilledBench:
    """The folder of one bench, and the daemon that watches it through one life after another."""

    folder: Path
    broker: Any
    receiver: HttpReceiver
    wait_until: WaitUntil
    lives: list[int] = field(default_factory=list)
    process: subprocess.Popen[bytes] | None = None
    command: tuple[str, ...] = ("-m", "wardian.daemon.cli", "run")

    def __post_init__(self) -> None:
        self.stuck_ms = now_ms() - 72 * HOUR_MS
        stuck = text_of(self.stuck_ms)[:10]
        trays = "\n".join(f"  - {{name: {tray}, crop: coleus, stuck: {stuck}}}" for tray in TRAYS)
        text = CONFIG.format(
            trays=trays,
            port=self.broker.port,
            user=self.broker.user,
            password_file=self.broker.password_file,
            address=self.receiver.address,
        )
        (self.folder / "config.yaml").write_text(text, encoding="utf-8")
        token = self.folder / "token"
        token.write_text(CANARY + "\n", encoding="utf-8")
        token.chmod(0o600)

    def start(self, environment: Mapping[str, str] | None = None, **options: Any) -> None:
        """Begin a life; what it logs comes behind what the earlier ones did."""
        self.lives.append(len(self.receiver.requests))
        environment = environment or {**os.environ, "PYTHONUNBUFFERED": "1"}
        with (self.folder / "daemon.log").open("ab") as log:
            self._logged = log.tell()
            command = [sys.executable, *self.command]
            self.process = subprocess.Popen(
                command, cwd=self.folder, stdout=log, stderr=log, env=environment, **options
            )

    def is_up(self) -> bool:
        """Whether this life is connected to the broker."""
        assert self.process is not None
        assert self.process.poll() is None, self.log[-3000:]
        with (self.folder / "daemon.log").open("rb") as log:
            log.seek(self._logged)
            return b"broker connected" in log.read()

    def wait_until_up(self) -> None:
        self.wait_until(self.is_up, "the daemon to be up", 60)

    def kill(self) -> None:
        assert self.process is not None
        self.process.kill()
        self.process.wait(20)
        self.process = None

    def stop(self) -> int:
        assert self.process is not None
        self.process.send_signal(signal.SIGTERM)
        status = self.process.wait(30)
        self.process = None
        return status

    def run(self, *arguments: str) -> str:
        """Run another command of the program to its good end, and return what it prints."""
        command = [sys.executable, "-m", "wardian.daemon.cli", *arguments]
        done = subprocess.run(command, cwd=self.folder, capture_output=True, timeout=300, check=False)
        assert done.returncode == 0, done.stderr.decode()
        return done.stdout.decode()

    # ------------------------------------------------------------------------------- what came of it

    @property
    def log(self) -> str:
        return (self.folder / "daemon.log").read_text(encoding="utf-8")

    @property
    def database(self) -> Path:
        return self.folder / "bench.db"

    @contextmanager
    def store(self) -> Iterator[SqlStore]:
        store = SqlStore.open(self.database, read_only=True)
        try:
            yield store
        finally:
            store.close()

    def journal_keys(self) -> set[str]:
        """Return the keys of the messages that tell of the entries of the journal."""
        with self.store() as store:
            return {entry_key(one.fields) for one in store.journal()}

    def counts(self) -> dict[str, int]:
        with self.store() as store:
            return store.counts()

    def told(self) -> list[Told]:
        """Everything that was received, with the life in which it came."""
        found = []
        for place, request in enumerate(self.receiver.requests):
            life = sum(begun <= place for begun in self.lives)
            found.append(Told(life, request.path.strip("/"), request.headers["Idempotency-Key"]))
        return found

    def replayed(self, readings: list[Reading]) -> list[dict[str, Any]]:
        """Return the journal of a replay of some readings."""
        rows = [
            f"{text_of(time_ms)},{tray},{quantity},{value!r},"
            for time_ms, tray, quantity, value in sorted(readings)
        ]
        text = "\n".join(["time,tray,quantity,value,unit", *rows, ""])
        (self.folder / "published.csv").write_text(text, encoding="utf-8")
        return [json.loads(line) for line in self.run("replay", "published.csv", "--json").splitlines()]


@contextmanager
def killed_bench(folder: Path, broker: Any, wait_until: WaitUntil) -> Iterator[KilledBench]:
    """Set a bench up, with the daemon not started yet; it is killed at the end if it still lives."""
    with http_receiver() as receiver:
        bench = KilledBench(folder, broker, receiver, wait_until)
        try:
            yield bench
        finally:
            if bench.process is not None:
                bench.kill()


def entry_key(fields: Mapping[str, Any]) -> str:
    """Return the key of the message that tells of an entry of the journal."""
    return "/".join(fields[name] for name in ("tray", "quantity", "condition", "event", "time"))
