"""All that a page about a batch says of its time in the tray, before anything is made of it.

The rule of this file: facts are what was seen and what was put on record; what they may mean is said by the findings.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from wardian.rules.light_days import LightDay
from wardian.rules.observing.looks import LIFTED, MISTED, WATERED
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.postmortem.air import FIRST_HOURS, SODDEN_PCT, WET_PCT
from wardian.rules.postmortem.bands import StageTime, stage_times
from wardian.rules.postmortem.blindness import Blind, blindness
from wardian.rules.postmortem.dryness import limits
from wardian.rules.postmortem.ground import HUMIDITY, MEDIUM, Ground, hours, runs
from wardian.rules.postmortem.light import days_of
from wardian.rules.postmortem.warmth import degree_hours
from wardian.rules.postmortem.water import resting_mass_g, water
from wardian.rules.shares import Span

_DAY_MINUTES: Final = 24 * 60


class AlarmTime(NamedTuple):
    """One alarm of the tray, and how long people took; None for what did not happen by the end.

    ``acknowledged_ms`` and ``returned_ms`` are instants. A ``is_held_back`` one was told to nobody when it was raised.
    """

    alarm: str
    quantity: str
    priority: str
    raised_ms: int
    acknowledged_ms: int | None = None
    returned_ms: int | None = None
    is_held_back: bool = False


class FirstDays(NamedTuple):
    """The first 72 hours after sticking, or as much as there was of them."""

    hours: float
    dry_air_min: int
    unknown_air_min: int
    cover_off_min: int
    too_cold_h: float
    too_hot_h: float
    unknown_medium_h: float
    mistings: int
    airings: int
    waterings: int


class Warmth(NamedTuple):
    """Kelvin-hours of the medium above a base, and of how many hours they are known."""

    base_c: float
    degree_h: float
    known_h: float


class Wetness(NamedTuple):
    """Hours of humidity at and above two levels, and the longest time at the first without a break."""

    wet_h: float
    sodden_h: float
    longest: Span | None
    unknown_h: float


class CareDay(NamedTuple):
    """What showed of care in one day of 24 hours from sticking on."""

    airings: int
    mistings: int
    waterings: int
    cover_off_min: int


class WaterDay(NamedTuple):
    """The water of one such day at its end: the share lost [0 to 1], the hours it was too much, the change of mass.

    None for what was not known.
    """

    lost: float | None
    too_dry_h: float
    above_full_h: float
    change_g: float | None


@dataclass(frozen=True, slots=True)
class Facts:
    """What was seen of one batch.

    Attributes:
        span: From sticking, or from the first minute that is looked at, to the end. [ms]
        last_ms: The end of the last minute in which anything was known; what is told by day ends with it.
        day: The day after sticking on which it ends.
        readings: How many readings there were.
        stages: The time within and beyond what the crop wants.
        first: The first 72 hours.
        warmth: None where nobody says above which base it is counted.
        light: Light day by day.
        wetness: How wet the air was.
        care: Care day by day, from sticking on in steps of 24 hours.
        water: The same of the water; empty where nothing tells.
        is_water_estimated: Whether nobody said what the tray weighs full and dry.
        alarms: In order of time.
        blind: What the sensors did not see.
    """

    span: Span
    last_ms: int
    day: int
    readings: int
    stages: tuple[StageTime, ...]
    first: FirstDays
    warmth: Warmth | None
    light: tuple[LightDay, ...]
    wetness: Wetness
    care: tuple[CareDay, ...]
    water: tuple[WaterDay, ...]
    is_water_estimated: bool
    alarms: tuple[AlarmTime, ...]
    blind: tuple[Blind, ...]


class Heard(NamedTuple):
    """What is known of a batch's time beside its readings: alarms, and how many readings were refused by quantity."""

    alarms: Sequence[AlarmTime] = ()
    refused: Mapping[str, int] = {}


def facts(ground: Ground, heard: Heard, base_c: float | None) -> Facts:
    """Return the facts of a batch; ``base_c`` is above which warmth of the medium is counted."""
    seen, had = ground.seen, water(ground)
    medium = ground.mean(MEDIUM)
    warmth = (
        None if base_c is None else Warmth(base_c, degree_hours(ground, base_c), hours(~np.isnan(medium)))
    )
    last_ms = seen.span[0] + seen.known_minutes * MINUTE_MS
    return Facts(
        span=seen.span,
        last_ms=last_ms,
        day=seen.minutes // _DAY_MINUTES,
        readings=seen.readings,
        stages=tuple(stage_times(ground)),
        first=_first(ground),
        warmth=warmth,
        light=tuple(day for day in days_of(ground) if day.from_ms < last_ms),
        wetness=_wetness(ground),
        care=tuple(_care(ground)),
        water=tuple(_water(ground)),
        is_water_estimated=had is not None and had.is_estimated,
        alarms=tuple(heard.alarms),
        blind=tuple(blindness(ground, heard.refused)),
    )


def _first(ground: Ground) -> FirstDays:
    part = slice(FIRST_HOURS * 60)
    medium, want = ground.mean(MEDIUM)[part], ground.want(MEDIUM)
    until_ms = ground.seen.span[0] + FIRST_HOURS * 60 * MINUTE_MS
    events = [one.event for one in ground.seen.care if one.from_ms < until_ms]
    deficit = ground.deficit_kpa[part]
    return FirstDays(
        hours=len(medium) / 60,
        dry_air_min=int(np.count_nonzero(deficit > ground.deficit_limit_kpa[part])),
        unknown_air_min=int(np.count_nonzero(np.isnan(deficit))),
        cover_off_min=int(np.count_nonzero(ground.seen.cover_off[part])),
        too_cold_h=hours(medium < want.low[part]),
        too_hot_h=hours(medium > want.high[part]),
        unknown_medium_h=hours(np.isnan(medium)),
        mistings=events.count(MISTED),
        airings=events.count(LIFTED),
        waterings=events.count(WATERED),
    )


def _wetness(ground: Ground) -> Wetness:
    humidity = ground.mean(HUMIDITY)
    wet = humidity >= WET_PCT
    longest = max(runs(wet), key=lambda run: run.last - run.first, default=None)
    return Wetness(
        wet_h=hours(wet),
        sodden_h=hours(humidity >= SODDEN_PCT),
        longest=None if longest is None else _span(ground, longest.first, longest.last),
        unknown_h=hours(np.isnan(humidity)),
    )


def _span(ground: Ground, first: int, last: int) -> Span:
    begin_ms = ground.seen.span[0]
    return begin_ms + first * MINUTE_MS, begin_ms + last * MINUTE_MS


def _days(ground: Ground) -> list[slice]:
    count = ground.seen.known_minutes
    return [slice(first, min(first + _DAY_MINUTES, count)) for first in range(0, count, _DAY_MINUTES)]


def _care(ground: Ground) -> list[CareDay]:
    begin_ms = ground.seen.span[0]
    found = []
    for number, part in enumerate(_days(ground)):
        there = [
            one.event
            for one in ground.seen.care
            if (one.from_ms - begin_ms) // (_DAY_MINUTES * MINUTE_MS) == number
        ]
        airings, mistings, waterings = (there.count(event) for event in (LIFTED, MISTED, WATERED))
        off_min = int(np.count_nonzero(ground.seen.cover_off[part]))
        found.append(CareDay(airings, mistings, waterings, off_min))
    return found


def _water(ground: Ground) -> list[WaterDay]:
    had = water(ground)
    if had is None:
        return []
    mass, limit = resting_mass_g(ground), limits(ground)
    lost = had.lost
    found = []
    for part in _days(ground):
        known_lost, known_mass = lost[part][~np.isnan(lost[part])], mass[part][~np.isnan(mass[part])]
        found.append(
            WaterDay(
                lost=float(known_lost[-1]) if len(known_lost) else None,
                too_dry_h=hours(lost[part] > limit[part]),
                above_full_h=hours(lost[part] < 0),
                change_g=float(known_mass[-1] - known_mass[0]) if len(known_mass) else None,
            )
        )
    return found
