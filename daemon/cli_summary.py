"""What ``wardian summary`` does: sum the last day up, as the daily summary does."""

import argparse
import json
from contextlib import ExitStack
from pathlib import Path

from wardian.daemon import visiting, wiring
from wardian.daemon.config import Config
from wardian.daemon.daily_summary import DAY_MS
from wardian.daemon.exit_status import DONE
from wardian.daemon.outward import watched_time
from wardian.daemon.planning import with_records
from wardian.daemon.summary import Summary, summed_up
from wardian.daemon.summary_words import summary_json, summary_lines
from wardian.daemon.watched_time import NOTE


def summary(options: argparse.Namespace) -> int:
    """Print what happened in the last 24 hours."""
    config = wiring.load_config(Path(options.config))
    day = _last_day(config)
    if options.json:
        print(json.dumps(summary_json(day), ensure_ascii=False, allow_nan=False))
    else:
        for line in summary_lines(day, config.site):
            print(line)
    return DONE


def _last_day(config: Config) -> Summary:
    """Return what happened in the 24 hours up to now.

    Raises:
        StoreFailed: The store cannot be read.
    """
    with ExitStack() as opened:
        store, now_ms = visiting.look(config, opened)
        span, notes = (now_ms - DAY_MS, now_ms), store.notes()
        config = with_records(config, store.records())
        watched_ms = watched_time(notes, store).within_ms(span) if NOTE in notes else None
        return summed_up(config, store, wiring.lives(config, store, lambda: now_ms), span, watched_ms)
