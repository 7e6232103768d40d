"""Settings tried on recorded weeks: ten configurations beside one, and a sweep of sixteen settings over twenty weeks.

The weeks are simulated ones of the example's six trays, with their truths, so that alarms are scored, too. Five
scenarios are named four times each: every naming is read and judged for itself.
"""

import subprocess
import sys
import tempfile
from pathlib import Path
from statistics import median
from time import perf_counter

from rows import Row, print_rows

EXAMPLE = Path(__file__).parents[2] / "config.example.yaml"
WARDIAN = [sys.executable, "-m", "wardian.daemon.cli"]
ROUNDS = 5
SCENARIOS = ("bad-week", "winter-week", "summer-week", "forgetful-week", "steady")
WEEKS = 20
#: Both are about every tray: next to nothing can be judged once for several settings.
SWEEP = ("readings.hold=4min,5min,6min,7min", "light.lit_above=500 lx,1000 lx,1500 lx,2000 lx")


def make(folder: Path) -> int:
    """Write the weeks with their truths and ten configurations that differ for every tray; return a week's rows."""
    text = EXAMPLE.read_text(encoding="utf-8")
    for number in range(10):
        changed = text.replace("light_hours: {low: 16 h", f"light_hours: {{low: {16 - number / 10} h")
        (folder / f"{number}.yaml").write_text(changed, encoding="utf-8")
    for seed, scenario in enumerate(SCENARIOS):
        out = ["--out", f"{scenario}.csv", "--truth", f"{scenario}.json", "--config", "0.yaml"]
        run(folder, "simulate", "--seed", str(seed), "--scenario", scenario, *out)
    with (folder / f"{SCENARIOS[0]}.csv").open("rb") as file:
        return sum(1 for _ in file) - 1


def run(folder: Path, *arguments: str) -> float:
    """Run a command as a process and return how many seconds it takes."""
    begin = perf_counter()
    subprocess.run([*WARDIAN, *arguments], cwd=folder, check=True, capture_output=True)
    return perf_counter() - begin


def tune(folder: Path, *arguments: str, weeks: int = 1) -> float:
    names = [SCENARIOS[number % len(SCENARIOS)] for number in range(weeks)]
    truths = [option for name in names for option in ("--truth", f"{name}.json")]
    return run(folder, "tune", *(f"{name}.csv" for name in names), *truths, *arguments, "--json")


def measure() -> list[Row]:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        readings = make(folder)
        every = [option for number in range(10) for option in ("--config", f"{number}.yaml")]
        pairs = [(tune(folder, *every), tune(folder, *every[:2])) for _ in range(ROUNDS)]
        keys = [option for key in SWEEP for option in ("--vary", key)]
        sweep_s = tune(folder, "--config", "0.yaml", *keys, weeks=WEEKS)
    ten_s, one_s = (median(pair[side] for pair in pairs) for side in (0, 1))
    return [
        Row(
            f"ten configurations tuned on {readings:,} readings",
            f"{ten_s:.2f} s",
            f"{one_s:.2f} s one configuration",
            ten_s / one_s,
            "at most 3",
            ten_s <= 3 * one_s,
        ),
        Row(
            f"a sweep of 16 settings over {WEEKS} such weeks",
            f"{sweep_s:.0f} s",
            f"{one_s:.2f} s one configuration, one week",
            sweep_s / one_s,
            "at most 120 s",
            sweep_s <= 120,
        ),
    ]


if __name__ == "__main__":
    print_rows(measure())
