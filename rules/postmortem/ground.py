"""What a batch was to have and what it had, minute by minute: what facts and findings are both made of.

The rule of this file: a minute in which something was unknown is neither within what the crop wants nor beyond it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo
from functools import cached_property
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from wardian.rules.air import (
    leaf_vapour_pressure_deficit_array,
    saturation_vapour_pressure_kpa_array,
    vapour_pressure_deficit_array,
)
from wardian.rules.batches import Batch
from wardian.rules.crops import Aim, Crop, Stage
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.plans import TrayPlan
from wardian.rules.postmortem.gathering import Seen
from wardian.rules.readings import Times, Values

#: For each minute, whether something was so.
Flags = NDArray[np.bool_]

MEDIUM: Final = "medium_temperature"
AIR: Final = "air_temperature"
HUMIDITY: Final = "relative_humidity"
DEFICIT: Final = "vapour_pressure_deficit"
LEAF_DEFICIT: Final = "leaf_vapour_pressure_deficit"
MASS: Final = "tray_mass"
MINUTES_AN_HOUR: Final = 60


@dataclass(frozen=True, slots=True)
class Case:
    """A batch to be explained: how its tray was planned, its crop, whose days, and its record where there is one."""

    plan: TrayPlan
    crop: Crop
    zone: tzinfo
    batch: Batch | None = None


class Run(NamedTuple):
    """Minutes in a row, as places: the first, and the one after the last."""

    first: int
    last: int


class Want(NamedTuple):
    """What the crop wants of a quantity, minute by minute; not a number where a side is open."""

    low: Values
    high: Values


def aim_of(stage: Stage, quantity: str) -> Aim:
    """Return what a crop wants of a quantity in a stage: its aim, else the inner limits of its band."""
    if quantity in stage.aims:
        return stage.aims[quantity]
    band = stage.bands.get(quantity)
    return Aim(band.threshold("low"), band.threshold("high")) if band else Aim()


def runs(flags: Flags) -> list[Run]:
    """Return the stretches of minutes in which something was so, in order of time."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flags, [False])).view(np.int8)))
    return [Run(int(first), int(last)) for first, last in edges.reshape(-1, 2)]


def lasting(flags: Flags, minutes: int) -> Flags:
    """Return the same without stretches that are shorter."""
    kept = np.zeros_like(flags)
    for run in runs(flags):
        if run.last - run.first >= minutes:
            kept[run.first : run.last] = True
    return kept


def lingering(flags: Flags, minutes: int) -> Flags:
    """Return the same with so many minutes more after each stretch."""
    kept = flags.copy()
    for run in runs(flags):
        kept[run.last : run.last + minutes] = True
    return kept


class Ground:
    """What was seen of a batch beside what its crop wants."""

    def __init__(self, case: Case, seen: Seen) -> None:
        """Look at a batch from its first seen minute to its last."""
        self.case = case
        self.seen = seen
        self.times_ms: Times = seen.times_ms

    @cached_property
    def stages(self) -> Sequence[tuple[Stage, Run]]:
        """The stages of the time, each with its minutes."""
        spans = self.case.plan.spans
        edges = [span.from_ms for span in spans] + [self.seen.span[1]]
        places = [int(place) for place in self.times_ms.searchsorted(np.array(edges))]
        every = zip(spans, pairwise(places), strict=True)
        return [(span.stage, Run(first, last)) for span, (first, last) in every if last > first]

    @cached_property
    def without_roots(self) -> Flags:
        """The minutes before toning: those of all stages but the crop's last, where it has three."""
        names = [stage.name for stage in self.case.crop.stages]
        return self._in_stages([name for name in names if name != self.toning])

    @cached_property
    def callusing(self) -> Flags:
        """The minutes of the first stage, in which a cutting lives on what its leaves do not lose."""
        return self._in_stages([self.case.crop.stages[0].name])

    @property
    def toning(self) -> str | None:
        """The name of the stage in which cuttings have roots, None for a crop without one."""
        stages = self.case.crop.stages
        return stages[-1].name if len(stages) > 2 else None

    def mean(self, quantity: str) -> Values:
        """Return a quantity minute by minute, measured or derived."""
        if quantity == DEFICIT:
            return self.deficit_kpa
        if quantity == LEAF_DEFICIT:
            return self._leaf_deficit_kpa()
        return (
            np.minimum(self.seen.mean(quantity), 100.0) if quantity == HUMIDITY else self.seen.mean(quantity)
        )

    @cached_property
    def deficit_kpa(self) -> Values:
        """Return the vapour pressure deficit of the air."""
        return vapour_pressure_deficit_array(self.mean(AIR), self.mean(HUMIDITY))

    @cached_property
    def deficit_limit_kpa(self) -> Values:
        """The deficit above which air is too dry: what the crop wants, else what its lowest humidity comes to."""
        high = self.want(DEFICIT).high
        by_humidity = (1 - self.want(HUMIDITY).low / 100) * saturation_vapour_pressure_kpa_array(
            self.mean(AIR)
        )
        return np.where(np.isnan(high), by_humidity, high)

    def _leaf_deficit_kpa(self) -> Values:
        offset_k, air = self.case.plan.leaf_offset_k, self.mean(AIR)
        leaves = self.mean("leaf_temperature") if offset_k is None else air + offset_k
        return leaf_vapour_pressure_deficit_array(leaves, air, self.mean(HUMIDITY))

    def want(self, quantity: str) -> Want:
        """Return what the crop wants of a quantity, minute by minute."""
        low, high = np.full((2, len(self.times_ms)), np.nan)
        for stage, (first, last) in self.stages:
            aim = aim_of(stage, quantity)
            low[first:last] = np.nan if aim.low is None else aim.low
            high[first:last] = np.nan if aim.high is None else aim.high
        return Want(low, high)

    def _in_stages(self, names: Sequence[str]) -> Flags:
        """Return the minutes of some stages, however often a person went back to them."""
        inside = np.zeros(len(self.times_ms), dtype=np.bool_)
        for stage, (first, last) in self.stages:
            inside[first:last] = stage.name in names
        return inside


def hours(flags: Flags) -> float:
    """Return for how many hours something was so."""
    return int(np.count_nonzero(flags)) / MINUTES_AN_HOUR


def hour_sum(values: Values, flags: Flags) -> float:
    """Return the sum over time of a value while something was so, in its unit times hours; unknown counts nothing."""
    return float(np.nansum(np.where(flags, values, 0.0))) / MINUTES_AN_HOUR


def minute_of(time_ms: int, seen: Seen) -> int:
    """Return the place of the minute in which an instant lies."""
    return (time_ms - seen.span[0]) // MINUTE_MS
