"""Bands as written become bands as judged: exact to the last step, and checked against each other.

The rule of this file: a threshold and the value at which it clears are computed as fractions from
what was written, and each is rounded once.
"""

from fractions import Fraction
from itertools import pairwise
from typing import Final

from wardian.daemon.config_models import BandKeys
from wardian.daemon.library import Default
from wardian.daemon.written import Written
from wardian.rules.crops import LIMITS, Band, Limit
from wardian.rules.documents import Path, shown
from wardian.rules.quantities import SATURATION_PCT, Quantity

#: From the lowest to the highest.
RISING: Final = ("low_low", "low", "high", "high_high")
#: What a derived quantity can be at all, where that is narrower than every number. [own unit]
_DERIVED_RANGE: Final = {
    "vapour_pressure_deficit": (0.0, 50.0),
    "leaf_vapour_pressure_deficit": (-50.0, 50.0),
    "dew_point": (-100.0, 80.0),
    "light_hours": (0.0, 24.0),
    "daily_light_integral": (0.0, 260.0),
    "water_lost": (-100.0, 100.0),
}
#: Beyond these most cuttings are lost, whatever the crop: a limit out there tells of it when it is over. From
#: memory; by dimension or quantity, in its own unit.
_LOST_BELOW: Final = {"temperature": 0.0, "relative_humidity": 30.0, "medium_moisture": 10.0}
_LOST_ABOVE: Final = {"temperature": 40.0, "vapour_pressure_deficit": 3.0, "water_lost": 90.0}
#: A limit that waits longer tells of a day nobody can mend.
_LONGEST_WAIT_MS: Final = 24 * 3_600_000


def read_band(written: Written, path: Path, quantity: Quantity, default: Default) -> Band | None:
    """Return the band at a path, or None where it is wrong; every mistake in it is noted."""
    units = {"dimension": quantity.dimension, "difference": quantity.difference}
    keys = written.read(BandKeys, path, units)
    if keys is None or not _rises(written, path, keys):
        return None
    band = band_of(quantity, keys, default)
    doubt_band(written, path, quantity, band)
    return band


def band_of(quantity: Quantity, keys: BandKeys, default: Default) -> Band:
    """Return the band that some keys say, with defaults filled in and every number rounded once."""
    limits = tuple(
        _limit(keys, name, threshold, default)
        for name in LIMITS
        if (threshold := getattr(keys, name)) is not None
    )
    return Band(quantity.name, limits)


def possible_range(quantity: Quantity) -> tuple[float, float]:
    """Return what a quantity can be at all, as it is judged, in its own unit."""
    if quantity.name == "relative_humidity":
        return quantity.possible_low, SATURATION_PCT
    return _DERIVED_RANGE.get(quantity.name, (quantity.possible_low, quantity.possible_high))


def _rises(written: Written, path: Path, keys: BandKeys) -> bool:
    present = [name for name in RISING if getattr(keys, name) is not None]
    if not present:
        written.mistake(path, "has no limit", "one of low, high, low_low and high_high is needed")
    wrong = [pair for pair in pairwise(present) if getattr(keys, pair[0]) > getattr(keys, pair[1])]
    for lower, upper in wrong:
        lower_text, upper_text = (shown(written.at((*path, name))) for name in (lower, upper))
        written.mistake(
            (*path, upper),
            f"{upper_text} is below {lower}, which is {lower_text}",
            f"limits must rise: {', '.join(RISING)}",
        )
    return bool(present) and not wrong


def _limit(keys: BandKeys, name: str, threshold: Fraction, default: Default) -> Limit:
    deadband = default.deadband_of(threshold) if keys.deadband is None else keys.deadband
    clear = threshold - deadband if name.startswith("high") else threshold + deadband
    on_delay_ms = default.on_delay_ms if keys.on_delay is None else int(keys.on_delay)
    off_delay_ms = default.off_delay_ms if keys.off_delay is None else int(keys.off_delay)
    return Limit(name, float(threshold), float(clear), on_delay_ms, off_delay_ms)


def doubt_band(written: Written, path: Path, quantity: Quantity, band: Band) -> None:
    """Note what is hardly meant in a band that can be used."""
    lowest, highest = possible_range(quantity)
    span = f"{quantity.name} is never outside {lowest:g} to {highest:g} {quantity.unit}"
    for name, threshold, clear, _, _ in band.limits:
        if name.startswith("high"):
            never, always, stuck = threshold >= highest, threshold < lowest, clear < lowest
        else:
            never, always, stuck = threshold <= lowest, threshold > highest, clear > highest
        if never:
            written.warn((*path, name), "can never alarm", span)
        elif always:
            written.warn((*path, name), "always alarms", span)
        elif stuck:
            written.warn((*path, name), "can never return to normal with this deadband", span)
    _warn_about_width(written, path, band)
    _warn_about_loss(written, path, quantity, band)


def _warn_about_loss(written: Written, path: Path, quantity: Quantity, band: Band) -> None:
    """Note limits that are passed when it is too late, unless one of the same side comes before them."""
    lost_below, lost_above = (
        lost.get(quantity.name, lost.get(quantity.dimension) if not quantity.derived else None)
        for lost in (_LOST_BELOW, _LOST_ABOVE)
    )
    lows = {limit.threshold: limit.name for limit in band.limits if limit.name.startswith("low")}
    highs = {limit.threshold: limit.name for limit in band.limits if limit.name.startswith("high")}
    late = []
    lowest, highest = possible_range(quantity)
    if lost_below is not None and lows and lowest < max(lows) <= lost_below:
        late.append((lows[max(lows)], f"below {lost_below:g} {quantity.unit}"))
    if lost_above is not None and highs and lost_above <= min(highs) < highest:
        late.append((highs[min(highs)], f"above {lost_above:g} {quantity.unit}"))
    for name, where in late:
        written.warn((*path, name), "alarms when it is too late", f"most cuttings are lost {where}")
    if any(limit.on_delay_ms > _LONGEST_WAIT_MS for limit in band.limits):
        written.warn((*path, "on_delay"), "waits longer than a day: by then nobody can mend it")


def _warn_about_width(written: Written, path: Path, band: Band) -> None:
    by_name = {limit.name: limit for limit in band.limits}
    low = by_name.get("low") or by_name.get("low_low")
    high = by_name.get("high") or by_name.get("high_high")
    if low and high and (high.clear < low.threshold or low.clear > high.threshold):
        written.warn(
            (*path, "deadband"),
            "is wider than the band: what leaves it on one side returns only beyond the other",
            "a deadband well below high minus low is accepted",
        )
