"""A medium that was let dry while cuttings had no roots, or only the tips of some.

The rule of this file: water that went while the mat was too hot or the cover off is laid to these.
"""

from typing import Final

import numpy as np

from wardian.rules.evidence import Evidence, moment, number, span
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.postmortem.ground import Flags, Ground, hours, runs
from wardian.rules.postmortem.harm import MEDIUM_DRY, Harm, hours_figure
from wardian.rules.postmortem.water import water
from wardian.rules.readings import Values

_LOST: Final = "water_lost"
#: Watered again at a third of its water lost before roots, at half after (common practice, no source); crops that want
#: it dry from half on. From here on it is urgent (from memory).
_BEFORE_ROOTS: Final = 1 / 3
_AFTER: Final = 0.5
_URGENT: Final = 0.6
#: What harms. [h] From memory.
_DRY_H: Final = 24.0
_URGENT_H: Final = 12.0


def limits(ground: Ground) -> Values:
    """Return from which share of its water lost on the medium was too dry, minute by minute."""
    high = ground.want(_LOST).high / 100
    usual = np.where(ground.callusing & (not ground.case.crop.is_dry), _BEFORE_ROOTS, _AFTER)
    return np.where(np.isnan(high), usual, high)


def dry_medium(ground: Ground, elsewhere: Flags) -> Flags:
    """Return the minutes without roots in which the medium was too dry for want of watering."""
    had = water(ground, elsewhere)
    return ground.without_roots & (had.lost > limits(ground)) if had else np.zeros_like(elsewhere)


def harm_of_dryness(ground: Ground, elsewhere: Flags) -> Harm:
    """Return what a dry medium may have done."""
    had, dry = water(ground, elsewhere), dry_medium(ground, elsewhere)
    if had is None or not dry.any():
        return Harm(MEDIUM_DRY, 0.0)
    urgent = dry & (had.lost > _URGENT)
    weight = hours(dry) / _DRY_H + hours(urgent) / _URGENT_H
    first, last = max(runs(dry), key=lambda run: run.last - run.first)
    most = number(round(100 * float(np.nanmax(had.lost[first:last]))))
    words = "the medium had lost too much of its water for {} in all, the longest time from {} for {}, {} per cent at most"
    if had.is_estimated:
        words += " (estimated: nobody said what the tray weighs full and dry)"
    long = moment(int(ground.times_ms[first])), span((last - first) * MINUTE_MS)
    return Harm(MEDIUM_DRY, weight, (Evidence(words, (hours_figure(hours(dry)), *long, most)),))
