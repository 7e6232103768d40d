"""A bench of one tray for tests that run the daemon as a process: a kernel file to measure by, and a database to look into."""

import os
import sqlite3
import subprocess
import sys
from contextlib import closing, suppress
from pathlib import Path
from typing import IO

from wardian.daemon.wiring import load_config

CONFIG = """\
site: {{name: Evening propagation class, timezone: Europe/Lisbon}}
store: {{url: "sqlite:///bench.db", commit_every: 500 ms}}
trays: [{{name: tray-a, crop: coleus, stuck: 2026-03-02}}]
readings: {{settle: 0 s}}
crops:
  coleus:
    stages:
      - name: callusing
        from_day: 0
        bands: {{medium_temperature: {{high: 27 °C, on_delay: 0 s}}}}
sensors:
  - {{name: probes, kind: kernel, root: {root}, every: 1 s,
     channels: [{{tray: tray-a, quantity: medium_temperature, file: temp1_input}}]}}
{sensors}
notifiers:
  - {{name: terminal, kind: console}}
{notifiers}
{more}
"""


class SmallBench:
    """The folder of a bench: its configuration, its pretended chip, its database."""

    def __init__(self, folder: Path, sensors: str = "", notifiers: str = "", more: str = "") -> None:
        self.folder = folder
        self.chip = folder / "chip"
        self.chip.mkdir()
        self.measure("23500")
        text = CONFIG.format(root=self.chip, sensors=sensors, notifiers=notifiers, more=more)
        (folder / "config.yaml").write_text(text, encoding="utf-8")
        load_config(folder / "config.yaml")  # a mistake in it would only show as a daemon that ends at once

    def measure(self, milli_c: str) -> None:
        """Let the chip measure something else."""
        (self.chip / "temp1_input").write_text(f"{milli_c}\n", encoding="ascii")

    def block_chip(self) -> None:
        """Let the chip's file block whoever opens it, as a bus that hangs does."""
        (self.chip / "temp1_input").unlink()
        os.mkfifo(self.chip / "temp1_input")

    def start(self, log: IO[bytes] | int, *before: str) -> subprocess.Popen[bytes]:
        """Start the daemon, its standard error going to ``log``; ``before`` are words before the command."""
        command = [*before, sys.executable, "-m", "wardian.daemon.cli", "run"]
        return subprocess.Popen(command, cwd=self.folder, stdin=subprocess.DEVNULL, stdout=log, stderr=log)

    def kept(self) -> int:
        """Return how many readings the database holds; 0 while there is none."""
        return self._count("SELECT count(*) FROM readings")

    def alarms(self) -> int:
        """Return how many entries the journal has."""
        return self._count("SELECT count(*) FROM journal")

    def is_whole(self) -> bool:
        """Return whether nothing of the database is broken."""
        with closing(sqlite3.connect(self.folder / "bench.db")) as database:
            return database.execute("PRAGMA quick_check").fetchall() == [("ok",)]

    def _count(self, question: str) -> int:
        if not (self.folder / "bench.db").exists():
            return 0
        where = f"file:{self.folder / 'bench.db'}?mode=ro"
        with closing(sqlite3.connect(where, uri=True)) as database, suppress(sqlite3.OperationalError):
            return int(database.execute(question).fetchone()[0])
        return 0  # it is being made just now
