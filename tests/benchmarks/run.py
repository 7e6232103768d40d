"""Print the table of figures: ``python tests/benchmarks/run.py [NAME…]``; without names, all of them.

Each figure is measured in a process of its own, beside its yardstick, and is told as a ratio: the
machine may be slow or busy, the two are so alike. Nothing here fails because of a figure.
"""

import os
import subprocess
import sys
from pathlib import Path

from rows import HEADER

HERE = Path(__file__).parent
NAMES = (
    "engine",
    "replay",
    "ingest",
    "callback",
    "wear",
    "fold",
    "start",
    "idle",
    "simulate",
    "tune",
    "detection",
    "drift",
    "postmortem",
    "page",
    "flood",
    "soak",
)


def main(names: list[str]) -> int:
    unknown = set(names) - set(NAMES)
    if unknown:
        print(f"{', '.join(sorted(unknown))}: no such figure; {', '.join(NAMES)} are", file=sys.stderr)
        return 2
    print("| " + " | ".join(HEADER) + " |")
    print("|" + "---|" * len(HEADER), flush=True)
    path = os.pathsep.join(filter(None, [str(HERE.parent / "support"), os.environ.get("PYTHONPATH")]))
    failed = 0
    for name in names or NAMES:
        command = [sys.executable, str(HERE / f"bench_{name}.py")]
        failed |= subprocess.run(command, env={**os.environ, "PYTHONPATH": path}, check=False).returncode
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
