"""Crops, their stages and their bands, and which stage holds at which instant.

The rule of this file: a day of a tray begins at the first instant of a local date, whatever the
clocks do that night.
"""

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


class Aim(NamedTuple):
    """What a grower aims at, in the unit of what is aimed at; one side may be open."""

    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Stage:
    """A stretch of days with its own bands, by quantity.

    Attributes:
        name: Its name.
        from_day: The day after sticking with which it begins.
        bands: What is judged and alarmed.
        aims: What the crop wants, by quantity in its own unit: shown and explained, not alarmed. It covers the
            bands' inner limits as well.
        optional: Quantities whose bands are judged where they are measured and not missed where they are not.
        mistings: How many mistings a day, None where nobody said.
        feed_mg_l: Nitrogen in the water it is given [mg/l], none at all while it is plain; None where nobody said.
    """

    name: str
    from_day: int
    bands: Mapping[str, Band] = field(default_factory=dict)
    aims: Mapping[str, Aim] = field(default_factory=dict)
    optional: frozenset[str] = frozenset()
    mistings: Aim | None = None
    feed_mg_l: Aim | None = None


@dataclass(frozen=True, slots=True)
class Crop:
    """A crop and its stages in the order of their days. What nobody said is None.

    Attributes:
        name: Its name.
        stages: At least one.
        due_day: The day after sticking by whose end roots are expected.
        roots_days: The first and last day after sticking on which first roots usually show.
        pot_day: The day after sticking on which it is usually potted on: its last stage ends.
        feed_day: The day after sticking from which water carries weak feed.
        is_dry: Whether it wants it drier than most and rots when kept wet.
        is_eaten: Whether it is grown to be eaten, which forbids some rooting hormones.
        stick_within_h: How long after cutting it must be stuck. [h]
        warmth_base_c: Above which medium temperature its degree-hours are counted. [°C]
        notes: What a grower should know, a sentence each.
    """

    name: str
    stages: tuple[Stage, ...]
    due_day: int | None = None
    roots_days: tuple[int, int] | None = None
    pot_day: int | None = None
    feed_day: int | None = None
    is_dry: bool = False
    is_eaten: bool = False
    stick_within_h: float | None = None
    warmth_base_c: float | None = None
    notes: tuple[str, ...] = ()

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
    """Return a crop's stages with the instants at which they begin for a tray stuck on this day.

    Raises:
        ValueError: A stage would begin outside the years 1 to 9999.
    """
    try:
        begin = [day_start_ms(stuck + timedelta(days=stage.from_day), zone) for stage in crop.stages]
    except OverflowError as error:
        raise ValueError(f"a stage of {crop.name} would begin outside the years 1 to 9999") from error
    return tuple(map(StageSpan, begin, crop.stages))


def due_ms(crop: Crop, stuck: date, zone: tzinfo) -> int | None:
    """Return the end of the day by which roots are expected, or None where the crop does not say.

    Raises:
        ValueError: It lies outside the years 1 to 9999.
    """
    return _end_ms(crop, crop.due_day, stuck, zone)


def pot_ms(crop: Crop, stuck: date, zone: tzinfo) -> int | None:
    """Return the end of the day on which it is usually potted on, or None where the crop does not say.

    Raises:
        ValueError: It lies outside the years 1 to 9999.
    """
    return _end_ms(crop, crop.pot_day, stuck, zone)


def _end_ms(crop: Crop, day: int | None, stuck: date, zone: tzinfo) -> int | None:
    if day is None:
        return None
    try:
        return day_start_ms(stuck + timedelta(days=day + 1), zone)
    except OverflowError as error:
        raise ValueError(f"{crop.name} would be due outside the years 1 to 9999") from error


def stage_at(spans: Sequence[StageSpan], time_ms: int) -> Stage | None:
    """Return the stage that holds at an instant, or None before the first one."""
    return next((span.stage for span in reversed(spans) if span.from_ms <= time_ms), None)


def is_optional(spans: Sequence[StageSpan], quantity: str) -> bool:
    """Return whether nobody misses the bands of a quantity where nothing measures it."""
    banded = [span.stage for span in spans if quantity in span.stage.bands]
    return bool(banded) and all(quantity in stage.optional for stage in banded)


_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_MS: Final = timedelta(milliseconds=1)
_MS_PER_QUARTER_HOUR: Final = 900_000
_MS_PER_DAY: Final = 86_400_000


def _utc_midnight_ms(day: date) -> int:
    return (day - _EPOCH.date()).days * _MS_PER_DAY


#: The first and last instants whose local day, and the one after it, are in the calendar of every zone.
_CALENDAR_MS: Final = (_utc_midnight_ms(date(1, 1, 3)), _utc_midnight_ms(date(9999, 12, 29)))


def day_of(stuck: date, zone: tzinfo, time_ms: int) -> int:
    """Return the number of local days from sticking to an instant; negative before it.

    Instants at or beyond the ends of the calendar, in the years 1 and 9999, count as its first or last days.
    """
    return (local_day(time_ms, zone) - stuck).days


def local_day(time_ms: int, zone: tzinfo) -> date:
    """Return the local day that an instant lies in, within the calendar.

    Where a clock is set back across midnight, the day that has begun goes on.
    """
    time_ms = _in_calendar(time_ms)
    local = _local_date(time_ms, zone)
    begun = time_ms >= day_start_ms(local + timedelta(days=1), zone)
    return local + timedelta(days=1) if begun else local


def wall_time(time_ms: int, zone: tzinfo) -> datetime:
    """Return what the clock on the wall shows at an instant; beyond the ends of the calendar, what it shows there."""
    return (_EPOCH + timedelta(milliseconds=_in_calendar(time_ms))).astimezone(zone)


def _in_calendar(time_ms: int) -> int:
    first_ms, last_ms = _CALENDAR_MS
    return min(max(time_ms, first_ms), last_ms)


def day_start_ms(day: date, zone: tzinfo) -> int:
    """Return the first instant of a local date, in milliseconds since 1970 UTC.

    Also where midnight is skipped (the day begins later), comes twice (the first one counts), or
    where the whole date is skipped (the first instant after it).

    Raises:
        OverflowError: The date is at the very ends of the calendar, in the years 1 or 9999.
    """
    midnight_ms = (datetime.combine(day, time(), tzinfo=zone) - _EPOCH) // _MS
    if _local_date(midnight_ms - 1, zone) < day <= _local_date(midnight_ms, zone):
        return midnight_ms
    # The clock leaps over midnight: step to the first quarter hour of the date, then halve. No zone
    # was ever more than 16 hours ahead of UTC.
    late_ms = _utc_midnight_ms(day) - 64 * _MS_PER_QUARTER_HOUR
    while _local_date(late_ms, zone) < day:
        late_ms += _MS_PER_QUARTER_HOUR
    early_ms = late_ms - _MS_PER_QUARTER_HOUR
    while late_ms - early_ms > 1:
        middle_ms = (early_ms + late_ms) // 2
        if _local_date(middle_ms, zone) < day:
            early_ms = middle_ms
        else:
            late_ms = middle_ms
    return late_ms


def _local_date(time_ms: int, zone: tzinfo) -> date:
    return (_EPOCH + timedelta(milliseconds=time_ms)).astimezone(zone).date()
