"""The whole program as a process whose machine's clock a test sets, with a real broker and a real receiver."""

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from tempfile import mkdtemp
from threading import Event
from typing import Any, Final

import pytest
from receivers import HttpReceiver

from wardian.adapters.stores.opening import open_store
from wardian.rules.errors import StoreFailed
from wardian.rules.ports import JournalEntry
from wardian.rules.readings import Reading
from wardian.rules.transitions import WATCH

CONFIG: Final = """\
site: {{name: Evening propagation class, timezone: Europe/Lisbon, units: SI}}
store: {{url: "sqlite:///bench.db", commit_every: 200 ms}}
trays: [{{name: tray-a, crop: coleus, stuck: 2026-01-02}}]
crops:
  coleus:
    stages:
      - name: callusing
        from_day: 0
        bands:
          air_temperature: {{high: 30, on_delay: 3 s, off_delay: 0}}
          medium_temperature: {{high: 30, on_delay: 3 s, off_delay: 0}}
readings: {{hold: 8 s, settle: 500 ms, silent_after: 6 s}}
sensors:
  - name: probes
    kind: mqtt
    broker: {{host: 127.0.0.1, port: {port}}}
    subscriptions:
      - {{topic: "class/{{tray}}/{{quantity}}", payload: number}}
      - {{topic: "dated/{{tray}}", payload: json, pointers: {{air_temperature: /value}}, time: /at, time_form: unix_s}}
  - name: medium
    kind: kernel
    root: {folder}
    every: 1 s
    channels: [{{tray: tray-a, quantity: medium_temperature, file: class/hwmon/hwmon0/temp1_input}}]
notifiers: [{{name: hook, kind: webhook, url: "{address}/alarms"}}]
"""
#: As the command does it, but with another patience; signals are blocked before anything starts a thread.
_PROGRAM: Final = (
    "import signal, sys; signal.pthread_sigmask(signal.SIG_BLOCK, {15, 2, 10}); from wardian.daemon import cli, run; "
    "run.TIME_PATIENCE_S = float(sys.argv.pop(1)); sys.exit(cli.main(sys.argv[1:]))"
)
_SHIM: Final = Path(__file__).parent / "clock_shim.c"


def real_ms() -> int:
    """Return what the machine's clock really shows."""
    return time.time_ns() // 1_000_000


@cache
def _shim() -> Path:
    """Return what is loaded before everything else in a process, so that its clock can be set."""
    made = Path(mkdtemp()) / "clock_shim.so"
    subprocess.run(["gcc", "-shared", "-fPIC", "-O1", "-o", str(made), str(_SHIM), "-ldl"], check=True)
    return made


class ShiftedBench:
    """One bench in a folder; ``patience_s`` is how long a start waits for a clock that cannot be right."""

    def __init__(self, folder: Path, broker: Any, receiver: HttpReceiver, patience_s: float = 1.0) -> None:
        self.folder, self.broker, self.receiver = folder, broker, receiver
        self.patience_s = patience_s
        self.shift(0)
        self.medium(25.0)
        text = CONFIG.format(port=broker.port, folder=folder, address=receiver.address)
        (folder / "config.yaml").write_text(text, encoding="utf-8")
        self.process: subprocess.Popen[bytes] | None = None

    def shift(self, by_ms: int) -> None:
        """Set the clock of the machine so much ahead of the real time, or behind it."""
        made = self.folder / "shift.new"
        made.write_text(str(by_ms), encoding="utf-8")
        made.replace(self.folder / "shift")

    def medium(self, celsius: float) -> None:
        """Let the kernel show this for the warmth of the medium."""
        file = self.folder / "class/hwmon/hwmon0/temp1_input"
        file.parent.mkdir(parents=True, exist_ok=True)
        made = self.folder / "input.new"
        made.write_text(f"{round(celsius * 1000)}\n", encoding="utf-8")
        made.replace(file)

    def publish(self, celsius: float, at_ms: int | None = None) -> None:
        """Publish a value, with a time of its own or without."""
        if at_ms is None:
            self.broker.publish("class/tray-a/air_temperature", str(celsius))
        else:
            self.broker.publish("dated/tray-a", json.dumps({"value": celsius, "at": at_ms / 1000}))

    def wait_until(self, condition: Callable[[], object], what: str, within_s: float = 30.0) -> None:
        """Wait for something that takes the program a while to look at; fail once the time is over."""
        pause = Event()
        for _ in range(int(within_s / 0.25)):
            if condition():
                return
            pause.wait(0.25)
        pytest.fail(f"waited {within_s:g} s in vain for: {what}\n{self.log[-2000:]}")

    # -------------------------------------------------------------------------------- the program

    def _environment(self) -> dict[str, str]:
        own = {"LD_PRELOAD": str(_shim()), "CLOCK_SHIFT_FILE": str(self.folder / "shift")}
        return {**os.environ, **own}

    def start(self) -> None:
        command = [sys.executable, "-c", _PROGRAM, str(self.patience_s), "run"]
        with (self.folder / "daemon.log").open("ab") as log:
            self.process = subprocess.Popen(
                command, cwd=self.folder, stdout=log, stderr=log, env=self._environment()
            )

    def stop(self) -> int:
        """End it as a service manager would; return its exit status."""
        assert self.process is not None
        self.process.terminate()
        status = self.process.wait(30)
        self.process = None
        return status

    def kill(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.wait(10)

    @property
    def log(self) -> str:
        return (self.folder / "daemon.log").read_text(encoding="utf-8")

    def cpu_s(self) -> float:
        """Return how much of a processor it has taken so far."""
        assert self.process is not None
        parts = Path(f"/proc/{self.process.pid}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
        return (int(parts[11]) + int(parts[12])) / os.sysconf("SC_CLK_TCK")

    def resident_mib(self) -> float:
        """Return how much memory it holds."""
        assert self.process is not None
        pages = int(Path(f"/proc/{self.process.pid}/statm").read_text(encoding="utf-8").split()[1])
        return pages * os.sysconf("SC_PAGE_SIZE") / 2**20

    def status(self) -> tuple[str, dict[str, Any]]:
        """Return what ``wardian status`` says, in words and as JSON."""
        said = []
        for more in ([], ["--json"]):
            command = [sys.executable, "-c", _PROGRAM, "0", "status", *more]
            done = subprocess.run(
                command, cwd=self.folder, env=self._environment(), capture_output=True, timeout=60, check=True
            )
            said.append(done.stdout.decode())
        return said[0], json.loads(said[1])

    # ------------------------------------------------------------------------------ what was kept

    def journal(self, *, of_watch: bool = False) -> list[JournalEntry]:
        with self._store() as store:
            return [entry for entry in store.journal() if (entry.tray == WATCH) is of_watch] if store else []

    def told(self, *, of_watch: bool = False) -> list[tuple[str, str]]:
        entries = self.journal(of_watch=of_watch)
        return [(entry.fields["condition"], entry.fields["event"]) for entry in entries]

    def readings(self, quantity: str) -> list[Reading]:
        with self._store() as store:
            found = store.readings(0, 2**62) if store else ()
            return [one for one in found if one.quantity == quantity]

    def is_sent(self, alarm: str, event: str) -> bool:
        bodies = [json.loads(request.body) for request in self.receiver.requests]
        return any((body.get("alarm"), body.get("event")) == (alarm, event) for body in bodies)

    @contextmanager
    def _store(self) -> Iterator[Any]:
        """Open the database beside the program; None where it is not made yet."""
        try:
            store = open_store(f"sqlite:///{self.folder / 'bench.db'}", Path(), read_only=True)
        except StoreFailed:
            yield None
            return
        yield store
        store.close()
