"""A humidity probe with water on it: it shows saturation whatever the air is."""

from typing import ClassVar, Final

import numpy as np

from wardian.rules.evidence import Evidence, moment, span, value
from wardian.rules.observing.looks import LIFTED, NORMAL, UNCHANGED, Abnormal, Look, Verdict
from wardian.rules.observing.minutes import KEPT, MINUTE_MS, Trace

#: How long after a lift it must have shown. [ms] Air that was let out takes a quarter of an hour to come back.
_SHOWS_MS: Final = 15 * MINUTE_MS
#: So long must it be below the limit, to say that the probe is dry. Chosen.
_DRY: Final = 30


class SensorSaturated:
    """Humidity at its end for hours, and no dip as the cover was lifted."""

    name: ClassVar[str] = "sensor-saturated"
    quantity: ClassVar[str] = "relative_humidity"
    every: ClassVar[int] = 10

    def judge(self, look: Look) -> Verdict:
        """Return whether the probe passed over a lifted cover."""
        full_pct, after_ms = look.figure(self.name, "full"), look.figure(self.name, "after")
        last = look.minutes.trace(self.quantity, _DRY)
        if not len(last.mean) or np.isnan(last.mean[-1]):
            return UNCHANGED
        if np.fmax.reduce(last.high) < full_pct:
            return NORMAL
        full_ms = _full(look.minutes.trace(self.quantity, KEPT), full_pct) * MINUTE_MS
        lift_ms = self._unfelt_lift_ms(look, look.now_ms - full_ms)
        if full_ms < after_ms or lift_ms is None:
            return UNCHANGED
        words = "it has shown {} or more for {}, and did not dip when the cover was lifted at {}"
        figures = (value(self.quantity, full_pct), span(full_ms), moment(lift_ms))
        return Abnormal(look.now_ms - full_ms, Evidence(words, figures), float(last.mean[-1]), full_pct)

    def _unfelt_lift_ms(self, look: Look, from_ms: int) -> int | None:
        lifts = (one.from_ms for one in look.care if one.event == LIFTED)
        return next((lift for lift in lifts if from_ms <= lift <= look.now_ms - _SHOWS_MS), None)


def _full(trace: Trace, full_pct: float) -> int:
    """Return for how many minutes nothing less was shown; unknown minutes before the first known one not."""
    less = np.flatnonzero(trace.low < full_pct)
    since = int(less[-1]) + 1 if len(less) else 0
    known = np.flatnonzero(trace.low[since:] >= full_pct)
    return len(trace.low) - since - int(known[0]) if len(known) else 0
