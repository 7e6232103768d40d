"""Too little and too much light, day by day.

The rule of this file: light that nobody saw is held neither against the lamp nor for it.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from wardian.rules.crops import Stage, stage_at
from wardian.rules.evidence import Evidence, number, value
from wardian.rules.light import MS_PER_HOUR
from wardian.rules.light_days import LightDay, light_days
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.postmortem.ground import Ground, aim_of
from wardian.rules.postmortem.harm import LITTLE_LIGHT, MUCH_LIGHT, Harm
from wardian.rules.readings import Points, Values
from wardian.rules.shares import Span

_HOURS: Final = "light_hours"
_PHOTONS: Final = "daily_light_integral"
#: Of a day that was seen for less, and of a part of a day that is shorter, nothing is said. [h]
_WHOLE_H: Final = 22.0
_UNSEEN_H: Final = 3.0
#: So much of the lowest hours wanted is still enough: timers and thresholds are not exact. Chosen.
_ENOUGH: Final = 0.95
#: Photons are short below this share of what is wanted at least, and too many above that of what is wanted at most:
#: an alarm list of the trade. From memory.
_SHORT: Final = 0.7
_MANY: Final = 1.5
#: A lamp whose light is below this share of what it was at its best has lost a part. Chosen: dirt and age take a tenth
#: to a third, a dead tube a third or half (from memory).
_WEAK: Final = 0.72
#: What harms: one day without light is survivable, half a day more is not; too much light delays and scorches over
#: two days. [days] From memory.
_DARK_DAYS: Final = 1.5
_LIT_DAYS: Final = 2.0
#: Hours of light beyond those wanted at most that a slow timer may give. [h]
_SLACK_H: Final = 0.5


def days_of(ground: Ground) -> list[LightDay]:
    """Return the light of every local day; none where the plan does not say when the lamp is lit."""
    plan, seen = ground.case.plan, ground.seen
    light = {}
    for quantity in ("illuminance", "ppfd"):
        values = ground.mean(quantity)
        known = ~np.isnan(values)
        light[quantity] = Points(ground.times_ms[known], values[known])
    return light_days(light, replace(plan, hold_ms=MINUTE_MS), seen.span, ground.case.zone)


def harms_of_light(ground: Ground, days: Sequence[LightDay]) -> list[Harm]:
    """Return what too little and too much light may have done to cuttings before toning."""
    spans = ground.case.plan.spans
    seen = [day for day in days if _is_seen(day)]
    told = [(day, stage) for day in seen if (stage := stage_at(spans, day.from_ms)) is not None]
    staged = [(day, stage) for day, stage in told if stage.name != ground.toning]
    levels = _levels(ground, [day for day, _ in staged])
    best = max(levels, default=0.0)
    little = [
        _shortfall(day, stage, level / best if best else 1.0)
        for (day, stage), level in zip(staged, levels, strict=True)
    ]
    much = [_excess(day, stage) for day, stage in staged]
    lit_h = [day.lit_h for day, _ in staged]
    return [
        Harm(LITTLE_LIGHT, sum(little) / _DARK_DAYS, _little_words(little, lit_h, levels)),
        Harm(MUCH_LIGHT, sum(much) / _LIT_DAYS, _much_words(much, lit_h)),
    ]


def _is_seen(day: LightDay) -> bool:
    """Return whether something can be said of a day: it is a whole one, and hardly any of it was not seen."""
    return day.unknown_h <= _UNSEEN_H and day.to_ms - day.from_ms >= _WHOLE_H * MS_PER_HOUR


def _shortfall(day: LightDay, stage: Stage, level: float) -> float:
    """Return which share of a day's light was missing, as far as what was seen tells."""
    missing = [1 - level if level < _WEAK and day.lit_h else 0.0]
    low_h, low = aim_of(stage, _HOURS).low, aim_of(stage, _PHOTONS).low
    if low_h and day.lit_h + day.unknown_h < _ENOUGH * low_h:
        missing.append(1 - (day.lit_h + day.unknown_h) / low_h)
    if low and day.photons and day.photons.may_add is not None:
        most = day.photons.measured + day.photons.may_add
        missing.append(1 - most / low if most < _SHORT * low else 0.0)
    return max(missing)


def _excess(day: LightDay, stage: Stage) -> float:
    """Return how much too much light a day had: 1 for all its dark hours lit, or twice the photons wanted at most."""
    over = [0.0]
    high_h, high = aim_of(stage, _HOURS).high, aim_of(stage, _PHOTONS).high
    day_h = (day.to_ms - day.from_ms) / MS_PER_HOUR
    if high_h is not None and high_h + _SLACK_H < day.lit_h and high_h < day_h:
        over.append((day.lit_h - high_h) / (day_h - high_h))
    if high and day.photons and day.photons.measured > _MANY * high:
        over.append(day.photons.measured / high - 1)
    return max(over)


def _levels(ground: Ground, days: Sequence[LightDay]) -> list[float]:
    """Return how bright each day's lit minutes were, in the unit of the lamp's light; 0 for a dark day."""
    lamp = ground.case.plan.lamp
    if lamp is None:
        return [0.0] * len(days)
    values = ground.mean(lamp.quantity)
    return [_level(values[slice(*ground.times_ms.searchsorted(_span(day)))], lamp.lit_above) for day in days]


def _level(values: Values, lit_above: float) -> float:
    lit = values[values > lit_above]
    return float(np.median(lit)) if len(lit) else 0.0


def _span(day: LightDay) -> Span:
    return day.from_ms, day.to_ms


def _little_words(
    little: Sequence[float], lit_h: Sequence[float], levels: Sequence[float]
) -> tuple[Evidence, ...]:
    short = [one for one in little if one > 0]
    if not short:
        return ()
    words = "{} days of {} seen had too little light, in all as if {} days had been dark"
    told = [Evidence(words, (number(len(short)), number(len(little)), number(round(sum(short), 1))))]
    told.append(Evidence("the shortest day had {} of light", (value(_HOURS, min(lit_h)),)))
    lit = [level for level in levels if level]
    if lit and min(lit) < _WEAK * max(lit):
        words = "the lamp gave {} per cent of its best light on its weakest day"
        told.append(Evidence(words, (number(round(100 * min(lit) / max(lit))),)))
    return tuple(told)


def _much_words(much: Sequence[float], lit_h: Sequence[float]) -> tuple[Evidence, ...]:
    over = [one for one in much if one > 0]
    if not over:
        return ()
    words = "{} days of {} seen had too much light, the longest {} of it"
    return (Evidence(words, (number(len(over)), number(len(much)), value(_HOURS, max(lit_h)))),)
