"""Thirty days of a pretended bench through the whole daemon: how much more it takes at their end.

The page is looked at every few seconds, messages go to a receiver, something goes wrong on each day.
"""

import argparse
import tempfile
from pathlib import Path

from rows import Row, print_rows
from soaked import Outcome, Soaking, middle, soak

TRAYS = 4


def measure(days: float, speed: float) -> list[Row]:
    with tempfile.TemporaryDirectory() as place:
        outcome = soak(Path(place), Soaking(days=days, speed=speed, trays=TRAYS, every_s=60))
    return _rows(outcome, days)


def _rows(outcome: Outcome, days: float) -> list[Row]:
    settled = days / 3
    growth = outcome.growth_a_day("resident_mib", settled)
    ends, before = outcome.after(2 * days / 3), [one for one in outcome.samples if one.day >= settled]
    wal_mib = max(one.wal_bytes for one in outcome.samples) / 1024**2
    what = f"{days:g} days of {5 * TRAYS} probes a minute, {outcome.readings:,} readings"
    return [
        Row(
            f"{what}: memory grows a day",
            f"{growth:.2f} MiB",
            f"{middle(ends, 'resident_mib'):.0f} MiB at the end",
            None,
            "under 0.5 MiB",
            growth < 0.5,
        ),
        *(
            Row(
                f"the same: {name}",
                f"{middle(ends, what):.0f}",
                f"{middle(before, what):.0f} in the days before",
                None,
                "as many",
                middle(ends, what) <= middle(before, what) + 1,
            )
            for name, what in (("open files", "handles"), ("threads", "threads"))
        ),
        Row(
            "the same: longest write-ahead log", f"{wal_mib:.1f} MiB", "", None, "under 16 MiB", wal_mib < 16
        ),
        Row(
            "the same: the database grows a day",
            f"{outcome.growth_a_day('used_bytes', settled) / 1e6:.2f} MB",
            f"{outcome.growth_a_day('log_bytes', settled) / 1e3:.1f} kB the log",
            None,
            "",
            None,
        ),
    ]


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=float, default=30)
    parser.add_argument("--speed", type=float, default=8_640)
    print_rows(measure(**vars(parser.parse_args())))
