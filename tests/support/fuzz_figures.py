"""Lines of the table of the fuzzing."""

import os
from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple

HEADER = ("what was tried", "figure", "goal", "met")


class Figure(NamedTuple):
    """A figure and whether its goal is met (None: there is no goal)."""

    what: str
    figure: str
    goal: str
    is_met: bool | None


def print_figures(figures: Iterable[Figure]) -> int:
    """Print figures as they come; return 0 where every goal is met, else 1."""
    failed = 0
    for figure in figures:
        met = {True: "yes", False: "NO", None: ""}[figure.is_met]
        failed |= figure.is_met is False
        print(f"| {figure.what} | {figure.figure} | {figure.goal} | {met} |", flush=True)
    return failed


def resident_mb() -> float:
    """Return the memory of this process as Linux counts it."""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6
