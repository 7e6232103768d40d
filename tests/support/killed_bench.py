"""A bench under load whose daemon is killed again and again: broker, publisher, daemon and receiver of messages.

The publisher remembers every reading that the broker has acknowledged; limits are crossed again and again, in the
readings' own time.
"""

import json
import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion
from receivers import HttpReceiver, http_receiver

from wardian.adapters.stores.sql import SqlStore
from wardian.adapters.timestamps import text_of
from wardian.rules.readings import Reading

if TYPE_CHECKING:
    from paho.mqtt.client import MQTTMessageInfo

TRAYS: Final = tuple(f"tray-{letter}" for letter in "abcdef")
HOUR_MS: Final = 3_600_000
HISTORY_STEP_MS: Final = 30_000
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


def now_ms() -> int:
    """Return what the machine's clock shows: the daemon under test goes by it."""
    return time.time_ns() // 1_000_000


# ----------------------------------------------------------------------------------- publisher


class Publisher:
    """Sends packs and plain objects with times of their own, at least once, and remembers what was taken."""

    def __init__(self, broker: Any, chance: random.Random) -> None:
        """Connect as the broker's user."""
        self.published: list[Reading] = []
        self.messages = 0
        self._chance = chance
        self._client = Client(CallbackAPIVersion.VERSION2, client_id="bench-publisher")
        self._client.username_pw_set(broker.user, broker.password)
        self._client.max_inflight_messages_set(200)
        self._client.connect(broker.address, broker.port)
        self._client.loop_start()
        self._sent: list[MQTTMessageInfo] = []
        self._last_ms = 0

    def history(self, from_ms: int, to_ms: int) -> Iterator[None]:
        """Publish some hours of all trays, a step at a time; a limit is crossed every ten minutes or so."""
        for time_ms in range(from_ms, to_ms, HISTORY_STEP_MS):
            for place, tray in enumerate(TRAYS):
                turn = (time_ms // HISTORY_STEP_MS + 3 * place) % (17 + place)
                self.medium(tray, time_ms, is_warm=turn < 6)
                self.climate(tray, time_ms + 1, is_cold=turn > 11)
            yield

    def live(self, passed_ms: int) -> None:
        """Publish what the probes of all trays show now; a limit is crossed every few seconds."""
        time_ms = self._now_ms()
        for place, tray in enumerate(TRAYS):
            turn = (passed_ms // 100 + 31 * place) % (170 + 13 * place)
            self.medium(tray, time_ms, is_warm=turn < 60)
            self.climate(tray, time_ms, is_cold=turn > 110)

    def all_well(self) -> None:
        """Publish that every limit is kept, so that what was raised returns."""
        time_ms = self._now_ms()
        for tray in TRAYS:
            self.medium(tray, time_ms, is_warm=False)
            self.climate(tray, time_ms, is_cold=False)

    def _now_ms(self) -> int:
        """Return a time at which nothing was measured yet."""
        self._last_ms = max(now_ms(), self._last_ms + 1)
        return self._last_ms

    def medium(self, tray: str, time_ms: int, *, is_warm: bool) -> None:
        """Publish one pack."""
        value = (25.3 if is_warm else 24.3) + self._chance.uniform(-0.2, 0.2)
        pack = [{"bt": time_ms / 1000, "n": "temp", "u": "Cel", "v": value}]
        self._publish(f"class/{tray}/medium", pack, Reading(time_ms, tray, "medium_temperature", value))

    def climate(self, tray: str, time_ms: int, *, is_cold: bool) -> None:
        """Publish one plain object."""
        value = (19.6 if is_cold else 20.9) + self._chance.uniform(-0.3, 0.3)
        humidity = self._chance.uniform(93.0, 95.0)
        told = {"at": time_ms, "air": {"t": value, "rh": humidity}}
        readings = (
            Reading(time_ms, tray, "air_temperature", value),
            Reading(time_ms, tray, "relative_humidity", humidity),
        )
        self._publish(f"class/{tray}/climate", told, *readings)

    def _publish(self, topic: str, told: Any, *readings: Reading) -> None:
        self._sent.append(self._client.publish(topic, json.dumps(told), qos=1))
        self.published += readings
        self.messages += 1
        if len(self._sent) > 1000:
            self.wait_until_taken()

    def wait_until_taken(self) -> None:
        """Return once the broker has acknowledged everything."""
        for info in self._sent:
            info.wait_for_publish(60)
            assert info.is_published()
        self._sent.clear()

    def stop(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


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


# ---------------------------------------------------------------------------------- invariants


@dataclass
class Findings:
    """What must be nothing after whatever happened, and what may be little."""

    readings: int
    lost: int
    doubled: int
    strange: int
    alarms: int
    alarms_lost: list[str]
    alarms_doubled: int
    not_sent: list[str]
    repeats: list[Told]
    damage: str
    waiting: int

    def assert_nothing_is_wrong(self) -> None:
        assert (self.lost, self.doubled, self.strange) == (0, 0, 0)
        assert (self.alarms_lost, self.alarms_doubled) == ([], 0)
        assert (self.not_sent, self.waiting) == ([], 0)
        assert self.damage == ""


def findings(bench: KilledBench, published: list[Reading], expected_keys: list[str]) -> Findings:
    """Look the whole store and everything that was received over, the daemon having ended.

    ``expected_keys`` are those of the messages that a channel of nobody's must have got.
    """
    with bench.store() as store:
        kept = Counter(store.readings(-(2**62), 2**62))
        wanted = Counter(published)
        in_journal = Counter(entry_key(one.fields) for one in store.journal())
        damage, waiting = store.damage(), len(store.waiting())
    told = bench.told()
    received = Counter((one.channel, one.key) for one in told)
    with sqlite3.connect(f"{bench.database.as_uri()}?mode=ro", uri=True) as connection:
        due = {(channel, key) for channel, key in connection.execute("SELECT channel, key FROM outbox")}
    connection.close()
    due |= {("hook", key) for key in expected_keys}
    return Findings(
        readings=kept.total(),
        lost=(wanted - kept).total(),
        doubled=kept.total() - len(kept),
        strange=(kept - wanted).total(),
        alarms=len(expected_keys),
        alarms_lost=[key for key in expected_keys if key not in in_journal],
        alarms_doubled=sum(in_journal[key] - 1 for key in in_journal),
        not_sent=[f"{channel} {key}" for channel, key in sorted(due - received.keys())],
        repeats=_repeats(told),
        damage=damage,
        waiting=waiting,
    )


def entry_key(fields: Mapping[str, Any]) -> str:
    """Return the key of the message that tells of an entry of the journal."""
    return "/".join(fields[name] for name in ("tray", "quantity", "condition", "event", "time"))


def _repeats(told: list[Told]) -> list[Told]:
    seen: set[tuple[str, str]] = set()
    repeats = []
    for one in told:
        if (one.channel, one.key) in seen:
            repeats.append(one)
        seen.add((one.channel, one.key))
    return repeats


def key_of(line: dict[str, Any]) -> str:
    """Return the key of the message that tells of one line of a replay."""
    condition = line["limit"] or line["alarm"]
    return f"{line['tray']}/{line['quantity']}/{condition}/{line['event']}/{line['time']}"
