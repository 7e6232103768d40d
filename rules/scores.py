"""What became of the faults of a truth, and of the alarms that nobody needed.

The rule of this file: it counts and orders; what was found is decided elsewhere.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from statistics import median
from typing import Final, NamedTuple

from wardian.rules.transitions import Transition
from wardian.rules.truth import TrueFault

FOUND: Final = "found"
#: It took the tray, or what its sensor showed, out of the band, and no alarm said so.
MISSED: Final = "missed"
#: It took it out of the band while the alarm of that limit stood already.
STANDING: Final = "standing"
#: It took nothing out of the band for longer than a limit waits: there was nothing to find.
WITHIN: Final = "within"
RESULTS: Final = (FOUND, MISSED, STANDING, WITHIN)


class Finding(NamedTuple):
    """What became of one fault.

    Attributes:
        fault: The fault.
        result: One of ``RESULTS``.
        alarm: The first alarm that belongs to it, None where it was not found.
        late_ms: How long after its beginning that alarm was raised.
        late_after_limit_ms: How long after the first reading beyond the limit of that alarm; None where
            the alarm was about a sensor.
        on_delay_ms: How long that limit waits by intent; None where the alarm was about a sensor.
        beyond_ms: The longest time beyond one of its limits that no care explains.
        out_of_band: Whether it was beyond one of them for longer than that limit waits.
    """

    fault: TrueFault
    result: str
    alarm: Transition | None
    late_ms: int | None
    late_after_limit_ms: int | None
    on_delay_ms: int | None
    beyond_ms: int
    out_of_band: bool


class Lateness(NamedTuple):
    """The middle and the worst of how late faults were found."""

    median_ms: float
    worst_ms: int


@dataclass(frozen=True, slots=True)
class Score:
    """How well the alarms told the truth.

    Attributes:
        findings: Every judged fault, in the order of the truth.
        unneeded: Alarms that belong to no fault, in the order of the journal.
        not_judged: Faults of trays that nobody watches, or of a time without readings.
        tray_weeks: By tray, how many weeks of it were judged.
    """

    findings: tuple[Finding, ...]
    unneeded: tuple[Transition, ...]
    not_judged: tuple[TrueFault, ...]
    tray_weeks: dict[str, float]

    @property
    def found(self) -> int:
        """How many faults were found."""
        return self.count(FOUND)

    @property
    def missed(self) -> int:
        """How many faults should have been found and were not."""
        return self.count(MISSED)

    @property
    def after_beginning(self) -> Lateness | None:
        """How long after their beginning faults were found; None where none was."""
        return _lateness(one.late_ms for one in self.findings)

    @property
    def after_limit(self) -> Lateness | None:
        """How long after their limit was crossed faults were found; None where none was by a limit."""
        return _lateness(one.late_after_limit_ms for one in self.findings)

    @property
    def unneeded_per_tray_week(self) -> float:
        """How many alarms nobody needed, of a tray in a week."""
        weeks = sum(self.tray_weeks.values())
        return len(self.unneeded) / weeks if weeks else 0.0

    def count(self, result: str, tray: str | None = None) -> int:
        """Return how many faults, of one tray or of all, came to a result."""
        return sum(one.result == result and tray in (None, one.fault.tray) for one in self.findings)

    def unneeded_of(self, tray: str) -> int:
        """Return how many alarms of a tray nobody needed."""
        return sum(one.tray == tray for one in self.unneeded)


def together(scores: Iterable[Score]) -> Score:
    """Return the score of several weeks as if they were one."""
    every = list(scores)
    tray_weeks: dict[str, float] = {}
    for score in every:
        for tray, weeks in score.tray_weeks.items():
            tray_weeks[tray] = tray_weeks.get(tray, 0.0) + weeks
    return Score(
        tuple(one for score in every for one in score.findings),
        tuple(one for score in every for one in score.unneeded),
        tuple(one for score in every for one in score.not_judged),
        tray_weeks,
    )


def _lateness(late_ms: Iterable[int | None]) -> Lateness | None:
    known = [one for one in late_ms if one is not None]
    return Lateness(median(known), max(known)) if known else None
