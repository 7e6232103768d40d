"""Summaries of pretended days, while the daemon is killed again and again: each date once, and no hour left out."""

import json
import random
import signal
import subprocess
import sys
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from threading import Event
from typing import Any, Final

import pytest
from receivers import HttpReceiver, http_receiver

pytestmark = pytest.mark.journey

#: A day passes in some ten seconds.
CONFIG: Final = """\
site: {{name: Evening propagation class, timezone: America/New_York, units: US}}
store: {{url: "sqlite:///bench.db"}}
trays: [{{name: tray-a, crop: coleus, stuck: 2026-03-01}}]
crops: {{coleus: {{stages: [{{name: callusing, from_day: 0, bands: {{relative_humidity: {{low: 85 %}}}}}}]}}}}
sensors:
  - {{name: pretended, kind: simulator, seed: 7, every: 1 min, start: "2026-03-07T22:00:00-05:00", speed: 7200}}
notifiers: [{{name: hook, kind: webhook, url: "{address}/alarms"}}]
summary: {{at: 07:00, channels: [hook]}}
"""
COMMAND: Final = [sys.executable, "-m", "wardian.daemon.cli", "run"]
DAYS: Final = ["2026-03-08", "2026-03-09"]


def start(folder: Path) -> "subprocess.Popen[bytes]":
    with (folder / "daemon.log").open("ab") as log:
        return subprocess.Popen(COMMAND, cwd=folder, stdout=log, stderr=log)


def received(receiver: HttpReceiver) -> dict[str, dict[str, Any]]:
    """Return every summary that arrived, by its key; a repeat must say the same."""
    found: dict[str, dict[str, Any]] = {}
    for request in receiver.requests:
        fields = json.loads(request.body)
        if fields["event"] == "summary":
            assert found.setdefault(fields["key"], fields) == fields
    return found


def test_each_day_is_told_once_while_the_daemon_is_killed_at_any_moment(
    tmp_path: Path, wait_until: Callable[..., None]
) -> None:
    """The clocks go on in the first night (New York, 8 March 2026); the daemon dies every few seconds."""
    chance, pause = random.Random(7), Event()
    with http_receiver() as receiver:
        (tmp_path / "config.yaml").write_text(CONFIG.format(address=receiver.address), encoding="utf-8")
        process = start(tmp_path)
        try:
            for _ in range(20):
                pause.wait(chance.uniform(2.0, 5.0))
                process.send_signal(signal.SIGKILL)
                process.wait(10)
                process = start(tmp_path)
                if len(received(receiver)) >= len(DAYS):
                    break
            wait_until(lambda: len(received(receiver)) >= len(DAYS), "the summaries", within_s=60)
        finally:
            process.kill()
            process.wait(10)
        told = received(receiver)
    log = (tmp_path / "daemon.log").read_text(encoding="utf-8")
    assert "Traceback" not in log, log
    assert list(told)[: len(DAYS)] == [f"summary/{day}" for day in DAYS]
    for before, after in pairwise(told.values()):
        assert after["from"] == before["to"]
