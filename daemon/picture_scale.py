"""Where things stand in a picture: values in the units of the site, hours after its beginning, and ticks by local time."""

from collections.abc import Iterator
from datetime import datetime, tzinfo
from typing import Final, NamedTuple

import numpy as np

from wardian.daemon.picture import Curve, Panel, Picture
from wardian.daemon.tongue import Tongue
from wardian.rules.crops import LIMITS, wall_time
from wardian.rules.light_days import day_around_ms
from wardian.rules.quantities import QUANTITIES
from wardian.rules.readings import Values
from wardian.rules.shares import Span

_MS_PER_HOUR: Final = 3_600_000
_QUARTER_MS: Final = 900_000
#: Widest picture in hours → hours between ticks; what is longer has ticks at midnight alone.
_STEPS: Final = ((7, 1), (30, 3), (100, 6))
#: Above it an axis of humidity goes up to saturation. [%]
_NEARLY_SATURATED_PCT: Final = 88
#: So much room a label of a day takes. [px]
_DAY_PX: Final = 62


class Tick(NamedTuple):
    """A mark of the time axis; ``words`` is empty where there is no room for any."""

    time_ms: int
    words: str
    is_midnight: bool


def shown(tongue: Tongue, quantity: str, values: Values) -> Values:
    """Return values in the unit that people here use."""
    if tongue.fahrenheit and QUANTITIES[quantity].dimension == "temperature":
        return np.asarray(values * 9 / 5 + 32, dtype=np.float64)
    return values


def shown_one(tongue: Tongue, quantity: str, value: float) -> float:
    """Return one value in the unit that people here use."""
    return float(shown(tongue, quantity, np.array([value]))[0])


def unit_of(tongue: Tongue, quantity: str) -> str:
    """Return the unit in which people here read a quantity."""
    return tongue.value(QUANTITIES[quantity], 0.0).partition(" ")[2]


def reach(tongue: Tongue, panel: Panel) -> tuple[float, float]:
    """Return the least and the most that an axis must show: every curve with its doubt, and every inner limit."""
    every = [
        value
        for curve in panel.curves
        for value in (*_ends(tongue, curve), *_limits(tongue, curve))
        if np.isfinite(value)
    ]
    low, high = min(every, default=0.0), max(every, default=1.0)
    pad = max(high - low, _least(panel)) * 0.08
    low, high = low - pad, high + pad
    if panel.name == "deficit":
        low = max(low, 0.0)
    if panel.name == "humidity" and high > _NEARLY_SATURATED_PCT:
        high = 101.0
    return low, high


def _least(panel: Panel) -> float:
    """Return the shortest axis worth drawing, so that noise does not fill it."""
    return 0.1 if panel.name == "deficit" else 2.0


def _ends(tongue: Tongue, curve: Curve) -> Iterator[float]:
    for low, high in (curve.columns, *([curve.doubt] if curve.doubt else [])):
        if not np.isnan(low).all():
            yield from shown(tongue, curve.quantity, np.array([np.nanmin(low), np.nanmax(high)])).tolist()


def _limits(tongue: Tongue, curve: Curve) -> Iterator[float]:
    for one in curve.bands:
        for name in LIMITS[::2]:
            threshold = one.band.threshold(name)
            if threshold is not None:
                yield shown_one(tongue, curve.quantity, threshold)


def last_words(picture: Picture, curve: Curve) -> str:
    """Return the value with which a curve ends, or that it is unknown there."""
    high = curve.columns.high
    if np.isnan(high[-1]):
        return "unknown"
    return picture.tongue.value(QUANTITIES[curve.quantity], float(high[-1]))


# ----------------------------------------------------------------------------------------------- time


def ticks(span: Span, zone: tzinfo, width_px: float) -> list[Tick]:
    """Return the marks of a time axis: each midnight, and full hours between where there is room."""
    found = [*_midnights(span, zone, width_px), *_hours(span, zone)]
    return sorted(found)


def _midnights(span: Span, zone: tzinfo, width_px: float) -> Iterator[Tick]:
    days = max((span[1] - span[0]) / (24 * _MS_PER_HOUR), 1e-9)
    every = int(-(-_DAY_PX // (width_px / days))) if width_px / days < _DAY_PX else 1
    number, at_ms = 0, day_around_ms(span[0] - 1, zone)[1]
    while at_ms < span[1]:
        day = _local(at_ms, zone)
        yield Tick(at_ms, f"{day:%a} {day.day} {day:%b}" if number % every == 0 else "", True)
        number, at_ms = number + 1, day_around_ms(at_ms, zone)[1]


def _hours(span: Span, zone: tzinfo) -> Iterator[Tick]:
    hours = (span[1] - span[0]) / _MS_PER_HOUR
    step = next((step for longest, step in _STEPS if hours <= longest), None)
    if step is None:
        return
    at_ms = -(-span[0] // _QUARTER_MS) * _QUARTER_MS
    while at_ms < span[1]:
        local = _local(at_ms, zone)
        if local.minute == 0 and local.hour % step == 0 and local.hour:
            yield Tick(at_ms, f"{local:%H:%M}" if hours <= _STEPS[1][0] else f"{local:%H}", False)
        at_ms += _QUARTER_MS


def _local(time_ms: int, zone: tzinfo) -> datetime:
    return wall_time(time_ms, zone)
