"""What the page shows of the bench, looked up in the store as commands do, and kept for a moment for whoever asks next.

The rule of this file: however many look, the store is read every few seconds at most.
"""

import threading
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from typing import Any, Final, Generic, TypeVar

from wardian.daemon import visiting
from wardian.daemon.alarm_period import figures_of
from wardian.daemon.care_today import TrayCare, care_of, today
from wardian.daemon.config import Config
from wardian.daemon.lives import alarm_of
from wardian.daemon.look import BenchNow
from wardian.daemon.page.last_day import HOUR_MS, HOURS, DayTable, day_table
from wardian.daemon.report import present_alarms
from wardian.daemon.tongue import Tongue
from wardian.daemon.wiring import open_store
from wardian.rules.alarm_figures import AlarmFigures
from wardian.rules.batches import Batch, batches
from wardian.rules.ports import Clock, JournalEntry

#: [s]
_BENCH_STANDS_S: Final = 2.0
_DAYS_STAND_S: Final = 60.0
_FIGURES_STAND_S: Final = 300.0
#: So many times as long as a look took nobody looks again: a small board has other work.
_REST: Final = 9.0
#: The newest entries of the journal that are shown.
MOST_ENTRIES: Final = 200

Seen = TypeVar("Seen")


@dataclass(frozen=True, slots=True)
class Bench:
    """Everything that is shown of the bench at one instant.

    ``alarms`` are those that stand, each with its life; ``aside`` those that somebody has yet to deal with or has set
    aside while they do not stand.
    """

    now: BenchNow
    alarms: Sequence[Mapping[str, Any]]
    aside: Sequence[Mapping[str, Any]]
    care: Mapping[str, TrayCare]


class Remembered(Generic[Seen]):
    """What was looked up, until it is too old; one looks it up while the others wait for him."""

    def __init__(self, look: Callable[[], Seen], stands_s: float, clock: Clock) -> None:
        self._look = look
        self._stands_s = stands_s
        self._clock = clock
        self._lock = threading.Lock()
        self._seen: tuple[Seen] | None = None
        self._stands_until_s = 0.0

    def get(self) -> Seen:
        """Return it, looked up anew where it is too old."""
        with self._lock:
            if self._seen is None or self._clock.monotonic_s() >= self._stands_until_s:
                begun_s = self._clock.monotonic_s()
                seen = self._look()
                now_s = self._clock.monotonic_s()
                self._stands_until_s = now_s + max(self._stands_s, _REST * (now_s - begun_s))
                self._seen = (seen,)
            return self._seen[0]

    def forget(self) -> None:
        """Let it be looked up anew."""
        with self._lock:
            self._seen = None


class Looking:
    """Looks at the bench for all that the page shows."""

    def __init__(self, config: Config, clock: Clock) -> None:
        """Look at what a configuration says, by the machine's clock."""
        self.config = config
        self.bench = Remembered(self._bench, _BENCH_STANDS_S, clock)
        #: By tray, the last day.
        self.days = Remembered(self._days, _DAYS_STAND_S, clock)
        self.figures = Remembered(self._figures, _FIGURES_STAND_S, clock)

    def _bench(self) -> Bench:
        now = visiting.bench_now(self.config)
        lives = visiting.alarm_lives(self.config)
        standing = present_alarms(visiting.alarm_entries(self.config, everything=False), lives)
        known, now_ms = visiting.care_known(self.config)
        care = care_of(self.config, known, today(now_ms, self.config.site.zone))
        there = set(map(alarm_of, standing))
        aside = [one for one in lives if alarm_of(one) not in there]
        return Bench(now, standing, aside, {one.tray.name: one for one in care})

    def _days(self) -> dict[str, DayTable]:
        with ExitStack() as opened:
            store, now_ms = visiting.look(self.config, opened)
            from_ms = now_ms - now_ms % HOUR_MS - (HOURS - 1) * HOUR_MS
            chunk = store.chunk(from_ms, now_ms + 1)
        tongue = Tongue.of(self.config.site)
        return {tray.name: day_table(tongue, chunk, tray.name, now_ms) for tray in self.config.trays}

    def _figures(self) -> AlarmFigures | None:
        entries = visiting.alarm_entries(self.config, everything=True)
        if not entries:
            return None
        with ExitStack() as opened:
            store = open_store(self.config, opened, read_only=True)
            return figures_of(store, entries, len(self.config.trays), (None, None))

    def journal(self, tray: str | None = None) -> list[JournalEntry]:
        """Return the newest entries, newest first, of one tray where it is named."""
        entries = visiting.last_entries(
            self.config, MOST_ENTRIES * (1 if tray is None else len(self.config.trays))
        )
        own = [entry for entry in reversed(entries) if tray in (None, entry.tray)]
        return own[:MOST_ENTRIES]

    def batches(self) -> list[Batch]:
        """Return all batches, the newest first."""
        return list(reversed(batches(visiting.records(self.config)).values()))
