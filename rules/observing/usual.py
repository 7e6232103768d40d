"""What is usual at a tray: how its mat heats, its lamp burns and its air lies, learned from the last three days.

The rule of this file: learned from minutes alone, with the last hours left out, so that what goes wrong now
is not taken for usual; what was seen too seldom is None.
"""

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from wardian.rules.observing.minutes import KEPT, MINUTE_MS, Minutes
from wardian.rules.plans import TrayPlan
from wardian.rules.readings import Values

#: The mat heats where the medium rises by so much within so many minutes: air and lamp alone are slower, since
#: the mass of a tray keeps them below a kelvin an hour, a mat does several (2 to 6 K/h, from memory).
PULSE_K: Final = 0.25
PULSE_MIN: Final = 10
#: So often it must have been seen to heat before anything is called usual.
_PULSES: Final = 3
#: Minutes of one state that must be known.
_KNOWN: Final = 120
#: The last minutes, which are left out.
_RECENT: Final = 180
#: The lamp is one, and not the sun, where its light hardly changes within half an hour, most of the time.
_STEADY_MIN: Final = 30
_STEADY_SHARE: Final = 0.05
_STEADY_TIMES: Final = 0.8
#: Lit and dark, as shares of the lamp's level: a lit room reaches a few per cent. From memory.
LIT_SHARE: Final = 0.8
DARK_SHARE: Final = 0.05
_HOUR_MS: Final = 60 * MINUTE_MS

Flags = NDArray[np.bool_]


class Mat(NamedTuple):
    """How the mat heats: where the thermostat switches it on and off [°C], and how far apart that is [min]."""

    on_c: float
    off_c: float
    apart_min: float


class Lamp(NamedTuple):
    """How the lamp burns: its level in the light's own unit."""

    quantity: str
    level: float


class Air(NamedTuple):
    """The air [°C], and how much warmer the medium is [K] while it is heated, in one state of the lamp."""

    air_c: float
    medium_over_air_k: float
    most_over_air_k: float


class Usual(NamedTuple):
    """What is usual at a tray."""

    mat: Mat | None
    lamp: Lamp | None
    lit: Air | None
    dark: Air | None


class Learned:
    """What is usual at one tray, learned anew every hour."""

    def __init__(self) -> None:
        self._hour = -1
        self._usual = Usual(None, None, None, None)

    def of(self, plan: TrayPlan, minutes: Minutes) -> Usual:
        """Return what is usual, learned since the last full hour."""
        hour = (minutes.now_ms or 0) // _HOUR_MS
        if hour != self._hour:
            self._hour, self._usual = hour, usual(plan, minutes)
        return self._usual


def usual(plan: TrayPlan, minutes: Minutes) -> Usual:
    """Return what is usual, as it was until three hours ago."""
    medium = minutes.trace("medium_temperature", KEPT).mean
    air = minutes.trace("air_temperature", KEPT).mean
    lamp = lamp_of(plan, minutes)
    heats = heating(medium)
    mat = _mat(medium, heats)
    if not len(air):
        return Usual(mat, lamp, None, None)
    warm = _lately_heated(heats, len(medium), mat) if mat else np.ones(len(air), np.bool_)
    light = minutes.trace(lamp.quantity, KEPT).mean if lamp else np.empty(0)
    if len(air) != len(medium):
        medium = np.full(len(air), np.nan)
    lit, dark = _states(light, lamp, len(air))
    return Usual(mat, lamp, _air(air, medium, lit & warm), _air(air, medium, dark & warm))


def heating(medium: Values) -> Flags:
    """Return whether the medium is being heated in the minutes that begin with each of all but the last few."""
    rises: Flags = medium[PULSE_MIN:] - medium[:-PULSE_MIN] >= PULSE_K
    return rises


def since_heated_min(medium: Values) -> int:
    """Return how many minutes ago the mat was last seen to heat; as many as are known where it never was."""
    heated = np.flatnonzero(heating(medium))
    return len(medium) - PULSE_MIN - 1 - int(heated[-1]) if len(heated) else len(medium)


def lamp_of(plan: TrayPlan, minutes: Minutes) -> Lamp | None:
    """Return the learned lamp, None where nothing burns as evenly as a lamp does."""
    quantity = light_quantity(plan, minutes)
    light = minutes.trace(quantity, KEPT).mean if quantity else np.empty(0)
    known = light[np.isfinite(light)]
    if not quantity or len(known) < _KNOWN:
        return None
    brightest = float(np.partition(known, -len(known) // 50)[-len(known) // 50])
    lit = light > max(0.2 * brightest, plan.lamp.lit_above if plan.lamp else 0)
    if lit.sum() < _KNOWN:
        return None
    level = float(np.quantile(light[lit], 0.9))
    both = lit[_STEADY_MIN:] & lit[:-_STEADY_MIN]
    changes = np.abs(light[_STEADY_MIN:] - light[:-_STEADY_MIN])[both]
    steady = np.count_nonzero(changes < _STEADY_SHARE * level) if len(changes) else 0
    return Lamp(quantity, level) if steady >= _STEADY_TIMES * max(len(changes), 1) else None


def state_of(minutes: Minutes, lamp: Lamp | None) -> str:
    """Return whether it is ``lit`` or ``dark`` now and was so five minutes ago; empty where neither."""
    light = minutes.trace(lamp.quantity, 5).mean if lamp else np.empty(0)
    if not lamp or not len(light) or np.isnan(light).any():
        return ""
    if light.min() > LIT_SHARE * lamp.level:
        return "lit"
    return "dark" if light.max() < DARK_SHARE * lamp.level else ""


def light_quantity(plan: TrayPlan, minutes: Minutes) -> str | None:
    """Return the light by which the lamp is judged, None where none was read."""
    wanted = (plan.lamp.quantity,) if plan.lamp else ("illuminance", "ppfd")
    return next((one for one in wanted if one in minutes.quantities), None)


def _mat(medium: Values, heats: Flags) -> Mat | None:
    begins = np.flatnonzero(heats[1:] & ~heats[:-1]) + 1
    ends = np.flatnonzero(~heats[1:] & heats[:-1]) + 1
    if min(len(begins), len(ends)) < _PULSES:
        return None
    around = np.arange(PULSE_MIN + 1)
    on_c = medium[begins[:, None] + around].min(axis=1)
    off_c = medium[ends[:, None] + around].max(axis=1)
    if not (np.isfinite(on_c).any() and np.isfinite(off_c).any()):
        return None  # the probe was away in the middle of every pulse
    return Mat(
        # What a warm room or a closing cover makes of the medium lies above where the mat comes on.
        float(np.nanquantile(on_c, 0.25)),
        float(np.nanquantile(off_c, 0.75)),
        float(np.quantile(np.diff(begins), 0.9)),
    )


def _lately_heated(heats: Flags, length: int, mat: Mat) -> Flags:
    """Return which minutes follow on a heating as closely as usual."""
    places = np.arange(length)
    last = np.full(length, -length)
    last[:-PULSE_MIN] = np.where(heats, places[:-PULSE_MIN], -length)
    lately: Flags = places - np.maximum.accumulate(last) <= 1.5 * mat.apart_min + 2 * PULSE_MIN
    return lately


def _states(light: Values, lamp: Lamp | None, length: int) -> tuple[Flags, Flags]:
    """Return which minutes are lit and which dark; without a lamp all count as both."""
    if lamp is None:
        return np.ones(length, np.bool_), np.ones(length, np.bool_)
    return light > LIT_SHARE * lamp.level, light < DARK_SHARE * lamp.level


def _air(air: Values, medium: Values, where: Flags) -> Air | None:
    where = where & np.isfinite(air)
    where[-_RECENT:] = False
    if where.sum() < _KNOWN:
        return None
    over = (medium - air)[where]
    over = over[np.isfinite(over)]
    middle, most = np.quantile(over, (0.5, 0.9)) if len(over) >= _KNOWN else (np.nan, np.nan)
    return Air(float(np.median(air[where])), float(middle), float(most))


def recent(minutes: Minutes, quantity: str, count: int) -> float:
    """Return the mean of the last minutes of a quantity, not a number where one of them is unknown."""
    values = minutes.trace(quantity, count).mean
    return float(values.mean()) if len(values) == count else float("nan")
