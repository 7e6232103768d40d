"""Sudden steps of a trace away from steady minutes: a cover lifted, water poured, a probe that jumps.

The rule of this file: a step is seen against the lowest and highest reading of the minutes around it, so that
neither noise nor a hand that leans on the tray for seconds makes one.
"""

from typing import Final, NamedTuple

import numpy as np

from wardian.rules.observing.minutes import Trace
from wardian.rules.readings import Values

#: Minutes that must have been steady, and those that a step may take.
_STEADY: Final = 10
_TAKES: Final = 3
#: Minutes of a trace that are needed to see a step at its end.
STEP_MINUTES: Final = _STEADY + _TAKES
#: A step is larger than all the unrest before it, by this factor. Chosen.
_CLEAR: Final = 2.0


#: A balance on which something has come to rest keeps within so many grams for a minute, or within this share of
#: the step; under a leaning hand it does not. Chosen.
_REST_G: Final = 3.0
_REST: Final = 0.5


class Step(NamedTuple):
    """A step that the last minute shows: its size, the mean level before, and how many minutes ago it began."""

    size: float
    before: float
    minutes_ago: int


def fall(trace: Trace, least: float) -> Step | None:
    """Return the fall of at least so much that the last minute shows against steady minutes; else None."""
    return _step(trace.low, trace.high, trace.mean, least)


def rise(trace: Trace, least: float) -> Step | None:
    """Return the rise of at least so much that the last minute shows against steady minutes; else None."""
    found = _step(-trace.high, -trace.low, -trace.mean, least)
    return found and found._replace(before=-found.before)


def is_at_rest(mass: Trace, step: Step) -> bool:
    """Return whether the last minute of a balance is steady enough for what a step says to have come to stay [g]."""
    return bool(mass.high[-1] - mass.low[-1] <= max(_REST_G, _REST * step.size))


def _step(low: Values, high: Values, mean: Values, least: float) -> Step | None:
    if len(low) < STEP_MINUTES or not high[-1] <= low[-_TAKES - 1] - least:
        return None
    steady = slice(-STEP_MINUTES, -_TAKES)
    level = np.fmin.reduce(low[steady])
    size = level - high[-1]
    if not size >= max(least, _CLEAR * (np.fmax.reduce(high[steady]) - level)):
        return None
    begun = int(np.argmax(low[-_TAKES:] < level - least / 4))
    return Step(float(size), float(np.nanmean(mean[steady])), _TAKES - begun)
