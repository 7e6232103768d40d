"""A pretended week of six trays every ten seconds as a file, and what a replay makes of it.

The yardsticks: the csv module writing the same rows, which are ready, and pandas reading them back.
"""

import csv
import json
import subprocess
import sys
import tempfile
from pathlib import Path
from statistics import median
from time import perf_counter

import pandas as pd
from pretended_weeks import EXAMPLE
from rows import Row, print_rows

ROUNDS = 3
CLI = [sys.executable, "-m", "wardian.daemon.cli"]


def seconds(*command: str) -> float:
    begin = perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    return perf_counter() - begin


def written_s(out: Path, rows: list[list[str]]) -> float:
    begin = perf_counter()
    with out.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows(rows)
    return perf_counter() - begin


def read_s(path: Path) -> float:
    begin = perf_counter()
    pd.to_datetime(pd.read_csv(path)["time"], format="ISO8601")
    return perf_counter() - begin


def measure() -> list[Row]:
    simulated, replayed, written, read = [], [], [], []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        out, truth = folder / "week.csv", folder / "truth.json"
        for _ in range(ROUNDS):
            simulated.append(
                seconds(*CLI, "simulate", "--out", str(out), "--truth", str(truth), "--seed", "7")
            )
            replayed.append(seconds(*CLI, "replay", str(out), "--config", str(EXAMPLE)))
            read.append(read_s(out))
        with out.open(newline="", encoding="utf-8") as file:
            rows = list(csv.reader(file))
        written = [written_s(folder / "again.csv", rows) for _ in range(ROUNDS)]
        assert json.loads(truth.read_text(encoding="utf-8"))["faults"] == []
    ours, other = median(simulated), median(written)
    count, replay = len(rows) - 1, median(replayed)
    return [
        Row(
            f"a pretended week of six trays, {count:,} readings, as a file",
            f"{ours:.1f} s",
            f"{other:.1f} s csv writing ready rows",
            ours / other,
            "at most 6 s",
            ours <= 6,
        ),
        Row(
            "its replay, from file to journal",
            f"{count / replay / 1e6:.2f} M/s",
            f"{count / median(read) / 1e6:.2f} M/s pandas reading it",
            median(read) / replay,
            "",
            None,
        ),
    ]


if __name__ == "__main__":
    print_rows(measure())
