"""The real daemon in a mount namespace of its own, with its database on a small disk that can be filled or locked.

Its readings come from a CSV file that lies elsewhere, and its one channel is a webhook.
"""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from receivers import HttpReceiver, http_receiver

CONFIG = """\
site: {{name: Evening propagation class, timezone: UTC, units: SI}}
store: {{url: "sqlite:///disk/wardian.db", commit_every: 1 s}}
trays: [{{name: tray-a, crop: coleus, stuck: {stuck}}}]
crops:
  coleus:
    stages:
      - name: callusing
        from_day: 0
        bands: {{air_temperature: {{low: 18, high: 26, deadband: 0.5, on_delay: 0 s, off_delay: 0 s}}}}
readings: {{settle: 0 s}}
sensors: [{{name: logger, kind: csv, file: readings.csv, every: 1 s}}]
notifiers: [{{name: hook, kind: webhook, url: "{url}/hook", timeout: 2 s}}]
"""
#: A store that fails is no news for ten seconds; the test need not wait so long.
PROGRAM = """\
import signal, sys
signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGTERM, signal.SIGINT, signal.SIGUSR1})
import wardian.daemon.failing_store
wardian.daemon.failing_store.STORE_PATIENCE_S = 1.0
from wardian.daemon.cli import main
sys.exit(main(["run", "--config", sys.argv[1]]))
"""
#: Looks at the database from within the daemon's own view of the file system.
LOOK = """\
import json, pathlib, sys
from wardian.adapters.stores.sql import SqlStore
store = SqlStore.open(pathlib.Path(sys.argv[1]) / "wardian.db", read_only=True)
print(json.dumps({
    "damage": store.damage(),
    "events": [entry.fields["event"] for entry in store.journal()],
    "values": [reading.value for reading in store.readings(0, 2**62)],
    "sent": store.counts()["sent"],
    "waiting": len(store.waiting()),
}))
"""


class DaemonOnDisk:
    """A folder with ``disk`` in it, which only the daemon sees, and what its channel was told."""

    def __init__(self, folder: Path, receiver: HttpReceiver) -> None:
        self.folder = folder
        self.receiver = receiver
        self.process: subprocess.Popen[bytes] | None = None
        (folder / "disk").mkdir()
        script = "mount -t tmpfs -o size=16m tmpfs disk && echo ready && exec sleep 600"
        self.view = subprocess.Popen(
            ["unshare", "-m", "sh", "-c", script], cwd=folder, stdout=subprocess.PIPE
        )
        assert self.view.stdout is not None
        assert self.view.stdout.readline() == b"ready\n"
        self.readings = folder / "readings.csv"
        self.readings.write_text("time,tray,quantity,value,unit\n", encoding="utf-8")
        stuck = datetime.now(UTC).date() - timedelta(days=3)  # noqa: TID251 - the daemon under test goes by this clock
        text = CONFIG.format(stuck=stuck, url=receiver.address)
        (folder / "config.yaml").write_text(text, encoding="utf-8")

    def start(self, **environment: str) -> None:
        command = [*self._within, sys.executable, "-c", PROGRAM, str(self.folder / "config.yaml")]
        with (self.folder / "log").open("ab") as log:
            self.process = subprocess.Popen(command, env=os.environ | environment, stdout=log, stderr=log)

    def run(self, *command: str) -> None:
        """Run a command in the daemon's own view of the file system."""
        subprocess.run([*self._within, *command], check=True, timeout=20)

    def fill(self) -> None:
        """Leave no room on the disk, nor what was given up since the last time."""
        with suppress(OSError), (self.disk / "filler").open("ab") as filler:
            while True:
                os.write(filler.fileno(), bytes(1 << 16))
        with suppress(OSError), (self.disk / "filler").open("ab") as filler:
            while True:
                os.write(filler.fileno(), bytes(512))

    def make_room(self) -> None:
        (self.disk / "filler").unlink()

    def read(self, celsius: float) -> None:
        """Let a reading be taken now."""
        now = datetime.now(UTC).isoformat(timespec="milliseconds")  # noqa: TID251 - as above
        with self.readings.open("a", encoding="utf-8") as file:
            file.write(f"{now},tray-a,air_temperature,{celsius},\n")

    def told(self) -> list[tuple[str, str]]:
        """Return alarm and event of each message, in order."""
        return [(one["alarm"], one["event"]) for one in self.messages()]

    def messages(self) -> list[dict[str, Any]]:
        return [json.loads(request.body) for request in self.receiver.requests]

    def keys(self) -> list[str]:
        return [request.headers["Idempotency-Key"] for request in self.receiver.requests]

    @property
    def _within(self) -> list[str]:
        return ["nsenter", "-m", "-t", str(self.view.pid)]

    @property
    def disk(self) -> Path:
        """The disk, as only the daemon sees it."""
        return Path(f"/proc/{self.view.pid}/root") / (self.folder / "disk").relative_to("/")

    @property
    def log(self) -> str:
        return (self.folder / "log").read_text(encoding="utf-8", errors="replace")

    def stored(self) -> dict[str, Any]:
        """Return what is kept, as far as it can be read: ``events``, ``values``, and how many messages are ``sent``."""
        command = [*self._within, sys.executable, "-c", LOOK, str(self.folder / "disk")]
        looked = subprocess.run(command, capture_output=True, check=False, timeout=30)
        return dict(json.loads(looked.stdout)) if looked.returncode == 0 else {}

    def stop(self) -> int:
        assert self.process is not None
        self.process.send_signal(signal.SIGTERM)
        return self.wait()

    def wait(self) -> int:
        """Return its exit status, once it has ended."""
        assert self.process is not None
        return self.process.wait(30)

    def end(self) -> None:
        for one in (self.process, self.view):
            if one is not None:
                one.kill()
                one.wait(10)
        assert self.view.stdout is not None
        self.view.stdout.close()


@contextmanager
def daemon_on_disk(folder: Path) -> Iterator[DaemonOnDisk]:
    """Prepare one; where nobody may mount, the test is skipped."""
    if os.geteuid() != 0 or subprocess.run(["unshare", "-m", "true"], check=False).returncode:
        pytest.skip("only root may make a mount namespace with a small disk in it")
    with http_receiver() as receiver:
        rig = DaemonOnDisk(folder, receiver)
        try:
            yield rig
        finally:
            rig.end()
