"""From a CSV file to the journal: ``wardian replay`` beside pandas doing the same, each as a process."""

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from statistics import median
from time import perf_counter
from typing import NamedTuple

from rows import Row, print_rows
from week import configuration, week

from wardian.adapters.reading_file import write_rows
from wardian.adapters.timestamps import parse_ms
from wardian.rules.readings import Reading

ROUNDS = 5
THEIRS = """
import json, sys
import pandas as pd
import pandas_rules
table = pd.read_csv(sys.argv[1])
times = pd.to_datetime(table["time"], utc=True, format="ISO8601").astype("datetime64[ms, UTC]").astype("int64")
groups = table.assign(time=times)[["time", "tray", "quantity", "value"]].groupby(["tray", "quantity"])
series = {key: pd.Series(one["value"].to_numpy(), index=one["time"].to_numpy()) for key, one in groups}
for row in pandas_rules.as_tuples(pandas_rules.journal(series)):
    print(json.dumps(row))
"""


class Spent(NamedTuple):
    """What a process took and what it printed."""

    seconds: float
    most_mib: float
    printed: str


def spent(command: list[str], folder: Path) -> Spent:
    """Run a process; its memory is the largest that was resident."""
    here = str(Path(__file__).parent)
    path = os.pathsep.join([here, *filter(None, [os.environ.get("PYTHONPATH")])])
    with (folder / "printed").open("w+", encoding="utf-8") as printed:
        begin = perf_counter()
        with subprocess.Popen(
            command,
            cwd=folder,
            stdout=printed,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": path},
        ) as process:
            _, status, usage = os.wait4(process.pid, 0)
            process.returncode = os.waitstatus_to_exitcode(status)
        seconds = perf_counter() - begin
        assert process.returncode == 0, command
        return Spent(seconds, usage.ru_maxrss / 1024, (folder / "printed").read_text(encoding="utf-8"))


def as_rows(printed: str) -> list[list[object]]:
    """Return the journal that ``wardian replay --json`` printed as rows like those of the yardstick."""
    return [
        [
            parse_ms(one["time"]),
            one["tray"],
            one["quantity"],
            one["limit"] or one["alarm"],
            one["event"],
            one["value"],
        ]
        for one in map(json.loads, printed.splitlines())
    ]


def make(folder: Path) -> None:
    """Write the week and its configuration."""
    rows = sorted(
        Reading(time_ms, *series, value)
        for series, points in week().items()
        for time_ms, value in zip(points.times_ms.tolist(), points.values.tolist(), strict=True)
    )
    write_rows(folder / "week.csv", rows)
    (folder / "config.yaml").write_text(configuration(), encoding="utf-8")


def measure() -> list[Row]:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        # Made by another process: the memory of this one would count as that of its children.
        subprocess.run([sys.executable, __file__, str(folder)], check=True)
        with (folder / "week.csv").open("rb") as file:
            readings = sum(1 for _ in file) - 1
        ours = [sys.executable, "-m", "wardian.daemon.cli", "replay", "week.csv", "--json"]
        theirs = [sys.executable, "-c", THEIRS, "week.csv"]
        results = [(spent(ours, folder), spent(theirs, folder)) for _ in range(ROUNDS)]
    for mine, other in results:
        journal = [json.loads(line) for line in other.printed.splitlines()]
        assert as_rows(mine.printed) == journal, "the two journals differ"
    mine_s, other_s = (median(pair[side].seconds for pair in results) for side in (0, 1))
    mine_mib, other_mib = (max(pair[side].most_mib for pair in results) for side in (0, 1))
    figure = f"from CSV file to journal, {readings:,} readings"
    return [
        Row(
            figure,
            f"{mine_s:.2f} s",
            f"{other_s:.2f} s pandas",
            other_s / mine_s,
            "at least 1",
            mine_s <= other_s,
        ),
        Row(
            "the same, peak memory",
            f"{mine_mib:.0f} MiB",
            f"{other_mib:.0f} MiB pandas",
            mine_mib / other_mib,
            "at most 100 MiB",
            mine_mib <= 100,
        ),
    ]


if __name__ == "__main__":
    if len(sys.argv) > 1:
        make(Path(sys.argv[1]))
    else:
        print_rows(measure())
