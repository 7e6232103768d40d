"""A probe that jumps, and two probes that speak under one name: what no tray can do within a minute."""

from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from wardian.rules.evidence import Evidence, difference, moment, number, span
from wardian.rules.observing.looks import ALCOHOL, NORMAL, UNCHANGED, Abnormal, Look, Verdict
from wardian.rules.observing.minutes import MINUTE_MS, Trace
from wardian.rules.readings import Values

_HUMIDITY: Final = "relative_humidity"
_TEMPERATURES: Final = ("air_temperature", "medium_temperature", "leaf_temperature")
#: What is judged: light goes on and off at once, and a cover or a watering changes the mass as suddenly.
JUMPING: Final = (*_TEMPERATURES, _HUMIDITY)
#: In each of so many parts of the time must the two probes take turns, so often, to say that it lasts. Chosen.
_PARTS: Final = 4
_TURNS: Final = 2
#: And so long must they not, to say that it is over.
_QUIET: Final = 60


class SensorJumping:
    """A value that jumps again and again by what no tray can do within a minute."""

    name: ClassVar[str] = "sensor-jumping"
    every: ClassVar[int] = 5

    def __init__(self, quantity: str) -> None:
        self.quantity = quantity
        self._limit = "humidity" if quantity == _HUMIDITY else "temperature"

    def judge(self, look: Look) -> Verdict:
        """Return whether there were too many jumps lately."""
        lasts_ms, least = look.figure(self.name, "lasts"), look.figure(self.name, self._limit)
        trace = look.minutes.trace(self.quantity, int(lasts_ms) // MINUTE_MS)
        sizes, at = _jumps(trace, least)
        if len(sizes) >= look.figure(self.name, "jumps"):
            figures = (number(len(sizes)), difference(self.quantity, sizes.max()), span(lasts_ms))
            evidence = Evidence("it jumped {} times within a minute, by up to {}, in the last {}", figures)
            return Abnormal(_begins_ms(look, trace, at), evidence)
        return UNCHANGED if len(sizes) else NORMAL


class SensorsDisagree:
    """Readings of one name that take turns between two levels, as two probes do that differ."""

    name: ClassVar[str] = "sensors-disagree"
    every: ClassVar[int] = 10

    def __init__(self, quantity: str) -> None:
        self.quantity = quantity
        self._limit = "humidity" if quantity == _HUMIDITY else "temperature"

    def judge(self, look: Look) -> Verdict:
        """Return whether two levels took turns all the time."""
        lasts_ms, least = look.figure(self.name, "lasts"), look.figure(self.name, self._limit)
        minutes = int(lasts_ms) // MINUTE_MS
        trace = look.minutes.trace(self.quantity, minutes)
        if len(trace.mean) < minutes:
            return UNCHANGED
        sizes, at = _jumps(trace, least)
        parts = np.bincount(at * _PARTS // minutes, minlength=_PARTS)
        if parts.min() >= _TURNS:
            words = "readings take turns between two levels {} apart, and have for {}"
            figures = (difference(self.quantity, float(np.median(sizes))), span(lasts_ms))
            evidence = Evidence(words, figures)
            alcohol = look.last_care(ALCOHOL) if self.quantity == _HUMIDITY else None
            if alcohol:  # it makes a humidity probe drift, mostly for good (from memory of probes' manuals)
                words = f"{words}; alcohol was used near the probe {{}}"
                evidence = Evidence(words, (*figures, moment(alcohol.from_ms)))
            return Abnormal(_begins_ms(look, trace, at), evidence)
        return UNCHANGED if len(at) and at[-1] >= minutes - _QUIET else NORMAL


def _jumps(trace: Trace, least: float) -> tuple[Values, NDArray[np.int64]]:
    """Return jumps of at least so much, within a minute or from one to the next, and in which minute each is."""
    if not np.fmax.reduce(trace.high, initial=-np.inf) - np.fmin.reduce(trace.low, initial=np.inf) >= least:
        return np.empty(0), np.empty(0, np.int64)
    ends = np.stack((trace.low, trace.high), axis=1).ravel()
    sizes = np.abs(np.diff(ends))
    large = np.flatnonzero(sizes >= least)
    return sizes[large], (large + 1) // 2


def _begins_ms(look: Look, trace: Trace, at: NDArray[np.int64]) -> int:
    return look.now_ms - (len(trace.mean) - int(at[0])) * MINUTE_MS
