"""The life of two alarms on a pretended bench: the daemon and every command are processes, one of them killed."""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

import pytest
from receivers import HttpReceiver, http_receiver

from wardian.adapters.stores.opening import open_store
from wardian.rules.ports import Store

pytestmark = pytest.mark.journey

#: Half an hour passes in a second; both covers are left off as the second hour begins.
CONFIG: Final = """\
site: {{name: Evening propagation class, timezone: America/New_York, units: US}}
store: {{url: "sqlite:///bench.db"}}
trays:
  - {{name: tray-a, crop: coleus, stuck: 2026-03-01}}
  - {{name: tray-b, crop: coleus, stuck: 2026-03-01}}
crops:
  coleus:
    stages:
      - name: callusing
        from_day: 0
        bands:
          relative_humidity: {{low: 85 %, on_delay: 45 min, off_delay: 10 min}}
settling: {{lifted: 0 s}}
alarms:
  cover-off: {{watch: false}}
  cover-leaking: {{watch: false}}
sensors:
  - name: pretended
    kind: simulator
    seed: 7
    every: 1 min
    start: 2026-03-02T06:00:00-05:00
    speed: 1800
    faults:
      - {{tray: tray-a, fault: cover left off, after: 1 h, lasts: 72 h}}
      - {{tray: tray-b, fault: cover left off, after: 1 h, lasts: 72 h}}
notifiers:
  - {{name: hook, kind: webhook, url: "{address}/alarms"}}
"""
COMMAND: Final = [sys.executable, "-m", "wardian.daemon.cli"]
ENVIRONMENT: Final = {**os.environ, "PYTHONUNBUFFERED": "1"}
SHELF: Final = "6 h"

WaitUntil = Callable[..., None]


class Bench:
    """The folder of one bench, and the daemon that watches it."""

    def __init__(self, folder: Path, receiver: HttpReceiver) -> None:
        self.folder = folder
        self.receiver = receiver
        (folder / "config.yaml").write_text(CONFIG.format(address=receiver.address), encoding="utf-8")
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        with (self.folder / "daemon.log").open("ab") as log:
            self.process = subprocess.Popen(
                [*COMMAND, "run"], cwd=self.folder, stdout=log, stderr=log, env=ENVIRONMENT
            )

    def end(self, how: signal.Signals) -> int:
        assert self.process is not None
        self.process.send_signal(how)
        status = self.process.wait(20)
        self.process = None
        return status

    @property
    def log(self) -> str:
        return (self.folder / "daemon.log").read_text(encoding="utf-8")

    def alarms(self, *arguments: str) -> str:
        command = [*COMMAND, "alarms", *arguments]
        done = subprocess.run(
            command, cwd=self.folder, capture_output=True, timeout=60, check=False, env=ENVIRONMENT
        )
        assert (done.returncode, done.stderr.decode()) == (0, "")
        return done.stdout.decode()

    def present(self) -> list[dict[str, Any]]:
        told = [json.loads(line) for line in self.alarms("--json").splitlines()]
        return [one for one in told if one["alarm"] == "too-dry"]

    def journal(self) -> list[tuple[str, str]]:
        with self._looked_at() as store:
            journal = store.journal()
        return [(one.tray, one.fields["event"]) for one in journal if one.fields["alarm"] == "too-dry"]

    def requests(self) -> list[tuple[str, dict[str, Any]]]:
        """Keys and bodies of the messages about dry air; other alarms may come beside it."""
        heard = [(one.headers["Idempotency-Key"], json.loads(one.body)) for one in self.receiver.requests]
        return [(key, body) for key, body in heard if body["alarm"] == "too-dry"]

    def told(self) -> list[tuple[str, str]]:
        return [(body["tray"], body["event"]) for _, body in self.requests()]

    def is_all_sent(self) -> bool:
        with self._looked_at() as store:
            return not store.waiting()

    @contextmanager
    def _looked_at(self) -> Iterator[Store]:
        store = open_store(f"sqlite:///{self.folder}/bench.db", self.folder, read_only=True)
        try:
            yield store
        finally:
            store.close()


@contextmanager
def a_bench(folder: Path) -> Iterator[Bench]:
    with http_receiver() as receiver:
        bench = Bench(folder, receiver)
        try:
            yield bench
        finally:
            if bench.process is not None:
                bench.end(signal.SIGKILL)


def test_alarms_keep_their_lives_through_a_kill_and_a_shelf_ends_by_itself(
    tmp_path: Path, wait_until: WaitUntil
) -> None:
    with a_bench(tmp_path) as bench:
        bench.start()
        raised = [("tray-a", "raised"), ("tray-b", "raised")]
        wait_until(lambda: sorted(bench.told()) == raised, "both alarms at the receiver", 60)
        assert sorted(bench.journal()) == raised

        bench.alarms("acknowledge", "tray-a", "too-dry", "--who", "the teacher", "--why", "seen")
        bench.alarms("shelve", "tray-b", "too-dry", "--for", SHELF, "--who", "a helper")
        done = [("tray-a", "acknowledged"), ("tray-b", "shelved")]
        wait_until(lambda: bench.journal()[2:] == done, "both acts to be done", 20)
        wait_until(bench.is_all_sent, "every message to be marked as sent", 20)
        bench.end(signal.SIGKILL)

        # Nobody watches, and the bench's clock stands: what was is what is shown.
        lives = {one["tray"]: (one["life"], one["who"], one["why"]) for one in bench.present()}
        assert lives == {
            "tray-a": ("acknowledged", "the teacher", "seen"),
            "tray-b": ("shelved", "a helper", ""),
        }
        before = bench.journal()

        bench.start()
        wait_until(lambda: len(bench.told()) > 2, "the end of the shelf at the receiver", 60)
        assert bench.end(signal.SIGTERM) == 0
        assert bench.told()[2:] == [("tray-b", "shelf ended")]
        assert bench.journal() == [*before, ("tray-b", "shelf ended")]
        assert {one["tray"]: one["life"] for one in bench.present()} == {
            "tray-a": "acknowledged",
            "tray-b": "unacknowledged",
        }
        _, told = bench.requests()[-1]
        assert told["message"].endswith("no longer shelved, and it stands now.")
        assert len({key for key, _ in bench.requests()}) == 3
        assert "Traceback" not in bench.log
