"""Signs of too little and too much water."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from wardian.rules.evidence import Evidence, difference, number, span
from wardian.rules.observing.looks import MISTED, WATERED, Look
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.readings import Values

_HUMIDITY: Final = "relative_humidity"
_MASS: Final = "tray_mass"
_DAY_MIN: Final = 24 * 60
_DAY_MS: Final = _DAY_MIN * MINUTE_MS
#: A covered tray loses 0.2 to 1.5 g an hour; more than this in a day is gone some other way, or was never made
#: good. [g] From memory.
_LOST_G: Final = 60.0
_SAGGED_PCT: Final = 2.0
#: More mistings a day than that are too many (common practice, no source).
_MISTINGS: Final = 4
_GAINED_G: Final = 20.0


def medium_left_dry(look: Look, _: Sequence[Look]) -> tuple[Evidence, ...]:
    """Tell a medium that dries out: the tray loses weight without a watering, and humidity sags slowly."""
    lost_g = -_change(look, _MASS)
    sagged_pct = -_change(look, _HUMIDITY)
    watered = look.last_care(WATERED)
    if watered and look.now_ms - watered.to_ms < _DAY_MS:
        return ()
    if not lost_g >= _LOST_G or not sagged_pct >= _SAGGED_PCT:
        return ()
    return (
        Evidence("the tray lost {} in {}", (difference(_MASS, lost_g), span(_DAY_MS))),
        Evidence(
            "humidity sagged by {} in that time, without a sudden fall", (difference(_HUMIDITY, sagged_pct),)
        ),
    )


def over_misted(look: Look, _: Sequence[Look]) -> tuple[Evidence, ...]:
    """Tell too much mist: more mistings in a day than a tray needs, and a tray that grows heavier."""
    mistings = [one for one in look.care if one.event == MISTED and look.now_ms - one.from_ms <= _DAY_MS]
    gained_g = _change(look, _MASS)
    if len(mistings) <= _MISTINGS or not gained_g >= _GAINED_G:
        return ()
    return (
        Evidence("the tray was misted {} times in {}", (number(len(mistings)), span(_DAY_MS))),
        Evidence("it became {} heavier in that time", (difference(_MASS, gained_g),)),
    )


def _change(look: Look, quantity: str) -> float:
    """Return how much a quantity rose in a day, not a number where that is not known."""
    trace = look.minutes.trace(quantity, _DAY_MIN + 60).mean
    return _level(trace[-60:]) - _level(trace[:60]) if len(trace) == _DAY_MIN + 60 else float("nan")


def _level(values: Values) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if len(known) else float("nan")
