"""Drift before a limit: a value that goes where it usually is not, and will be beyond a limit soon.

The rule of this file: only what nothing else explains is told. A thermostat's saw-tooth goes where it was in
the last hours, too; what people did and what the lamp does comes and goes by itself; and a value that comes
back from beyond the other limit will stop between the two.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import ClassVar, Final, NamedTuple

import numpy as np

from wardian.rules.crops import Band, Limit, stage_at, wall_time
from wardian.rules.derived import formulas
from wardian.rules.evidence import Evidence, slope, span, value
from wardian.rules.observing.lines import line_through
from wardian.rules.observing.looks import (
    NORMAL,
    UNCHANGED,
    WATERED,
    Abnormal,
    ConditionMaker,
    Look,
    Verdict,
)
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.quantities import QUANTITIES, SATURATION_PCT
from wardian.rules.readings import Values
from wardian.rules.transitions import HEADING_OUT

#: Minutes that are taken together, and that lie between two looks.
_BLOCK: Final = 5
_MINUTES_PER_H: Final = 60
#: How much of the window, and of the hours before it, must be known.
_KNOWN: Final = 0.9
#: What lies so many times as far ahead as a person can act is no longer foretold.
_LET_GO: Final = 2.0


class Foretold(NamedTuple):
    """When a limit will be crossed, in minutes from now, and how much the value changes in a minute."""

    in_min: float
    early_min: float
    late_min: float
    slope: float


@dataclass(slots=True)
class HeadingOut:
    """One quantity of a tray is about to leave its band."""

    quantity: str
    name: ClassVar[str] = HEADING_OUT
    every: ClassVar[int] = _BLOCK
    _told: str | None = None

    def judge(self, look: Look) -> Verdict:
        """Tell when a limit will be crossed sooner than a person can act, until it is or the value turns."""
        band = _band(look, self.quantity)
        if band is None:
            self._told = None
            return NORMAL
        means = _means(look, self.quantity)
        if self._told is not None:
            return self._still(look, means, band)
        return self._anew(look, means, band)

    def _anew(self, look: Look, means: Values, band: Band) -> Verdict:
        window = _minutes(look, "window")
        past, recent = means[:-window], means[-window:]
        usual = _minutes(look, "usual")
        if not len(past) or not _is_new(float(means[-1]), past):
            return NORMAL
        if not _is_known(recent, window) or not _is_known(past, usual) or _is_disturbed(look):
            return NORMAL
        now, act = float(recent[-_BLOCK:].mean()), _minutes(look, "act_within")
        for limit in band.limits:
            far = float(np.fmax.reduce(past) if limit.is_high else np.fmin.reduce(past))
            if _beyond(now, limit) or not _is_outward(now, far, limit) or _comes_back(means, band, limit):
                continue
            foretold = foretell(recent, limit)
            is_soon = foretold and foretold.in_min <= act and foretold.late_min <= _LET_GO * act
            if foretold and is_soon:
                self._told = limit.name
                return self._abnormal(look, foretold, limit, now)
        return NORMAL

    def _still(self, look: Look, means: Values, band: Band) -> Verdict:
        limit = next((one for one in band.limits if one.name == self._told), None)
        waits = max(limit.on_delay_ms // MINUTE_MS, 1) if limit else 0
        if limit is None or _all_beyond(means[-waits:], limit):
            self._told = None  # the alarm about the limit says it now
            return NORMAL
        length = _minutes(look, "window")
        window = means[-length:]
        is_known = _is_known(window, length)
        if not is_known or _beyond(float(window[-1]), limit) or _is_disturbed(look):
            return UNCHANGED
        foretold = foretell(window, limit)
        if foretold and foretold.in_min <= _LET_GO * _minutes(look, "act_within"):
            return UNCHANGED
        self._told = None
        return NORMAL

    def _abnormal(self, look: Look, foretold: Foretold, limit: Limit, now: float) -> Abnormal:
        name = self.quantity
        evidence = Evidence(
            f"{QUANTITIES[name].words} {'rises' if limit.is_high else 'falls'} by {{}} and, if that goes on, "
            f"passes {{}} in about {{}}, no sooner than in {{}} and no later than in {{}}",
            (
                slope(name, foretold.slope * _MINUTES_PER_H),
                value(name, limit.threshold),
                span(foretold.in_min * MINUTE_MS),
                span(foretold.early_min * MINUTE_MS),
                span(foretold.late_min * MINUTE_MS),
            ),
        )
        since_ms = look.now_ms - _minutes(look, "window") * MINUTE_MS
        return Abnormal(since_ms, evidence, now, limit.threshold)


def foretell(means: Values, limit: Limit) -> Foretold | None:
    """Return when minutes that go on as they do will be beyond a limit; None where they never will.

    The interval holds the line with 95 %, the line through the later half, and what becomes of the latter if
    the slope goes on changing as it did from the earlier half.

    Shape:
        At least 20 minutes, of each five at least one known.
    """
    outward = 1.0 if limit.is_high else -1.0
    blocks = outward * np.nanmean(means[len(means) % _BLOCK :].reshape(-1, _BLOCK), axis=1)
    half = len(blocks) // 2
    whole, early, late = line_through(blocks), line_through(blocks[:half]), line_through(blocks[half:])
    ahead = 2 * late.slope - early.slope
    least = min(whole.low, late.low, ahead)
    left = outward * limit.threshold - whole.end
    if left <= 0 or whole.slope <= 0 or least <= 0:
        return None
    most = max(whole.high, late.high, ahead)
    in_min, early_min, late_min = (_BLOCK * left / one for one in (whole.slope, most, least))
    return Foretold(in_min, early_min, late_min, whole.slope / _BLOCK)


# ------------------------------------------------------------------------------- what is looked at


def _minutes(look: Look, figure: str) -> int:
    return int(look.figure(HEADING_OUT, figure)) // MINUTE_MS


def _band(look: Look, quantity: str) -> Band | None:
    stage = stage_at(look.plan.spans, look.now_ms)
    return stage.bands.get(quantity) if stage else None


def _means(look: Look, quantity: str) -> Values:
    """Return the means of the window's minutes and of the hours before it."""
    minutes = _minutes(look, "window") + _minutes(look, "usual")
    formula = formulas(look.plan.leaf_offset_k).get(quantity)
    if formula is None:
        return look.minutes.trace(quantity, minutes).mean
    inputs = [look.minutes.trace(name, minutes).mean for name in formula.inputs]
    if not all(map(len, inputs)):
        return np.empty(0)
    inputs[-1] = np.minimum(inputs[-1], SATURATION_PCT)
    return formula.values(*inputs)


def _is_new(number: float, past: Values) -> bool:
    """Whether a value is beyond all of the past; the usual case is that it is not."""
    return bool(number > np.fmax.reduce(past) or number < np.fmin.reduce(past))


def _is_known(means: Values, minutes: int) -> bool:
    return int(np.count_nonzero(~np.isnan(means))) >= _KNOWN * minutes


def _beyond(number: float, limit: Limit) -> bool:
    return _is_outward(number, limit.threshold, limit)


def _is_outward(number: float, other: float, limit: Limit) -> bool:
    return number > other if limit.is_high else number < other


def _all_beyond(means: Values, limit: Limit) -> bool:
    beyond = means > limit.threshold if limit.is_high else means < limit.threshold
    return bool(beyond.all())


def _comes_back(means: Values, band: Band, limit: Limit) -> bool:
    """Whether the value was beyond a limit of the other side."""
    return any(
        _beyond(float(np.fmax.reduce(means) if other.is_high else np.fmin.reduce(means)), other)
        for other in band.limits
        if other.is_high != limit.is_high
    )


# --------------------------------------------------------------------------------- what disturbs


def _is_disturbed(look: Look) -> bool:
    """Whether care or the lamp explain what is seen, in the earlier half of the window or later."""
    for figure, kinds in (("settling", ()), ("settling_watered", (WATERED,))):
        care = look.last_care(*kinds)
        ends_ms = look.figure(HEADING_OUT, figure) + look.figure(HEADING_OUT, "window") / 2
        if care and look.now_ms - care.to_ms <= ends_ms:
            return True
    return _lamp_has_switched(look, _minutes(look, "lamp_settling"))


def _lamp_has_switched(look: Look, minutes: int) -> bool:
    lamp, schedule = look.plan.lamp, look.plan.schedule
    light = look.minutes.trace(lamp.quantity, minutes).mean if lamp else np.empty(0)
    known = light[~np.isnan(light)]
    if lamp and len(known):
        lit = known > lamp.lit_above
        return bool(lit.any() and not lit.all())
    if schedule is None:
        return False
    wall = wall_time(look.now_ms, schedule.zone)
    at = wall.hour * _MINUTES_PER_H + wall.minute
    return any((at - switched) % (24 * _MINUTES_PER_H) < minutes for switched in schedule[:2])


#: Light comes and goes in steps; hours and sums of light follow from it.
_IN_STEPS: Final = ("illuminance", "ppfd", "light_hours", "daily_light_integral")
#: Every tray dries until it is watered; when that is due is no drift.
_ALWAYS_ON_ITS_WAY: Final = ("water_lost",)
DRIFTING: Final[Sequence[ConditionMaker]] = tuple(
    partial(HeadingOut, name) for name in QUANTITIES if name not in (*_IN_STEPS, *_ALWAYS_ON_ITS_WAY)
)
