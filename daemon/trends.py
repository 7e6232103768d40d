"""The last day of each quantity as a short line of a terminal: a sign an hour.

The rule of this file: one reading beyond the band shows in the sign of its hour.
"""

import math
from collections.abc import Iterable, Mapping
from typing import Final

from wardian.daemon.config import TraySettings
from wardian.daemon.picture import Curve
from wardian.daemon.picture_data import Told, picture_of
from wardian.daemon.tongue import Tongue
from wardian.rules.crops import Band
from wardian.rules.quantities import QUANTITIES
from wardian.rules.readings import Chunk

DAY_MS: Final = 86_400_000
HOURS: Final = 24
_STEPS: Final = "▁▂▃▄▅▆▇█"
_ABOVE: Final = "▲"
_BELOW: Final = "▼"
_BOTH: Final = "◆"
_UNKNOWN: Final = "·"
#: What the signs mean.
KEY: Final = (
    f"the last {HOURS} h: {_ABOVE} above the band, {_BELOW} below it, {_BOTH} both, {_UNKNOWN} unknown"
)
#: In steps of the digit in which people read it, the least that a line rises from its foot to its head.
_LEAST_STEPS: Final = 10

#: By quantity, its line.
Trends = Mapping[str, str]


def trends(trays: Iterable[TraySettings], chunk: Chunk, now_ms: int, tongue: Tongue) -> dict[str, Trends]:
    """Return, by tray, the lines of what was read of it in the last day."""
    span = (now_ms - DAY_MS, now_ms)
    told = Told(chunk, (), {})
    pictures = {tray.name: picture_of(tray, told, span, tongue, count=HOURS) for tray in trays}
    return {
        name: {curve.quantity: trend(curve, span[0]) for panel in picture.panels for curve in panel.curves}
        for name, picture in pictures.items()
    }


def trend(curve: Curve, from_ms: int) -> str:
    """Return a curve of a day, a column an hour, as one line."""
    pairs = list(zip(curve.columns.low.tolist(), curve.columns.high.tolist(), strict=True))
    known = [(low + high) / 2 for low, high in pairs if not math.isnan(low)]
    foot, head = min(known, default=0.0), max(known, default=0.0)
    least = _LEAST_STEPS * 10.0 ** -QUANTITIES[curve.quantity].decimals
    if head - foot < least:
        foot, head = (foot + head - least) / 2, (foot + head + least) / 2
    return "".join(
        _sign(pair, _band(curve, from_ms + hour * DAY_MS // HOURS), (foot, head))
        for hour, pair in enumerate(pairs)
    )


def _band(curve: Curve, hour_ms: int) -> Band | None:
    """Return the band at the end of an hour."""
    end_ms = hour_ms + DAY_MS // HOURS - 1
    return next((band for from_ms, to_ms, band in curve.bands if from_ms <= end_ms < to_ms), None)


def _sign(pair: tuple[float, float], band: Band | None, ends: tuple[float, float]) -> str:
    low, high = pair
    if math.isnan(low):
        return _UNKNOWN
    least, most = (band.threshold(name) if band else None for name in ("low", "high"))
    is_below, is_above = least is not None and low < least, most is not None and high > most
    if is_below or is_above:
        return _BOTH if is_below and is_above else _ABOVE if is_above else _BELOW
    foot, head = ends
    place = ((low + high) / 2 - foot) / (head - foot) * (len(_STEPS) - 1)
    return _STEPS[round(place)]
