"""The trade between hearing of trouble early and being left in peace, and which settings make it well.

The rule of this file: a setting is *not beaten* when no other is at least as early and at least as
quiet, and better in one of the two.

With a truth, early means the median lateness after the beginnings of the faults, one not found counting
as never; of settings with one median the one that misses fewer, then the one that is less late at its
worst, is earlier. A fault counts for all settings where one of them found or missed it: no setting looks
better for waiting so long that there is nothing to find. Quiet means few unneeded alarms a tray-week. Without a truth nobody knows which alarms
were needed: early then means little time beyond bands with no alarm that says so, quiet few alarms.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf
from statistics import median
from typing import NamedTuple

from wardian.rules.scores import FOUND, MISSED, Score, together


@dataclass(frozen=True, slots=True)
class Found:
    """How well one setting told the truth about all weeks, among the settings that it is compared with."""

    lateness_ms: tuple[int, ...]
    missed: int
    unneeded: int
    unneeded_a_week: float

    @property
    def faults(self) -> int:
        """How many faults there were to find."""
        return len(self.lateness_ms) + self.missed

    @property
    def median_ms(self) -> float | None:
        """The median lateness, infinite where a missed fault is the median; None without faults."""
        every = [*self.lateness_ms, *[inf] * self.missed]
        return median(every) if every else None

    @property
    def worst_ms(self) -> int | None:
        """The worst lateness of those found."""
        return max(self.lateness_ms, default=None)


def founds(every: Sequence[Sequence[Score]]) -> list[Found]:
    """Return what each setting found, from its scores of the same weeks."""
    late_ms = [
        {
            (week, one.fault): one.late_ms if one.result == FOUND else None
            for week, score in enumerate(scores)
            for one in score.findings
        }
        for scores in every
    ]
    counted = {
        (week, one.fault)
        for scores in every
        for week, score in enumerate(scores)
        for one in score.findings
        if one.result in (FOUND, MISSED)
    }
    return [
        _found([known.get(fault) for fault in counted], together(scores))
        for known, scores in zip(late_ms, every, strict=True)
    ]


def _found(late_ms: Sequence[int | None], score: Score) -> Found:
    known = tuple(sorted(one for one in late_ms if one is not None))
    return Found(known, len(late_ms) - len(known), len(score.unneeded), score.unneeded_per_tray_week)


class Trade(NamedTuple):
    """How late and how loud a setting is; less is better in both."""

    late: tuple[float, ...]
    loud: float


def trade(found: Found | None, untold_ms: int, alarms: int) -> Trade:
    """Return the two sides of a setting, with what it found of a truth or without one."""
    if found is None:
        return Trade((untold_ms,), alarms)
    return Trade((found.median_ms or 0, found.missed, found.worst_ms or 0), found.unneeded_a_week)


def not_beaten(trades: Sequence[Trade]) -> list[bool]:
    """Return of each setting whether no other beats it."""
    return [not any(_beats(other, one) for other in trades) for one in trades]


def _beats(one: Trade, other: Trade) -> bool:
    return one.late <= other.late and one.loud <= other.loud and one != other
