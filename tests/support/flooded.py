"""A daemon with 20 true sensors on a real broker while others flood it, and what became of the true readings."""

import itertools
import os
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import hostile
import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from wardian.adapters.timestamps import text_of

TRUE_TRAYS: Final = tuple(f"tray-{number:02}" for number in range(20))
#: Below and above the limit of every tray.
CALM_C, HOT_C = 24.0, 31.0
#: The tray by which is seen that a daemon that has just started judges already.
FIRST_TRAY: Final = "tray-first"
#: So long is waited for what is still to come when the flood is over. [s]
PATIENCE_S: Final = 90.0

CONFIG: Final = """\
site: {{name: Evening propagation class, timezone: Europe/Lisbon, units: SI}}
store: {{url: "sqlite:///flood.db", commit_every: {commit_every}}}
trays:
{trays}
crops:
  coleus:
    stages:
      - name: callusing
        from_day: 0
        bands: {{air_temperature: {{high: 28 °C, deadband: 1 °C, on_delay: 0 s}}}}
sensors:
  - name: probes
    kind: mqtt
    broker: {{host: 127.0.0.1, port: {port}, protocol: {protocol}}}
    subscriptions:
      - {{topic: "class/{{tray}}/probes", payload: senml, names: {{temp: {{quantity: air_temperature}}}}}}
notifiers:
  - {{name: terminal, kind: console}}
"""


@contextmanager
def broker(folder: Path) -> Iterator[int]:
    """Run a broker that keeps nothing on a disk and logs no packets, either of which would hold up a flood."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    lines = ("log_type error", f"listener {port} 127.0.0.1", "allow_anonymous true")
    (folder / "broker.conf").write_text("\n".join((*lines, "max_queued_messages 0", "")), encoding="utf-8")
    program = shutil.which("mosquitto", path=os.environ["PATH"] + ":/usr/sbin")
    assert program, "mosquitto is needed"
    pause = threading.Event()
    with subprocess.Popen([program, "-c", folder / "broker.conf"], stderr=subprocess.DEVNULL) as process:
        try:
            while not _accepts(port):
                assert process.poll() is None, "the broker ended by itself"
                pause.wait(0.05)
            yield port
        finally:
            process.terminate()


def _accepts(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


@dataclass
class Outcome:
    """What a flood came to; ``kept_after_s``: the longest that a true reading was published and not kept."""

    published: set[tuple[str, int]] = field(default_factory=set)
    kept: set[tuple[str, int]] = field(default_factory=set)
    kept_after_s: float = 0.0
    judged_after_s: dict[str, float] = field(default_factory=dict)
    hostile_messages: int = 0
    seconds: float = 0.0
    peak_mib: float = 0.0
    processor_s: float = 0.0
    kept_of_attacked: int = 0
    refused: list[tuple[str, str]] = field(default_factory=list)
    log: str = ""
    exit_status: int | None = None

    @property
    def lost(self) -> set[tuple[str, int]]:
        return self.published - self.kept


class FloodedBench:
    """The folder, the daemon in it, and the true sensors, each of which crosses its limit once."""

    def __init__(self, folder: Path, port: int, protocol: str = "5", commit_every: str = "10 s") -> None:
        self.folder, self.port = folder, port
        now_ms = _now_ms()
        stuck = text_of(now_ms - 2 * 86_400_000)[:10]
        names = (*TRUE_TRAYS, FIRST_TRAY, hostile.ATTACKED)
        trays = "\n".join(f"  - {{name: {name}, crop: coleus, stuck: {stuck}}}" for name in names)
        text = CONFIG.format(trays=trays, port=port, protocol=protocol, commit_every=commit_every)
        (folder / "config.yaml").write_text(text, encoding="utf-8")
        self.outcome = Outcome()
        self._crossed_s: dict[str, float] = {}
        self._over = threading.Event()
        self._stop = threading.Event()

    @property
    def log(self) -> str:
        return (self.folder / "daemon.log").read_text(encoding="utf-8", errors="replace")

    def asked(self, statement: str, *values: object) -> list[tuple[object, ...]]:
        """Ask the database beside the daemon; nothing while there is none."""
        path = self.folder / "flood.db"
        if not path.exists():
            return []
        with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True, timeout=20)) as database:
            return database.execute(statement, values).fetchall()

    def run(self, seconds: float, rates: dict[str, float], every_s: float = 1.0) -> Outcome:
        """Watch for a while in calm, flood, and wait until everything true is in.

        Before, the broker is given what it will give the daemon as soon as that subscribes.
        """
        outcome = self.outcome
        hostile.flood(self.port, seconds / 5, {"retained": 5_000})
        with (self.folder / "daemon.log").open("ab") as log:
            daemon = subprocess.Popen(
                [sys.executable, "-m", "wardian.daemon.cli", "run"], cwd=self.folder, stdout=log, stderr=log
            )
        looking = threading.Thread(target=self._look)
        try:
            self._await(lambda: "broker connected" in self.log, 30)
            looking.start()
            self._await_judging()
            self._flood(seconds, rates, every_s)
            self._await(lambda: "Flood: about" in self.log, 30)
        finally:
            self._over.set()
            looking.join()
            if daemon.poll() is None:
                outcome.peak_mib, outcome.processor_s = _peak_mib(daemon.pid), _processor_s(daemon.pid)
            daemon.send_signal(signal.SIGTERM)
            try:
                outcome.exit_status = daemon.wait(20)
            except subprocess.TimeoutExpired:
                daemon.kill()
                daemon.wait()
        outcome.log = self.log
        self._unkept()
        outcome.kept_of_attacked = sum(tray == hostile.ATTACKED for tray, _ in outcome.kept)
        outcome.refused = [(str(a), str(b)) for a, b in self.asked("select source, why from refused")]
        return outcome

    def _await_judging(self) -> None:
        """Let one tray be too warm until the daemon says so: after a start it first waits for a backlog."""
        client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="first sensor")
        client.connect("127.0.0.1", self.port)
        client.loop_start()

        def is_judged() -> bool:
            client.publish(f"class/{FIRST_TRAY}/probes", hostile.pack(_now_ms() / 1000, HOT_C), qos=1)
            return bool(self.asked("select 1 from journal where tray = ?", FIRST_TRAY))

        self._await(is_judged, PATIENCE_S, every_s=0.5)
        client.disconnect()
        client.loop_stop()

    def _flood(self, seconds: float, rates: dict[str, float], every_s: float) -> None:
        told = [f"{form}={rate:g}" for form, rate in rates.items()]
        command = [sys.executable, hostile.__file__, str(self.port), f"{seconds:g}", *told]
        begin_s = time.monotonic()
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as flooding:
            truth = threading.Thread(target=self._publish_truth, args=(seconds, every_s))
            truth.start()
            printed, _ = flooding.communicate(timeout=seconds + 60)
            self.outcome.seconds = time.monotonic() - begin_s
            self.outcome.hostile_messages = int(printed)
            self._await(lambda: len(self.outcome.judged_after_s) == len(TRUE_TRAYS), PATIENCE_S)
            self._stop.set()
            truth.join()
            self._await(lambda: not self._unkept(), PATIENCE_S)

    def _publish_truth(self, seconds: float, every_s: float) -> None:
        """Publish a value of each tray at each step, also when the flood is over.

        One tray after the other crosses its limit during the flood, and stays there.
        """
        client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="true sensors")
        client.max_inflight_messages_set(1000)
        client.connect("127.0.0.1", self.port)
        client.loop_start()
        steps = int(seconds / every_s)
        crosses = {tray: 1 + n * (steps - 1) // len(TRUE_TRAYS) for n, tray in enumerate(TRUE_TRAYS)}
        begin_s, told = time.monotonic(), []
        for step in itertools.count():
            if self._stop.wait(max(0.0, begin_s + step * every_s - time.monotonic())):
                break
            time_ms = _now_ms()
            for tray in TRUE_TRAYS:
                is_hot = step >= crosses[tray]
                if step == crosses[tray]:
                    self._crossed_s[tray] = time.monotonic()
                payload = hostile.pack(time_ms / 1000, HOT_C if is_hot else CALM_C)
                told.append(client.publish(f"class/{tray}/probes", payload, qos=1))
                self.outcome.published.add((tray, time_ms))
        for one in told:
            one.wait_for_publish(60)
        client.disconnect()
        client.loop_stop()

    def _look(self) -> None:
        """Note when the journal first shows what each tray crossed, and how late true readings are kept."""
        raised = "select tray from journal where json_extract(fields, '$.event') = 'raised'"
        newest = "select max(time_ms) from readings join series on series.id = series_id where tray = ?"
        while not self._over.wait(0.25):
            for (tray,) in self.asked(raised):
                if tray in self._crossed_s and tray not in self.outcome.judged_after_s:
                    self.outcome.judged_after_s[str(tray)] = time.monotonic() - self._crossed_s[str(tray)]
            ((newest_ms,),) = self.asked(newest, TRUE_TRAYS[0]) or ((None,),)
            if newest_ms is not None and not self._stop.is_set():
                late_s = (_now_ms() - int(str(newest_ms))) / 1000
                self.outcome.kept_after_s = max(self.outcome.kept_after_s, late_s)

    def _unkept(self) -> set[tuple[str, int]]:
        rows = self.asked("select tray, time_ms from readings join series on series.id = series_id")
        self.outcome.kept = {(str(tray), int(str(time_ms))) for tray, time_ms in rows}
        return self.outcome.lost

    def _await(self, condition: Callable[[], object], within_s: float, every_s: float = 0.1) -> None:
        until_s = time.monotonic() + within_s
        while not condition() and time.monotonic() < until_s:
            self._over.wait(every_s)


def _now_ms() -> int:
    return time.time_ns() // 1_000_000


def _processor_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _peak_mib(pid: int) -> float:
    status = Path(f"/proc/{pid}/status").read_text(encoding="utf-8")
    return int(next(line for line in status.splitlines() if line.startswith("VmHWM")).split()[1]) / 1024
