"""A flood of every hostile form beside 20 true sensors, on a real broker: what becomes of what is true.

Takes two to three minutes.
"""

import argparse
import tempfile
from pathlib import Path

from flooded import FloodedBench, broker
from rows import Row, print_rows

RATES = {
    "impostor": 3_000.0,
    "impostor_acknowledged": 3_000.0,
    "rubbish": 1_000.0,
    "made_up": 2_948.0,
    "strange": 50.0,
    "huge": 2.0,
}


def measure(seconds: float) -> list[Row]:
    with tempfile.TemporaryDirectory() as place, broker(Path(place)) as port:
        outcome = FloodedBench(Path(place), port).run(seconds, RATES)
    true = len(outcome.published)
    slowest_s = max(outcome.judged_after_s.values(), default=float("inf"))
    micro_s = outcome.processor_s / outcome.hostile_messages * 1e6
    rate = outcome.hostile_messages / outcome.seconds
    return [
        Row(
            f"flood of {seconds:g} s: hostile messages",
            f"{rate:,.0f} /s",
            "",
            None,
            "10,000 /s",
            rate >= 9_500,
        ),
        Row(
            "flood: true readings kept",
            f"{true - len(outcome.lost):,}",
            f"{true:,} published",
            (true - len(outcome.lost)) / true,
            "all",
            not outcome.lost,
        ),
        Row(
            "flood: longest from a true reading published to its alarm kept",
            f"{slowest_s:.1f} s",
            f"{outcome.kept_after_s:.1f} s until it is kept",
            None,
            "at most 60 s",
            slowest_s <= 60,
        ),
        Row(
            "flood: peak of resident memory",
            f"{outcome.peak_mib:.0f} MiB",
            "",
            None,
            "at most 128 MiB",
            outcome.peak_mib <= 128,
        ),
        Row(
            "flood: processor time a hostile message, start and true sensors included",
            f"{micro_s:.0f} µs",
            "",
            None,
            "",
            None,
        ),
    ]


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=60)
    print_rows(measure(parser.parse_args().seconds))
