"""A daemon on one probe, with a webhook for its messages, whose database lies in a folder of its own."""

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from receivers import HttpReceiver
from small_disk import beside, on_small_disk

CONFIG = """\
site: {{name: Evening propagation class, timezone: Europe/Lisbon, units: SI}}
store: {{url: "sqlite:///card/wardian.db", commit_every: 250 ms}}
trays:
  - {{name: tray-a, crop: coleus, stuck: 2026-03-02}}
crops:
  coleus: {{stages: [{{name: callusing, from_day: 0, bands: {{air_temperature: {{low: 20 °C}}}}}}]}}
sensors:
  - {{name: chip, kind: kernel, root: sys, every: 1 s,
     channels: [{{tray: tray-a, quantity: air_temperature, file: class/hwmon/hwmon0/temp1_input}}]}}
notifiers:
  - {{name: hook, kind: webhook, url: "{address}/alarms", timeout: 2 s}}
"""
WARDIAN = [sys.executable, "-m", "wardian.daemon.cli"]


class CardBench:
    """The folder of a bench, its daemon, and what it was told."""

    def __init__(self, folder: Path, receiver: HttpReceiver) -> None:
        self.folder, self.receiver = folder, receiver
        self.card = folder / "card"
        self.database = self.card / "wardian.db"
        self.card.mkdir()
        chip = folder / "sys" / "class" / "hwmon" / "hwmon0"
        chip.mkdir(parents=True)
        (chip / "temp1_input").write_text("24500\n")
        (folder / "config.yaml").write_text(CONFIG.format(address=receiver.address), encoding="utf-8")
        self.process: subprocess.Popen[Any] | None = None
        self._is_small = False

    def start(self, size: str = "") -> None:
        """Start the daemon, on a small disk where a size is given."""
        self._is_small = bool(size)
        with (self.folder / "daemon.log").open("ab") as log:
            how: dict[str, Any] = {"cwd": self.folder, "stdout": log, "stderr": log, "env": os.environ}
            run = [*WARDIAN, "run"]
            self.process = (
                on_small_disk(self.card, size, run, **how) if size else subprocess.Popen(run, **how)
            )

    @property
    def running(self) -> subprocess.Popen[Any]:
        assert self.process is not None
        return self.process

    def kill(self) -> None:
        """End the daemon as a power cut would end its process; idempotent."""
        if self.process is not None:
            self.process.kill()
            self.process.wait(10)
            self.process = None

    def stop(self) -> int:
        """End the daemon as a service manager would, and return its status."""
        self.running.terminate()
        status = self.running.wait(20)
        self.process = None
        return status

    def run_out(self) -> int:
        """Wait for the daemon to end by itself, and return its status."""
        status = self.running.wait(30)
        self.process = None
        return status

    def say(self, *words: str) -> subprocess.CompletedProcess[str]:
        """Run another command on the bench, on the small disk of the daemon where it has one."""
        if self.process is None or not self._is_small:
            return self.say_outside(*words)
        return beside(self.process, *WARDIAN, *words, cwd=self.folder)

    def say_outside(self, *words: str) -> subprocess.CompletedProcess[str]:
        """Run another command on the bench as it is seen from everywhere."""
        command = [*WARDIAN, *words]
        return subprocess.run(
            command, cwd=self.folder, capture_output=True, text=True, check=False, timeout=60
        )

    @property
    def log(self) -> str:
        return (self.folder / "daemon.log").read_text(encoding="utf-8")

    def told(self) -> list[tuple[str, str]]:
        """Return the alarm and event of each message that arrived."""
        bodies = [json.loads(request.body) for request in self.receiver.requests]
        return [(body["alarm"], body["event"]) for body in bodies if "alarm" in body]

    def words_of(self, alarm: str) -> Sequence[str]:
        """Return what was told of an alarm."""
        bodies = [json.loads(request.body) for request in self.receiver.requests]
        return [body["message"] for body in bodies if body.get("alarm") == alarm]
