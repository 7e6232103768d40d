"""Fuzz in full and print the table of figures: ``python tests/fuzz/run.py [--seed N] [NAME…]``; without names, all.

Takes about a quarter of an hour of one core. The same seed tries the same things again; each part runs in a process
of its own and prints what went wrong, if anything did, to standard error.
"""

import argparse
import os
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).parent
SUPPORT = HERE.parent / "support"
HEADER = ("what was tried", "figure", "goal", "met")
#: Part → how many are tried: more than the goal, since some are drawn for other ends.
PARTS = {
    "payloads": 1_050_000,
    "topics": 110_000,
    "configurations": 75_000,
    "reading_files": 12_000,
    "other_files": 10_000,
}


def main() -> int:
    """Run the parts that are asked for; return 1 where a goal is not met."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", metavar="NAME", nargs="*", choices=[[], *PARTS], help=", ".join(PARTS))
    parser.add_argument("--seed", type=int, default=20_260_302, help="another one tries other things")
    options = parser.parse_args()
    print(f"seed {options.seed}\n")
    print("| " + " | ".join(HEADER) + " |")
    print("|" + "---|" * len(HEADER), flush=True)
    path = os.pathsep.join(filter(None, [str(SUPPORT), os.environ.get("PYTHONPATH")]))
    failed = 0
    for name in options.names or PARTS:
        command = [
            sys.executable,
            "-W",
            "error",
            str(SUPPORT / f"fuzz_{name}.py"),
            str(options.seed),
            str(PARTS[name]),
        ]
        failed |= subprocess.run(command, env={**os.environ, "PYTHONPATH": path}, check=False).returncode
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
