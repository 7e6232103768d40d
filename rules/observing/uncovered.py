"""Covers that were not put back, and covers that leak: humidity that fell within minutes and stays down.

The rule of this file: a fall that is made good within the time an airing takes says nothing.
"""

from typing import Final, NamedTuple

import numpy as np

from wardian.rules.air import saturation_vapour_pressure_kpa_array
from wardian.rules.crops import stage_at
from wardian.rules.evidence import Evidence, difference, moment, value
from wardian.rules.observing.looks import NORMAL, UNCHANGED, Abnormal, Look, Verdict
from wardian.rules.observing.minutes import MINUTE_MS, Minutes
from wardian.rules.observing.usual import recent
from wardian.rules.readings import Values

_QUANTITY: Final = "relative_humidity"
#: A fall of so much within so many minutes is none of the weather. [%RH] [min]
FALL_PCT: Final = 8.0
FALL_MIN: Final = 6
#: Minutes over which what was before, and what is now, are taken.
_AROUND_MIN: Final = 20
#: A cover weighs at least so much; it rides on the scale where there is one. From memory: 150 to 400 g.
_COVER_G: Final = 100.0


class Fall(NamedTuple):
    """Humidity that fell within minutes and did not come back.

    Attributes:
        at: When it began to fall, minutes ago.
        before_pct: Where it was.
        lowest_pct: Where it fell to.
        now_pct: Where it is.
        is_flat: Whether it hardly moves now.
        lighter_g: How much lighter the tray became with it and still is, None where no scale says so.
    """

    at: int
    before_pct: float
    lowest_pct: float
    now_pct: float
    is_flat: bool
    lighter_g: float | None

    @property
    def made_good(self) -> float:
        """The share of the fall that was made good."""
        return (self.now_pct - self.lowest_pct) / max(self.before_pct - self.lowest_pct, 1e-9)

    @property
    def is_off(self) -> bool:
        """Whether the cover is off rather than leaking: by the scale, else by how little came back."""
        if self.lighter_g is not None:
            return self.lighter_g >= _COVER_G
        return self.before_pct - self.now_pct >= 2 * FALL_PCT and self.made_good < _LITTLE


#: Less of a fall made good than this is nothing.
_LITTLE: Final = 0.25
#: More of it made good than this is an airing.
_MOST: Final = 0.7
_FLAT_PCT: Final = 4.0


def lasting_fall(minutes: Minutes, least_min: int, most_min: int) -> Fall | None:
    """Return the first fall, not longer ago than ``most_min``, that has lasted for at least ``least_min``."""
    humidity = minutes.trace(_QUANTITY, most_min + _AROUND_MIN + FALL_MIN).mean
    if len(humidity) < least_min + _AROUND_MIN + FALL_MIN:
        return None
    falls = humidity[:-FALL_MIN] - humidity[FALL_MIN:]
    falls[: _AROUND_MIN - FALL_MIN] = 0
    falls[len(humidity) - least_min :] = 0
    begins = np.flatnonzero(falls >= FALL_PCT)
    while len(begins):
        found = _fall(minutes, humidity, int(begins[0]))
        if found:
            return found
        begins = begins[begins > begins[0] + _AROUND_MIN]
    return None


def _fall(minutes: Minutes, humidity: Values, begin: int) -> Fall | None:
    before = _median(humidity[max(begin - _AROUND_MIN, 0) : begin + 1])
    since = humidity[begin + FALL_MIN :]
    now, lately = _median(since[-10:]), since[-_AROUND_MIN:]
    lowest = float(np.nanmin(since)) if np.isfinite(since).any() else np.nan
    # What came back at any time, an airing later included, is not the first fall any more.
    highest = float(np.nanquantile(since, 0.9)) if np.isfinite(since).any() else np.nan
    fallen = before - lowest
    if not (before - now >= FALL_PCT * 0.75 and highest <= before - (1 - _MOST) * fallen):
        return None
    at = len(humidity) - begin
    is_flat = bool(np.nanmax(lately) - np.nanmin(lately) <= _FLAT_PCT)
    return Fall(at, before, lowest, now, is_flat, _lighter_g(minutes, at))


def _lighter_g(minutes: Minutes, at: int) -> float | None:
    """Return how much lighter the tray became so many minutes ago, less what it gained since."""
    mass = minutes.trace("tray_mass", at + _AROUND_MIN).mean
    if len(mass) < at + _AROUND_MIN or np.isnan(mass).any():
        return None
    before = _median(mass[: _AROUND_MIN - 2])
    lost = before - float(mass[_AROUND_MIN - 2 : _AROUND_MIN + 2 * FALL_MIN].min())
    jumps = mass[_AROUND_MIN + 3 :] - mass[_AROUND_MIN:-3]
    is_back = len(jumps) and float(jumps.max()) >= _COVER_G
    return 0.0 if is_back else lost


def _median(values: Values) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if len(known) else float("nan")


class _OfCover:
    """What the conditions of a cover share: they hold until the humidity has come back."""

    name = ""
    quantity = _QUANTITY
    every = 5
    is_off = False

    def __init__(self) -> None:
        self._back_pct: float | None = None

    def judge(self, look: Look) -> Verdict:
        """Return whether humidity fell within minutes, stayed down, and is too low for the stage."""
        now = look.minutes.trace(_QUANTITY, 10).mean
        if not len(now) or np.isnan(now).any():
            return UNCHANGED
        if self._back_pct is not None:
            back = now.min() >= self._back_pct
            self._back_pct = None if back else self._back_pct
            return NORMAL if back else UNCHANGED
        if not is_too_dry(look, float(now[-1])):
            return NORMAL
        least = round(look.figure(self.name, "after") / MINUTE_MS)
        fall = lasting_fall(look.minutes, least, 3 * least)
        if fall is None or not fall.is_flat or fall.is_off is not self.is_off:
            return NORMAL
        self._back_pct = (fall.before_pct + max(fall.now_pct, fall.lowest_pct)) / 2
        return Abnormal(look.now_ms - fall.at * MINUTE_MS, fallen(fall, look.now_ms), fall.now_pct)


class CoverOff(_OfCover):
    """The cover was not put back."""

    name = "cover-off"
    is_off = True


class CoverLeaking(_OfCover):
    """The cover is cracked, or not seated."""

    name = "cover-leaking"


def fallen(fall: Fall, now_ms: int) -> Evidence:
    """Return what speaks for a cover that is off or leaking."""
    words = "humidity fell from {} to {} within minutes at {} and has stayed at {}"
    figures = (
        value(_QUANTITY, fall.before_pct),
        value(_QUANTITY, fall.lowest_pct),
        moment(now_ms - fall.at * MINUTE_MS),
        value(_QUANTITY, fall.now_pct),
    )
    if fall.lighter_g is None:
        return Evidence(words, figures)
    if fall.lighter_g >= _COVER_G:
        return Evidence(
            words + "; the tray is {} lighter since", (*figures, difference("tray_mass", fall.lighter_g))
        )
    return Evidence(words + "; the cover's weight is still on the scale", figures)


def is_too_dry(look: Look, humidity_pct: float) -> bool:
    """Return whether the air is too dry for the present stage, by its humidity or its deficit."""
    stage = stage_at(look.plan.spans, look.now_ms)
    low_pct, high_kpa = (
        band.threshold(limit) if stage and (band := stage.bands.get(quantity)) else None
        for quantity, limit in ((_QUANTITY, "low"), ("vapour_pressure_deficit", "high"))
    )
    if low_pct is not None and humidity_pct < low_pct:
        return True
    air_c = recent(look.minutes, "air_temperature", 1)
    if high_kpa is None or np.isnan(air_c):
        return False
    saturated_kpa = float(saturation_vapour_pressure_kpa_array(np.array([air_c]))[0])
    return saturated_kpa * (1 - humidity_pct / 100) > high_kpa
