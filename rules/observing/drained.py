"""What a tray weighs full, taken anew after each thorough watering, as cuttings grow and medium settles.

The rule of this file: only a mass that was steady for ten minutes, an hour after a watering, under its cover, is
taken, and only where the watering brought much and ended near full.
"""

from collections.abc import Iterator
from typing import Final, NamedTuple

import numpy as np

from wardian.rules.observing.looks import WATERED, Care, Look
from wardian.rules.observing.minutes import KEPT, MINUTE_MS
from wardian.rules.plans import Masses
from wardian.rules.readings import Values
from wardian.rules.water import masses_at

#: A watering drains for 5 to 30 min (from memory); an hour is common practice, no source.
_DRAINS_MIN: Final = 60
#: Minutes before the watering and after the hour that stand for the mass.
_STANDS_MIN: Final = 10
#: What was recorded may have been done so much earlier.
_EARLIER_MIN: Final = 15
#: How far apart the readings of a steady mass lie at most. [g] Chosen: a balance flickers by a gram or two.
_STEADY_G: Final = 10.0
#: Shares of the water held: what a thorough watering brings at least, and how far below and above the former full
#: mass it may end. Chosen: cuttings grow by 100 to 200 g in all (from memory), a tray in standing water holds more.
_BROUGHT: Final = 0.10
_BELOW: Final = 0.05
_ABOVE: Final = 0.15


class Drained(NamedTuple):
    """What a tray weighed full, and when that was known."""

    at_ms: int
    saturated_g: float


def drained_since(look: Look, since_ms: int) -> Iterator[Drained]:
    """Yield what the tray weighed an hour after each thorough watering of which that was known after an instant."""
    for care in look.care:
        at_ms = _whole_minute(care.to_ms) + (_DRAINS_MIN + _STANDS_MIN) * MINUTE_MS
        if care.event == WATERED and since_ms < at_ms <= look.now_ms and _is_let_be(look, care, at_ms):
            masses = masses_at(look.plan.masses, at_ms)
            drained_g = _thorough_g(look, care, at_ms, masses) if masses else None
            if drained_g is not None:
                yield Drained(at_ms, drained_g)


def _is_let_be(look: Look, care: Care, at_ms: int) -> bool:
    """Return whether no other watering came before the end, and the cover was on while the tray was weighed."""
    from_ms = at_ms - _STANDS_MIN * MINUTE_MS
    lift = look.lift
    is_off = lift is not None and lift.from_ms < at_ms and (lift.back_ms is None or lift.back_ms > from_ms)
    others = (one for one in look.care if one is not care and one.from_ms < at_ms)
    return not is_off and not any(
        one.to_ms > (care.to_ms if one.event == WATERED else from_ms) for one in others
    )


def _thorough_g(look: Look, care: Care, at_ms: int, masses: Masses) -> float | None:
    """Return the drained mass if it is near full, steady, and much more than before the watering."""
    low, high, mean = look.minutes.trace("tray_mass", KEPT)
    before = _ending(mean, look.now_ms, _whole_minute(care.from_ms) - _EARLIER_MIN * MINUTE_MS)
    lowest, highest, after = (_ending(one, look.now_ms, at_ms) for one in (low, high, mean))
    if len(after) < _STANDS_MIN or not np.isfinite(after).all() or not np.isfinite(before).any():
        return None
    held_g, drained_g = masses.saturated_g - masses.dry_g, float(np.median(after))
    brought_g = drained_g - float(np.nanmedian(before))
    is_near = -_BELOW * held_g <= drained_g - masses.saturated_g <= _ABOVE * held_g
    is_steady = float(highest.max() - lowest.min()) <= _STEADY_G
    return drained_g if is_near and is_steady and brought_g >= _BROUGHT * held_g else None


def _ending(values: Values, now_ms: int, end_ms: int) -> Values:
    """Return the minutes that stand for a mass up to an instant."""
    end = len(values) - (now_ms - end_ms) // MINUTE_MS
    return values[max(end - _STANDS_MIN, 0) : max(end, 0)]


def _whole_minute(time_ms: int) -> int:
    return -(-time_ms // MINUTE_MS) * MINUTE_MS
