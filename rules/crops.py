"""Crops, their stages and their bands, and which stage holds at which instant.

The rule of this file: a day of a tray begins at the first instant of a local date, whatever the
clocks do that night.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from itertools import pairwise
from typing import Final, NamedTuple

#: The four limits a band can have, least urgent last; the two urgent ones are outside the others.
LIMITS: Final = ("high", "high_high", "low", "low_low")
URGENT_LIMITS: Final = frozenset({"low_low", "high_high"})


class Limit(NamedTuple):
    """One limit of a band, in the quantity's own unit; all four numbers rounded once."""

    name: str
    threshold: float
    clear: float
    on_delay_ms: int
    off_delay_ms: int

    @property
    def is_high(self) -> bool:
        """Whether being above the threshold is being beyond it."""
        return self.name.startswith("high")


@dataclass(frozen=True, slots=True)
class Band:
    """What one quantity should keep within: up to four limits that share deadband and delays."""

    quantity: str
    limits: tuple[Limit, ...]

    def __post_init__(self) -> None:
        """Refuse limits that could not both be kept."""
        by_name = {limit.name: limit.threshold for limit in self.limits}
        if len(by_name) != len(self.limits) or not by_name.keys() <= set(LIMITS):
            raise ValueError(f"limits are {', '.join(LIMITS)}, each once")
        present = [by_name[name] for name in ("low_low", "low", "high", "high_high") if name in by_name]
        if any(lower > upper for lower, upper in pairwise(present)):
            raise ValueError("limits must rise: low_low, low, high, high_high")

    def threshold(self, limit: str) -> float | None:
        """Return one limit's threshold, or None where the band has no such limit."""
        return next((one.threshold for one in self.limits if one.name == limit), None)


@dataclass(frozen=True, slots=True)
class Stage:
    """A stretch of days with its own bands, by quantity."""

    name: str
    from_day: int
    bands: Mapping[str, Band] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Crop:
    """A crop: its stages in the order of their days."""

    name: str
    stages: tuple[Stage, ...]

    def __post_init__(self) -> None:
        """Refuse stages out of order or before day 0."""
        days = [stage.from_day for stage in self.stages]
        if not days or days[0] < 0 or any(later <= earlier for earlier, later in pairwise(days)):
            raise ValueError("stages must start at day 0 or later, each on a later day than the one before")


class StageSpan(NamedTuple):
    """A stage and the instant from which it holds."""

    from_ms: int
    stage: Stage


def stage_spans(crop: Crop, stuck: date, zone: tzinfo) -> tuple[StageSpan, ...]:
    """Return a crop's stages with the instants at which they begin for a tray stuck on this day."""
    return tuple(
        StageSpan(day_start_ms(stuck + timedelta(days=stage.from_day), zone), stage) for stage in crop.stages
    )


def stage_at(spans: Sequence[StageSpan], time_ms: int) -> Stage | None:
    """Return the stage that holds at an instant, or None before the first one."""
    return next((span.stage for span in reversed(spans) if span.from_ms <= time_ms), None)


def day_of(stuck: date, zone: tzinfo, time_ms: int) -> int:
    """Return the number of local days from sticking to an instant; negative before it.

    Where a clock is set back across midnight, the day that has begun goes on.
    """
    local = (_EPOCH + timedelta(milliseconds=time_ms)).astimezone(zone).date()
    if time_ms >= day_start_ms(local + timedelta(days=1), zone):
        local += timedelta(days=1)
    return (local - stuck).days


_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_MS: Final = timedelta(milliseconds=1)


def day_start_ms(day: date, zone: tzinfo) -> int:
    """Return the first instant of a local date, in milliseconds since 1970 UTC.

    Also where midnight is skipped (the day begins later), comes twice (the first one counts), or
    where the whole date is skipped (the first instant after it).
    """
    midnight = datetime.combine(day, time(), tzinfo=zone).astimezone(UTC)
    if not _has_begun(day, zone, midnight - _MS) and _has_begun(day, zone, midnight):
        return (midnight - _EPOCH) // _MS
    # A change of the clock is near: step to the first quarter hour of the date, then halve.
    step = timedelta(minutes=15)
    late = datetime.combine(day, time(), tzinfo=UTC) - timedelta(hours=16)
    while not _has_begun(day, zone, late):
        late += step
    early = late - step
    while late - early > _MS:
        middle = early + (late - early) // 2
        early, late = (early, middle) if _has_begun(day, zone, middle) else (middle, late)
    return math.ceil((late - _EPOCH) / _MS)


def _has_begun(day: date, zone: tzinfo, instant: datetime) -> bool:
    return instant.astimezone(zone).date() >= day
