"""Quiet hours by the clock on the wall, right through the nights in which that clock is changed.

The rule of this file: each night has one beginning and one end, the first instants at which the clock shows
them or, where it leaps over them, anything later.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, time, timedelta, tzinfo
from functools import lru_cache
from typing import Final

from wardian.rules.crops import wall_time
from wardian.rules.daily import first_instant_ms

_DAY: Final = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Quiet:
    """Some hours of every day, which may go on past midnight."""

    begins: time
    ends: time
    zone: tzinfo

    def until_ms(self, time_ms: int) -> int | None:
        """Return when the quiet ends that holds at an instant, None where none does."""
        holding = [end_ms for begin_ms, end_ms in self._spans(time_ms) if begin_ms <= time_ms < end_ms]
        return max(holding, default=None)

    def ended_ms(self, time_ms: int) -> int:
        """Return when the last quiet ended before an instant, or at it."""
        return max(end_ms for _, end_ms in self._spans(time_ms) if end_ms <= time_ms)

    def _spans(self, time_ms: int) -> Iterator[tuple[int, int]]:
        """Yield the quiet hours of the days around an instant."""
        today = wall_time(time_ms, self.zone).date()
        for days in (-2, -1, 0, 1):
            day = today + days * _DAY
            end_day = day if self.begins < self.ends else day + _DAY
            yield first_ms(day, self.begins, self.zone), first_ms(end_day, self.ends, self.zone)

    def __str__(self) -> str:
        return f"{self.begins:%H:%M} to {self.ends:%H:%M}"


@lru_cache(maxsize=256)
def first_ms(day: date, at: time, zone: tzinfo) -> int:
    """Return the first instant at which the clock on the wall shows a time of a day, or anything later."""
    return first_instant_ms(day, at, zone)
