"""How much water the medium had, minute by minute, as far as a balance or a moisture probe tells.

The rule of this file: what a lifted cover weighs is no water, and what a hot mat or an open cover dried out is not laid
to the watering can.
"""

from typing import Final, NamedTuple

import numpy as np

from wardian.rules.postmortem.ground import MASS, Flags, Ground, runs
from wardian.rules.readings import Values

#: Without a weighing a tray is taken for as heavy as it was an hour or so after sticking, when it was watered in, and
#: dry for this share of that. The worked example of a filled tray: 1200 g of 3000 g (from memory).
_DRY_SHARE: Final = 0.4
_WATERED_IN: Final = 12 * 60
#: A cover that was put back lies still after so many minutes.
_SETTLES: Final = 10


class Water(NamedTuple):
    """The share of the held water that was lost [0 to 1], minute by minute, and whether its ends were reckoned."""

    lost: Values
    is_estimated: bool


def resting_mass_g(ground: Ground) -> Values:
    """Return what the tray weighed with its cover on; what stood before while it was off."""
    mass = ground.mean(MASS).copy()
    for first, last in runs(ground.seen.cover_off):
        mass[first : last + _SETTLES] = np.nan
    known = np.maximum.accumulate(np.where(np.isnan(mass), -1, np.arange(len(mass))))
    return np.where((known >= 0) & ~np.isnan(ground.mean(MASS)), mass[known], np.nan)


def water(ground: Ground, elsewhere: Flags | None = None) -> Water | None:
    """Return the share of the held water that was lost; None where nothing tells.

    Args:
        ground: What was seen.
        elsewhere: Minutes whose loss is not counted, because something else than the watering is behind it.
    """
    moisture = ground.mean("medium_moisture")
    if not np.isnan(moisture).all():
        return Water(1 - moisture / 100, is_estimated=False)
    mass = resting_mass_g(ground)
    if np.isnan(mass).all():
        return None
    if elsewhere is not None:
        mass = mass + _lost_within(mass, elsewhere)
    full, dry = _ends(ground, mass)
    is_estimated = not ground.case.plan.masses or any(one.is_estimated for one in ground.case.plan.masses)
    return Water((full - mass) / (full - dry), is_estimated)


def _ends(ground: Ground, mass: Values) -> tuple[Values, Values]:
    """Return what the tray weighs full and dry, minute by minute [g]."""
    weighed = ground.case.plan.masses
    if not weighed:
        full_g = float(np.nanmax(mass[:_WATERED_IN])) if not np.isnan(mass[:_WATERED_IN]).all() else np.nan
        return np.full_like(mass, full_g), np.full_like(mass, _DRY_SHARE * full_g)
    begins = np.array([one.from_ms for one in weighed])
    place = np.maximum(begins.searchsorted(ground.times_ms, side="right") - 1, 0)
    full = np.array([one.saturated_g for one in weighed])[place]
    return full, np.array([one.dry_g for one in weighed])[place]


def _lost_within(mass: Values, elsewhere: Flags) -> Values:
    """Return, for each minute, how much was lost before it in the minutes that are not counted [g]."""
    lost = np.zeros_like(mass)
    for first, last in runs(elsewhere):
        ends = mass[max(first - 1, 0)], mass[min(last + _SETTLES, len(mass) - 1)]
        loss = ends[0] - ends[1]
        if loss > 0:
            lost[last:] += loss
            lost[first:last] += np.linspace(0, loss, last - first)
    return lost
