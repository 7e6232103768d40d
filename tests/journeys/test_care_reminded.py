"""Reminders of care over pretended days, while the daemon is killed again and again: each task once, no round left out."""

import json
import random
import signal
import subprocess
import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from threading import Event
from typing import Any, Final

import pytest
from receivers import HttpReceiver, http_receiver

pytestmark = pytest.mark.journey

#: A day passes in some ten seconds. Roots are looked for from 8 March on, in whose night the clocks go on.
CONFIG: Final = """\
site: {{name: Evening propagation class, timezone: America/New_York, units: US}}
store: {{url: "sqlite:///bench.db"}}
trays: [{{name: tray-a, crop: coleus, stuck: 2026-02-26}}]
crops: {{coleus: {{stages: [{{name: callusing, from_day: 0, bands: {{relative_humidity: {{low: 85 %}}}}}}]}}}}
sensors:
  - {{name: pretended, kind: simulator, seed: 7, every: 1 min, start: "2026-03-07T22:00:00-05:00", speed: 7200}}
notifiers: [{{name: hook, kind: webhook, url: "{address}/told"}}]
people: [{{name: evening teacher, channels: [hook], summary: false}}]
care: {{remind: true}}
"""
COMMAND: Final = [sys.executable, "-m", "wardian.daemon.cli", "run"]


def start(folder: Path) -> "subprocess.Popen[bytes]":
    with (folder / "daemon.log").open("ab") as log:
        return subprocess.Popen(COMMAND, cwd=folder, stdout=log, stderr=log)


def tasks(receiver: HttpReceiver) -> list[str]:
    """Return every task that was told; a repeat of a message must say the same."""
    found: dict[str, dict[str, Any]] = {}
    for request in list(receiver.requests):
        fields = json.loads(request.body)
        if fields["event"] == "care":
            assert found.setdefault(fields["key"], fields) == fields
    return [
        f"{task['date']}/{task['task']}/{task['number']}"
        for message in found.values()
        for task in message["tasks"]
    ]


def test_each_task_is_told_once_while_the_daemon_is_killed_at_any_moment(
    tmp_path: Path, wait_until: Callable[..., None]
) -> None:
    chance, pause = random.Random(11), Event()
    with http_receiver() as receiver:
        (tmp_path / "config.yaml").write_text(CONFIG.format(address=receiver.address), encoding="utf-8")
        process = start(tmp_path)
        try:
            for _ in range(12):
                pause.wait(chance.uniform(2.0, 4.0))
                process.send_signal(signal.SIGKILL)
                process.wait(10)
                process = start(tmp_path)
                if any(one.startswith("2026-03-10") for one in tasks(receiver)):
                    break
            wait_until(
                lambda: any(one.startswith("2026-03-10") for one in tasks(receiver)), "the third day", 60
            )
        finally:
            process.kill()
            process.wait(10)
        told = tasks(receiver)
    log = (tmp_path / "daemon.log").read_text(encoding="utf-8")
    assert "Traceback" not in log, log
    assert [one for one, times in Counter(told).items() if times > 1] == []
    assert "2026-03-08/roots/1" in told
    assert {one[:10] for one in told} >= {"2026-03-08", "2026-03-09", "2026-03-10"}
