"""An idle daemon: 40 sensors every ten seconds on a real broker, beside a bare paho and sqlite3 loop.

Memory, processor time and wake-ups of both over the same minutes. Processor time is counted in ticks
of 10 ms, so that a short run says little: take ten minutes or more for a figure that is told to others.
"""

import argparse
import json
import os
import shutil
import socket
import sqlite3
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import NamedTuple

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from rows import Row, print_rows

from wardian.adapters.timestamps import text_of
from wardian.daemon.clock import SystemClock

TRAYS = [f"tray-{letter}" for letter in "abcdefgh"]
QUANTITIES = ("air_temperature", "medium_temperature", "relative_humidity", "illuminance", "tray_mass")
EVERY_S = 10.0
SETTLING_S = 30.0

CONFIG = """\
site: {{name: Evening propagation class, timezone: Europe/Lisbon, units: US}}
store: {{url: "sqlite:///idle.db", commit_every: 10 s}}
trays:
{trays}
crops:
  coleus:
    stages:
      - name: callusing
        from_day: 0
        bands:
          air_temperature: {{low: 75 °F, high: 80 °F}}
          medium_temperature: {{low: 70 °F, high: 80 °F}}
          relative_humidity: {{low: 88 %}}
          vapour_pressure_deficit: {{high: 0.4 kPa}}
          light_hours: {{low: 0 h, high: 24 h}}
light: {{lit_above: 1000 lx, lit_deadband: 100 lx}}
sensors:
  - name: probes
    kind: mqtt
    broker: {{host: 127.0.0.1, port: {port}}}
    subscriptions:
      - {{topic: "class/{{tray}}/probes", payload: senml, names: {{"{{quantity}}": {{}}}}}}
notifiers:
  - {{name: terminal, kind: console}}
"""

#: The least that keeps the same readings: decoded without a check, committed every ten seconds, acknowledged after.
BARE = """
import json, sqlite3, sys, threading, time
import paho.mqtt.client as mqtt
from queue import Empty, SimpleQueue
port = int(sys.argv[1])
queue = SimpleQueue()
client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id="bare", clean_session=False, manual_ack=True)
client.on_message = lambda _c, _u, m: queue.put(m)
client.on_connect = lambda c, _u, _f, _r, _p: c.subscribe("class/+/probes", 1)
client.connect("127.0.0.1", port)
client.loop_start()
database = sqlite3.connect("bare.db", isolation_level=None)
database.execute("pragma journal_mode=wal")
database.execute("pragma synchronous=full")
database.execute("create table if not exists r (t integer, s text, v real, primary key (t, s)) without rowid")
while True:
    time.sleep(10)
    messages = [queue.get() for _ in range(queue.qsize())]
    rows = []
    for message in messages:
        records = json.loads(message.payload)
        begin = records[0]["bt"]
        rows += [(int(begin * 1000), message.topic + one["n"], one["v"]) for one in records]
    database.execute("begin immediate")
    database.executemany("insert or ignore into r values (?, ?, ?)", rows)
    database.execute("commit")
    for message in messages:
        client.ack(message.mid, message.qos)
"""


class Spent(NamedTuple):
    """What a process has used up: processor ticks and voluntary waits of all its threads."""

    ticks: int
    waits: int
    resident_mib: float


def spent(pid: int) -> Spent:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    status = Path(f"/proc/{pid}/status").read_text()
    resident_kib = int(next(line for line in status.splitlines() if line.startswith("VmRSS")).split()[1])
    waits = 0
    for task in Path(f"/proc/{pid}/task").iterdir():
        lines = (task / "status").read_text().splitlines()
        waits += int(next(one for one in lines if one.startswith("voluntary")).split()[1])
    return Spent(int(fields[11]) + int(fields[12]), waits, resident_kib / 1024)


@contextmanager
def broker(folder: Path) -> Iterator[int]:
    """Run a broker of our own; yield its port once it accepts connections."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    lines = [f"listener {port} 127.0.0.1", "allow_anonymous true", "max_queued_messages 0"]
    (folder / "broker.conf").write_text("\n".join(lines) + "\n")
    program = shutil.which("mosquitto", path=os.environ["PATH"] + ":/usr/sbin")
    assert program, "mosquitto is needed"
    with subprocess.Popen([program, "-c", folder / "broker.conf"], stderr=subprocess.DEVNULL) as process:
        try:
            pause = threading.Event()
            while not accepts(port):
                assert process.poll() is None, "the broker ended by itself"
                pause.wait(0.05)
            yield port
        finally:
            process.terminate()


def accepts(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


def publish(port: int, stop: threading.Event) -> None:
    """Publish a pack of five readings of each tray every ten seconds."""
    client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="probes")
    client.connect("127.0.0.1", port)
    client.loop_start()
    clock, number = SystemClock(), 0
    while not stop.is_set():
        number += 1
        now_s = clock.wall_ms() / 1000
        for tray in TRAYS:
            values = (25.0 + number % 7 / 10, 24.5, 94.0 + number % 5 / 10, 5000.0, 2.4)
            units = ("Cel", "Cel", "%RH", "lx", "kg")
            records = [{"n": n, "u": u, "v": v} for n, u, v in zip(QUANTITIES, units, values, strict=True)]
            records[0]["bt"] = now_s
            client.publish(f"class/{tray}/probes", json.dumps(records), qos=1)
        stop.wait(EVERY_S)
    client.loop_stop()


def measure(minutes: float) -> list[Row]:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        stuck = text_of(SystemClock().wall_ms() - 86_400_000)[:10]
        trays = "\n".join(f"  - {{name: {tray}, crop: coleus, stuck: {stuck}}}" for tray in TRAYS)
        with broker(folder) as port, (folder / "log").open("wb") as log:
            (folder / "config.yaml").write_text(CONFIG.format(trays=trays, port=port), encoding="utf-8")
            programs = (
                [sys.executable, "-m", "wardian.daemon.cli", "run"],
                [sys.executable, "-c", BARE, str(port)],
            )
            stop, pause = threading.Event(), threading.Event()
            publisher = threading.Thread(target=publish, args=(port, stop))
            processes = [
                subprocess.Popen(program, cwd=folder, stdout=log, stderr=log) for program in programs
            ]
            try:
                publisher.start()
                pause.wait(SETTLING_S)
                before = [spent(process.pid) for process in processes]
                pause.wait(minutes * 60)
                after = [spent(process.pid) for process in processes]
            finally:
                stop.set()
                for process in processes:
                    process.terminate()
                    process.wait(20)
                publisher.join()
        _check_kept(folder)
    return _rows(before, after, minutes)


def _check_kept(folder: Path) -> None:
    """Both must have kept what was published, or their figures mean nothing."""
    for name, table in (("idle.db", "readings"), ("bare.db", "r")):
        with closing(sqlite3.connect(folder / name)) as database:
            (count,) = database.execute(f"select count(*) from {table}").fetchone()
            assert count >= 40 * (SETTLING_S // EVERY_S), f"{name} holds only {count} readings"


def _rows(before: list[Spent], after: list[Spent], minutes: float) -> list[Row]:
    ticks_per_s = os.sysconf("SC_CLK_TCK")
    cpu = [(b.ticks - a.ticks) / ticks_per_s * 60 / minutes for a, b in zip(before, after, strict=True)]
    waits = [(b.waits - a.waits) / (minutes * 60) for a, b in zip(before, after, strict=True)]
    resident = [one.resident_mib for one in after]
    over = f"over {minutes:g} min"
    return [
        Row(
            "idle daemon, 40 sensors: resident memory",
            f"{resident[0]:.0f} MiB",
            f"{resident[1]:.0f} MiB bare",
            resident[0] / 80,
            "at most 80 MiB",
            resident[0] <= 80,
        ),
        Row(
            f"idle daemon: processor time {over}",
            f"{cpu[0]:.2f} s/h",
            f"{cpu[1]:.2f} s/h bare",
            cpu[0] / cpu[1],
            "at most 2",
            cpu[0] <= 2 * cpu[1],
        ),
        Row(
            f"idle daemon: wake-ups {over}",
            f"{waits[0]:.2f} /s",
            f"{waits[1]:.2f} /s bare",
            waits[0] / waits[1],
            "at most 3 /s",
            waits[0] <= 3,
        ),
    ]


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=2.5)
    print_rows(measure(parser.parse_args().minutes))
