"""The same readings judged under several settings, so that they can be laid side by side.

The rule of this file: readings are read once and judged under all settings before the next are read;
what two settings share, such as a tray that neither changes, is judged once.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from wardian.daemon.config import Config
from wardian.daemon.trade import Found, founds
from wardian.daemon.vary import Choice
from wardian.daemon.weeks import Week
from wardian.rules.crops import is_optional
from wardian.rules.engine import Engine
from wardian.rules.excursions import Excursion, excursions, paired, without_delays
from wardian.rules.plans import TrayPlan
from wardian.rules.scores import Score
from wardian.rules.scoring import score
from wardian.rules.shares import (
    KnownTime,
    Shares,
    Spans,
    common,
    judged_spans,
    length_ms,
    merged,
    shares,
    without,
)
from wardian.rules.transitions import RAISED, Transition
from wardian.rules.truth import Truth


class Setting(NamedTuple):
    """A configuration under the name by which people tell it from the others."""

    name: str
    config: Config
    choices: tuple[Choice, ...] = ()


# --------------------------------------------------------------------------------------- judging


class BandTime(NamedTuple):
    """What became of one band of one tray: its time, and how much of it was beyond without an alarm."""

    shares: Shares
    untold_ms: int


@dataclass(frozen=True, slots=True)
class Judged:
    """One tray's week by one plan."""

    transitions: list[Transition]
    excursions: list[Excursion]
    bands: dict[str, BandTime]


class _Beyond(NamedTuple):
    """What does not hang on delays: by banded quantity, judged time, known time, and time beyond."""

    excursions: list[Excursion]
    times: dict[str, tuple[Spans, Spans, Spans]]


class Judgement:
    """A week under judgement; a plan that was judged before is not judged again."""

    def __init__(self, week: Week) -> None:
        self._week = week
        self._judged: list[tuple[TrayPlan, Judged]] = []
        self._beyond: list[tuple[TrayPlan, _Beyond]] = []

    def of(self, plan: TrayPlan) -> Judged:
        """Return the week of one tray by a plan."""
        known = next((judged for former, judged in self._judged if former == plan), None)
        if known is None:
            known = self._judge(plan)
            self._judged.append((plan, known))
        return known

    def _judge(self, plan: TrayPlan) -> Judged:
        at_once = without_delays(plan)
        beyond = next((one for former, one in self._beyond if former == at_once), None)
        listener = None if beyond else KnownTime(_banded(plan))
        engine = Engine([plan])
        engine.trays[plan.tray].on_stretches = listener.hear if listener else None
        engine.feed(self._week.chunk)
        for refused in self._week.refused:
            engine.refuse(*refused)
        transitions = engine.advance(self._week.until_ms)
        if beyond is None:
            assert listener is not None
            beyond = self._look_beyond(plan, listener)
            self._beyond.append((at_once, beyond))
        alarms = paired(transitions, self._week.until_ms)
        bands = {
            quantity: _band_time(*times, _spans(alarms, quantity)) for quantity, times in beyond.times.items()
        }
        return Judged(transitions, beyond.excursions, bands)

    def _look_beyond(self, plan: TrayPlan, known: KnownTime) -> _Beyond:
        week = self._week
        found = excursions([plan], week.chunk, week.until_ms)
        within = (week.from_ms, week.until_ms)
        times = {
            quantity: (judged_spans(plan, quantity, within), known.spans(quantity), _spans(found, quantity))
            for quantity in _banded(plan)
            if known.spans(quantity) or not is_optional(plan.spans, quantity)
        }
        return _Beyond(found, times)


def _banded(plan: TrayPlan) -> list[str]:
    """Return the quantities that have a band in some stage, in the order of the configuration."""
    return list(dict.fromkeys(quantity for span in plan.spans for quantity in span.stage.bands))


def _spans(found: Iterable[Excursion], quantity: str) -> Spans:
    return merged((one.from_ms, one.to_ms) for one in found if one.quantity == quantity)


def _band_time(judged: Spans, known: Spans, beyond: Spans, told: Spans) -> BandTime:
    untold = without(common(common(judged, known), beyond), told)
    return BandTime(shares(judged, known, beyond), length_ms(untold))


# --------------------------------------------------------------------------------------- figures


@dataclass(slots=True)
class BandFigures:
    """One band of one tray under one setting, over all weeks."""

    within_ms: int = 0
    beyond_ms: int = 0
    unknown_ms: int = 0
    longest_ms: int = 0
    untold_ms: int = 0
    alarms: int = 0

    def add(self, time: BandTime, alarms: int) -> None:
        """Count one more week in."""
        self.within_ms += time.shares.within_ms
        self.beyond_ms += time.shares.beyond_ms
        self.unknown_ms += time.shares.unknown_ms
        self.longest_ms = max(self.longest_ms, time.shares.longest_ms)
        self.untold_ms += time.untold_ms
        self.alarms += alarms

    @property
    def judged_ms(self) -> int:
        """The time in which there was such a band."""
        return self.within_ms + self.beyond_ms + self.unknown_ms


@dataclass(slots=True)
class TrayFigures:
    """One tray under one setting, over all weeks."""

    bands: dict[str, BandFigures] = field(default_factory=dict)
    sensor_alarms: int = 0

    def add(self, judged: Judged) -> None:
        """Count one more week in."""
        raised = [one for one in judged.transitions if one.event == RAISED]
        alarms = Counter(one.quantity for one in raised if one.limit is not None)
        for quantity, time in judged.bands.items():
            self.bands.setdefault(quantity, BandFigures()).add(time, alarms[quantity])
        self.sensor_alarms += sum(one.limit is None for one in raised)


@dataclass(slots=True)
class Figures:
    """All that came out under one setting."""

    setting: Setting
    trays: dict[str, TrayFigures] = field(default_factory=dict)
    #: None without a truth.
    found: Found | None = None

    @property
    def alarms(self) -> int:
        """All alarms that were raised, those about sensors included."""
        return sum(
            tray.sensor_alarms + sum(band.alarms for band in tray.bands.values())
            for tray in self.trays.values()
        )

    @property
    def untold_ms(self) -> int:
        """How long the bands were left, all together, without an alarm that says so."""
        return sum(band.untold_ms for tray in self.trays.values() for band in tray.bands.values())


def judged_under(settings: Sequence[Setting], weeks: Iterable[Week]) -> list[Figures]:
    """Return what came out of all weeks under each setting; either all weeks have a truth or none."""
    every = [Figures(setting) for setting in settings]
    scores: list[list[Score]] = [[] for _ in settings]
    for week in weeks:
        judgement = Judgement(week)
        for figures, own in zip(every, scores, strict=True):
            judged = [judgement.of(tray.plan) for tray in figures.setting.config.trays]
            for tray, one in zip(figures.setting.config.trays, judged, strict=True):
                figures.trays.setdefault(tray.name, TrayFigures()).add(one)
            if week.truth is not None:
                own.append(_score(week, week.truth.truth, figures.setting, judged))
    if any(scores):
        for figures, found in zip(every, founds(scores), strict=True):
            figures.found = found
    return every


def _score(week: Week, truth: Truth, setting: Setting, judged: Sequence[Judged]) -> Score:
    told = [transition for one in judged for transition in one.transitions]
    return score(
        truth,
        sorted(told, key=lambda transition: transition.order),
        [excursion for one in judged for excursion in one.excursions],
        week.watch([tray.plan for tray in setting.config.trays]),
    )
