"""Water in a tray by weight: how much of what it holds is gone, and how fast it goes.

The rule of this file: a tray is compared with itself alone, weighed full and weighed dry with the same things on it.
"""

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from wardian.rules.plans import Masses
from wardian.rules.readings import Times, Values

#: For each minute, whether it tells of nothing but drying: covered, and no care in it or shortly before.
Quiet = NDArray[np.bool_]

#: The share of the water held that plants can take up. Published by a university's training pages for growers
#: about weighing pots: the mean over 38 commercial substrates.
AVAILABLE_SHARE: Final = 0.89

#: Minutes over which drying is taken together, and those at either end that stand for it.
_BLOCK_MIN: Final = 120
_END_MIN: Final = 20
#: Fewer blocks tell nothing.
_LEAST_BLOCKS: Final = 3
#: Of the blocks, the slowest and the fastest that are left out of the mean, each. Chosen.
_TRIMMED: Final = 0.1


class Rate(NamedTuple):
    """How fast something goes in an hour, and in its slower and its faster quarter of the time.

    ``hours``: how much time without care it was seen in.
    """

    per_h: float
    slow_per_h: float
    fast_per_h: float
    hours: float


class HoursLeft(NamedTuple):
    """In how many hours something is gone: at the soonest, as it goes, and at the latest; None: not at all."""

    soonest: float | None
    likely: float | None
    latest: float | None


def fraction_lost(mass_g: float, saturated_g: float, dry_g: float) -> float:
    """Return the share of the water held that is gone: 0 when full, 1 when dry.

    Args:
        mass_g: What the tray weighs now. [g]
        saturated_g: What it weighs watered through and drained for an hour, more than dry. [g]
        dry_g: What the same tray weighs with its medium dry. [g]

    Returns:
        f = (Ws - W) / (Ws - Wd). Below 0 while it is heavier than full. [1]

    Shape:
        Scalars only.

    Source:
        Common practice, no source: growers weigh a tray full and water it when a third to a half of the water is
        gone.

    Example:
        >>> round(fraction_lost(2400.0, 3000.0, 1200.0), 4)
        0.3333
    """
    return (saturated_g - mass_g) / (saturated_g - dry_g)


def mass_at(fraction: float, saturated_g: float, dry_g: float) -> float:
    """Return what a tray weighs that has lost a share of its water: the inverse of ``fraction_lost`` [g]."""
    return saturated_g - fraction * (saturated_g - dry_g)


def available_g(saturated_g: float, dry_g: float) -> float:
    """Return how much of the water held plants can take up; source at ``AVAILABLE_SHARE`` [g]."""
    return AVAILABLE_SHARE * (saturated_g - dry_g)


def masses_at(masses: Sequence[Masses], time_ms: int) -> Masses | None:
    """Return what holds at an instant, or None before anybody weighed."""
    return next((one for one in reversed(masses) if one.from_ms <= time_ms), None)


def is_estimated(quantity: str, masses: Sequence[Masses], time_ms: int) -> bool:
    """Return whether a value of a quantity at an instant hangs on a dry mass that nobody weighed."""
    held = masses_at(masses, time_ms) if quantity == "water_lost" else None
    return held is not None and held.is_estimated


def lost_pct(mass_g: float, masses: Masses) -> float:
    """Return the share of the water held that is gone [%]."""
    return 100 * fraction_lost(mass_g, masses.saturated_g, masses.dry_g)


def lost_pct_array(times_ms: Times, mass_g: Values, masses: Sequence[Masses]) -> Values:
    """Return ``lost_pct`` of each mass by what held at its time; not a number before anybody weighed."""
    from_ms = np.array([one.from_ms for one in masses], np.int64)
    saturated_g = np.array([np.nan, *(one.saturated_g for one in masses)])
    dry_g = np.array([np.nan, *(one.dry_g for one in masses)])
    place = from_ms.searchsorted(times_ms, side="right")
    lost: Values = 100 * ((saturated_g[place] - mass_g) / (saturated_g[place] - dry_g[place]))
    return lost


def evaporation_g_per_h(mass_g: Values, quiet: Quiet) -> Rate | None:
    """Return how fast a covered tray loses water, or None where too little was seen.

    Args:
        mass_g: The mean mass of each minute, oldest first, not a number where it is unknown. [g]
        quiet: Whether each minute tells of nothing but drying.

    Returns:
        The mean over stretches of two hours without care, the slowest and the fastest tenth left out [g/h].

    Shape:
        One value a minute in both.
    """
    return _loss_per_h(mass_g, quiet)


def drying_pct_per_h(moisture_pct: Values, quiet: Quiet) -> Rate | None:
    """Return the same of a medium whose moisture is read, in % of the water held at saturation [%/h]."""
    return _loss_per_h(moisture_pct, quiet)


def hours_left(still: float, rate: Rate) -> HoursLeft:
    """Return in how many hours what there is yet is gone; it and the rate are of one unit."""
    speeds = (rate.fast_per_h, rate.per_h, rate.slow_per_h)
    return HoursLeft(*(max(still, 0.0) / per_h if per_h > 0 else None for per_h in speeds))


def _loss_per_h(level: Values, quiet: Quiet) -> Rate | None:
    blocks = _quiet_blocks(level, quiet)
    if len(blocks) < _LEAST_BLOCKS:
        return None
    ends = np.median(blocks[:, :_END_MIN], axis=1) - np.median(blocks[:, -_END_MIN:], axis=1)
    per_h = np.sort(ends * 60 / (_BLOCK_MIN - _END_MIN))
    out = int(len(per_h) * _TRIMMED)
    slow, fast = np.quantile(per_h, (0.25, 0.75))
    kept = per_h[out : len(per_h) - out]
    return Rate(float(kept.mean()), float(slow), float(fast), len(blocks) * _BLOCK_MIN / 60)


def _quiet_blocks(level: Values, quiet: Quiet) -> Values:
    """Return stretches of two hours that are known and quiet throughout, one a row; none overlap."""
    usable = np.flatnonzero(quiet & np.isfinite(level))
    runs = np.split(usable, np.flatnonzero(np.diff(usable) != 1) + 1)
    rows = [run[: len(run) // _BLOCK_MIN * _BLOCK_MIN].reshape(-1, _BLOCK_MIN) for run in runs]
    return level[np.concatenate(rows)] if rows else np.empty((0, _BLOCK_MIN))
