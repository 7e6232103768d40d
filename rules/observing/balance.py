"""What else a balance shows beside care: a cutting pulled, a bump, and the minutes in which a tray only dries.

The rule of this file: what is back within minutes was a bump, and brought and took nothing.
"""

from collections.abc import Iterator
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from wardian.rules.observing.looks import Look
from wardian.rules.observing.minutes import KEPT, MINUTE_MS
from wardian.rules.readings import Values
from wardian.rules.water import Quiet

Places = NDArray[np.intp]
PULLED: Final = "pulled"
BUMPED: Final = "bumped"
_MASS: Final = "tray_mass"
#: A cutting with its plug of medium weighs 1 to 5 g [g], from memory; a balance that shows whole grams steps by
#: one as the tray dries.
_CUTTING_G: Final = (1.5, 6.0)
#: A hand, a cat or a draught of wind moves the mass by so much at least [g], from memory, for so long at most.
_BUMP_G: Final = 20.0
_BUMP_MIN: Final = 5
#: Minutes on either side of a step that must be steady; twice that, and the minute itself, tell the level.
_SIDE_MIN: Final = 7
#: By how much they may wander, and how much of the step must come from one minute to the next but one: shares of it.
_STEADY: Final = 0.5
_SUDDEN: Final = 0.6
#: How long a tray drains and drips after care, and sheds what mist was left on its leaves.
_AFTER_CARE_MIN: Final = 60


class Weighed(NamedTuple):
    """Something the balance showed that is no care; ``grams`` is how much the mass changed, for good or for minutes."""

    event: str
    from_ms: int
    to_ms: int
    grams: float


def seen_on_balance(look: Look) -> list[Weighed]:
    """Return the cuttings pulled and the bumps of the last three days, in order of time.

    A cutting that was pulled while the cover was off is not told from the water that the air took.
    """
    mean = look.minutes.trace(_MASS, KEPT).mean
    cared = _cared(look, len(mean), after=2 * _SIDE_MIN)
    bumps = list(_bumps(look, cared))
    away = cared.copy()
    for one in bumps:
        away[_places(look, one.from_ms, one.to_ms, len(mean))] = True
    return sorted([*bumps, *_pulled(look, mean, away)], key=lambda one: one.from_ms)


def quiet(look: Look, quantity: str) -> Quiet:
    """Return for each minute of a trace whether the tray did nothing but dry: covered, and let be for an hour."""
    length = len(look.minutes.trace(quantity, KEPT).mean)
    still = ~_cared(look, length, after=_AFTER_CARE_MIN)
    for one in seen_on_balance(look) if quantity == _MASS else ():
        still[_places(look, one.from_ms, one.to_ms, length)] = False
    return still


def _cared(look: Look, length: int, after: int) -> Quiet:
    """Return for each minute whether care was given in it or shortly before, or the cover was off."""
    cared = np.zeros(length, np.bool_)
    for one in look.care:
        cared[_places(look, one.from_ms - 2 * MINUTE_MS, one.to_ms + after * MINUTE_MS, length)] = True
    if look.lift:
        back_ms = look.now_ms if look.lift.back_ms is None else look.lift.back_ms + after * MINUTE_MS
        cared[_places(look, look.lift.from_ms, back_ms, length)] = True
    return cared


def _places(look: Look, from_ms: int, to_ms: int, length: int) -> slice:
    first, last = (length + (at_ms - look.now_ms) // MINUTE_MS for at_ms in (from_ms, to_ms))
    return slice(max(first, 0), max(last + 1, 0))


def _levels(mean: Values) -> Values:
    """Return the median of the minutes around each; at the ends, of those there are."""
    padded = np.pad(mean, _SIDE_MIN, constant_values=np.nan)
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * _SIDE_MIN + 1)
    levels = np.full(len(mean), np.nan)
    known = np.isfinite(around).any(axis=1)
    levels[known] = np.nanmedian(around[known], axis=1)
    return levels


def _bumps(look: Look, cared: Quiet) -> Iterator[Weighed]:
    low, high, mean = look.minutes.trace(_MASS, KEPT)
    if not len(mean):
        return
    levels = _levels(mean)
    away = np.where(high - levels >= levels - low, high - levels, low - levels)
    for run in _runs(np.flatnonzero(np.abs(away) >= _BUMP_G)):
        if len(run) <= _BUMP_MIN and not cared[run].any() and _ended(run, len(mean)):
            begin_ms = look.now_ms - (len(mean) - int(run[0])) * MINUTE_MS
            most = float(away[run][np.abs(away[run]).argmax()])
            yield Weighed(BUMPED, begin_ms, begin_ms + len(run) * MINUTE_MS, most)


def _pulled(look: Look, mean: Values, away: Quiet) -> Iterator[Weighed]:
    if len(mean) < 2 * _SIDE_MIN + 1:
        return
    sides = np.lib.stride_tricks.sliding_window_view(mean, _SIDE_MIN)
    before, after = sides[: -_SIDE_MIN - 1], sides[_SIDE_MIN + 1 :]
    steps = np.median(after, axis=1) - np.median(before, axis=1)
    wander = np.maximum(np.ptp(before, axis=1), np.ptp(after, axis=1))
    is_sudden = after[:, 0] - before[:, -1] <= _SUDDEN * steps
    near_care = np.lib.stride_tricks.sliding_window_view(away, 2 * _SIDE_MIN + 1).any(axis=1)
    least, most = _CUTTING_G
    found = (-most <= steps) & (steps <= -least) & (wander <= _STEADY * -steps) & is_sudden & ~near_care
    for run in _runs(np.flatnonzero(found)):
        place = int(run[::-1][np.argmin(steps[run[::-1]])])
        at_ms = look.now_ms - (len(mean) - place - _SIDE_MIN) * MINUTE_MS
        yield Weighed(PULLED, at_ms, at_ms + MINUTE_MS, float(steps[place]))


def _ended(run: Places, length: int) -> bool:
    """Return whether enough was seen after some minutes to know that they are over."""
    return bool(run[-1] + _SIDE_MIN < length)


def _runs(places: Places) -> list[Places]:
    """Return places in runs that follow on each other."""
    return [run for run in np.split(places, np.flatnonzero(np.diff(places) > 1) + 1) if len(run)]
