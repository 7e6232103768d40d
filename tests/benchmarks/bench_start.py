"""How long a command takes to start, in starts of Python itself."""

import subprocess
import sys
from pathlib import Path
from statistics import median
from time import perf_counter

from rows import Row, print_rows

ROUNDS = 15
EXAMPLE = Path(__file__).parents[2] / "config.example.yaml"


def seconds(*arguments: str) -> float:
    begin = perf_counter()
    subprocess.run([sys.executable, *arguments], check=True, capture_output=True)
    return perf_counter() - begin


def measure() -> list[Row]:
    program = ("-m", "wardian.daemon.cli")
    commands = {
        "wardian --help": ((*program, "--help"), 6.0),
        "wardian check config.example.yaml": ((*program, "check", str(EXAMPLE)), None),
    }
    taken: dict[str, list[float]] = {"python -c pass": [], **{name: [] for name in commands}}
    for _ in range(ROUNDS):
        taken["python -c pass"].append(seconds("-c", "pass"))
        for name, (arguments, _) in commands.items():
            taken[name].append(seconds(*arguments))
    bare = median(taken["python -c pass"])
    return [
        Row(
            name,
            f"{median(taken[name]) * 1000:.0f} ms",
            f"{bare * 1000:.0f} ms python -c pass",
            median(taken[name]) / bare,
            f"at most {most:g}" if most else "",
            median(taken[name]) <= most * bare if most else None,
        )
        for name, (_, most) in commands.items()
    ]


if __name__ == "__main__":
    print_rows(measure())
