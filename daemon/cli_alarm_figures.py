"""What ``wardian alarms --figures`` says: what the alarm system asks of people, beside what is bearable."""

import argparse
import json
import sys
from contextlib import ExitStack
from pathlib import Path

from wardian.daemon import report_alarm_figures as report
from wardian.daemon import visiting, wiring
from wardian.daemon.alarm_period import figures_of
from wardian.daemon.config import Config
from wardian.daemon.exit_status import CANNOT_BE_USED, DONE
from wardian.daemon.tongue import Tongue
from wardian.rules.alarm_figures import AlarmFigures


def alarm_figures(options: argparse.Namespace) -> int:
    """Print the figures of the alarm system between two instants, or of all that was watched."""
    try:
        _refuse(options)
        config = wiring.load_config(Path(options.config))
        figures = _figures(config, options.from_time, options.to_time)
    except ValueError as error:
        print(f"wardian alarms: {error}", file=sys.stderr)
        return CANNOT_BE_USED
    if options.json:
        print(json.dumps(report.figures_json(figures), ensure_ascii=False, allow_nan=False))
    elif figures is None:
        print(report.EMPTY)
    else:
        for line in report.figure_lines(Tongue.of(config.site), figures):
            print(line)
    return DONE


def _refuse(options: argparse.Namespace) -> None:
    if not options.figures:
        raise ValueError("--from and --to say of what time --figures are, and that is not given")
    if options.act is not None:
        raise ValueError(f"--figures shows and {options.act} changes something; one at a time is accepted")


def _figures(config: Config, from_text: str | None, to_text: str | None) -> AlarmFigures | None:
    """Return the figures; None where the journal is empty.

    Raises:
        ValueError: A time cannot be read, or nothing was watched between the two.
        StoreFailed: The store cannot be read.
    """
    from wardian.daemon.recorded import instant_ms

    from_ms, to_ms = (instant_ms(text) if text is not None else None for text in (from_text, to_text))
    entries = visiting.alarm_entries(config, everything=True)
    if not entries:
        return None
    with ExitStack() as opened:
        store = wiring.open_store(config, opened, read_only=True)
        return figures_of(store, entries, len(config.trays), (from_ms, to_ms))
