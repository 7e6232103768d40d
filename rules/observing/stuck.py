"""A probe whose value does not change any more, while everything around it does."""

from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from wardian.rules.evidence import Evidence, moment, span, value
from wardian.rules.observing.looks import LIFTED, NORMAL, UNCHANGED, Abnormal, Look, Verdict
from wardian.rules.observing.minutes import KEPT, MINUTE_MS, Trace

_HUMIDITY: Final = "relative_humidity"
#: Temperatures and humidity under a cover never rest. Light rests in the dark and under a steady lamp, water
#: and feed in their can, and a tray that hardly dries weighs the same for hours: of those nothing can be said.
STICKING: Final = ("air_temperature", "medium_temperature", "leaf_temperature", _HUMIDITY)
#: From here on humidity is at its end and not stuck. [%]
_FULL_PCT: Final = 99.0
#: A probe that tells smaller differences than that never rests. [K], [%] Chosen.
_FINE: Final = 0.15
_FINE_PCT: Final = 0.45
#: A coarser one is stuck if it rests for a day, with its lamp and its night, and for twice as long as it ever
#: did; one that never showed but one value may be a coarse one and must rest for all the time that is kept. Chosen.
_COARSE_RESTS: Final = 24 * 60
_TWICE: Final = 2
_ALL: Final = KEPT - 10


class SensorStuck:
    """One value, unchanged to the last digit for hours, or all the while that the cover was lifted."""

    name: ClassVar[str] = "sensor-stuck"
    every: ClassVar[int] = 5

    def __init__(self, quantity: str) -> None:
        self.quantity = quantity
        is_humidity = quantity == _HUMIDITY
        self._after, self._fine = (
            ("humidity_after", _FINE_PCT) if is_humidity else ("temperature_after", _FINE)
        )

    def judge(self, look: Look) -> Verdict:
        """Return whether the value has been the same for too long."""
        after_lift_ms = look.figure(self.name, "after_lift")
        last = look.minutes.trace(self.quantity, int(after_lift_ms) // MINUTE_MS)
        if not len(last.mean) or np.isnan(last.mean[-1]):
            return UNCHANGED
        if not _is_same(last) or self._is_full(last):
            return NORMAL
        trace = look.minutes.trace(self.quantity, KEPT)
        begins, runs = _runs(trace)
        since_ms = look.now_ms - (len(trace.mean) - int(begins[-1])) * MINUTE_MS
        stuck_ms = int(runs[-1]) * MINUTE_MS
        shown = value(self.quantity, last.mean[-1])
        if stuck_ms >= look.figure(self.name, self._after) and self._is_unusual(trace, runs):
            evidence = Evidence("it has been at {} without any change for {}", (shown, span(stuck_ms)))
        elif lift_ms := self._unfelt_lift_ms(look, since_ms):
            evidence = Evidence(
                "it stayed at {} although the cover was lifted at {}", (shown, moment(lift_ms))
            )
        else:
            return NORMAL
        return Abnormal(since_ms, evidence, shown.number)

    def _is_unusual(self, trace: Trace, runs: NDArray[np.int64]) -> bool:
        """Return whether this probe would have changed, as far as its steps and its past tell."""
        if _step(trace) < self._fine:
            return True
        if len(runs) == 1:
            return int(runs[0]) >= _ALL
        return int(runs[-1]) >= max(_COARSE_RESTS, _TWICE * int(runs[:-1].max()))

    def _is_full(self, trace: Trace) -> bool:
        return self.quantity == _HUMIDITY and bool(trace.mean[-1] >= _FULL_PCT)

    def _unfelt_lift_ms(self, look: Look, from_ms: int) -> int | None:
        """Return when the cover was lifted while humidity was stuck, which it cannot pass over."""
        if self.quantity != _HUMIDITY:
            return None
        felt_ms = look.now_ms - look.figure(self.name, "after_lift")
        lifts = (one.from_ms for one in look.care if one.event == LIFTED)
        return next((lift_ms for lift_ms in lifts if from_ms < lift_ms <= felt_ms), None)


def _is_same(trace: Trace) -> bool:
    return bool(np.fmin.reduce(trace.low) == np.fmax.reduce(trace.high))


def _runs(trace: Trace) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return where each stretch of one value begins and for how many known minutes it lasts, oldest first."""
    known = np.flatnonzero(~np.isnan(trace.mean))
    low, high = trace.low[known], trace.high[known]
    changes = np.flatnonzero((low[1:] != high[:-1]) | (high[1:] != low[1:])) + 1
    places = np.concatenate(([0], changes))
    return known[places], np.diff(np.append(places, len(known)))


def _step(trace: Trace) -> float:
    """Return the smallest difference of two values that were shown; infinite where there was but one."""
    values = np.unique(np.concatenate((trace.low, trace.high)))
    return float(np.min(np.diff(values[~np.isnan(values)]), initial=np.inf))
