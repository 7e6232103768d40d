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
#: A value that is usually the same for a quarter of that time is read too coarsely to call it stuck.
_COARSE: Final = 4


class SensorStuck:
    """One value, unchanged to the last digit for hours, or all the while that the cover was lifted."""

    name: ClassVar[str] = "sensor-stuck"
    every: ClassVar[int] = 5

    def __init__(self, quantity: str) -> None:
        self.quantity = quantity
        self._after = "humidity_after" if quantity == _HUMIDITY else "temperature_after"

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
        if stuck_ms >= max(look.figure(self.name, self._after), _COARSE * _usual(runs[:-1]) * MINUTE_MS):
            evidence = Evidence("it has been at {} without any change for {}", (shown, span(stuck_ms)))
        elif lift_ms := self._unfelt_lift_ms(look, since_ms):
            evidence = Evidence(
                "it stayed at {} although the cover was lifted at {}", (shown, moment(lift_ms))
            )
        else:
            return NORMAL
        return Abnormal(since_ms, evidence, shown.number)

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


def _usual(runs: NDArray[np.int64]) -> int:
    """Return how long the stretch is in which half of all minutes lie, in minutes."""
    if not len(runs):
        return 0
    lengths = np.sort(runs)
    return int(lengths[np.searchsorted(np.cumsum(lengths), lengths.sum() / 2)])
