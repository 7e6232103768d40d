"""What can be asked about pictures.

The rule of this file: it loads nothing, because every command line is read with it.
"""

import argparse
from typing import Final

from wardian.daemon.cli_time_options import add_times

#: The longest time of a picture.
MOST_DAYS: Final = 3660


def add_plot(plot: argparse.ArgumentParser) -> None:
    """Add what can be said of one picture."""
    plot.add_argument("tray", metavar="TRAY")
    plot.add_argument("--out", required=True, metavar="FILE", help="a .svg or .png file")
    plot.add_argument("--width", type=int, default=960, metavar="PIXELS", help="how wide (default: 960)")
    _add_time(plot)


def add_report(report: argparse.ArgumentParser, default_config: str) -> None:
    """Add what can be said of a report."""
    report.set_defaults(default_config=default_config)
    report.add_argument(
        "--config",
        metavar="FILE",
        action="append",
        help="a configuration, given twice to lay two side by side (default: $WARDIAN_CONFIG, then ./config.yaml)",
    )
    report.add_argument(
        "--out", required=True, metavar="FILE.html", help="the page, which needs nothing else"
    )
    report.add_argument(
        "--tray", metavar="TRAY", action="append", help="only this one, each time it is given"
    )
    report.add_argument("--batch", metavar="NAME", help="the whole time of a batch, in its tray")
    _add_time(report)


def _add_time(command: argparse.ArgumentParser) -> None:
    add_times(command)
    command.add_argument(
        "--readings", metavar="READINGS.csv", help="a file of readings instead of the store, judged anew"
    )
    command.add_argument(
        "--days",
        type=_days,
        default=1.0,
        metavar="N",
        help="how long, from the store and where --from is not given (default: 1)",
    )


def _days(written: str) -> float:
    days = float(written)
    if not 0 < days <= MOST_DAYS:
        raise argparse.ArgumentTypeError(f"{written}: more than 0 and at most {MOST_DAYS} days are accepted")
    return days
