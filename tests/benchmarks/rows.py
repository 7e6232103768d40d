"""One line of the table of figures."""

from collections.abc import Iterable
from typing import NamedTuple

HEADER = ("figure", "ours", "yardstick in the same run", "ratio", "goal", "met")


class Row(NamedTuple):
    """A figure, what it is held against, and whether its goal is met (None: there is no goal)."""

    figure: str
    ours: str
    yardstick: str
    ratio: float | None
    goal: str
    is_met: bool | None


def print_rows(rows: Iterable[Row]) -> None:
    for row in rows:
        ratio = "" if row.ratio is None else f"{row.ratio:.2f}"
        met = {True: "yes", False: "NO", None: ""}[row.is_met]
        cells = (row.figure, row.ours, row.yardstick, ratio, row.goal, met)
        print(f"| {' | '.join(cells)} |", flush=True)
