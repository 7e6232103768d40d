"""The last day of a tray in figures: what its sensors read in each hour, lowest to highest."""

from collections.abc import Sequence
from typing import Final, NamedTuple

from wardian.daemon.tongue import Tongue
from wardian.rules.quantities import QUANTITIES
from wardian.rules.readings import Chunk, Points, Values

HOUR_MS: Final = 3_600_000
HOURS: Final = 24
_UNKNOWN: Final = "unknown"


class DayTable(NamedTuple):
    """A row for each hour that anything was read in or between."""

    headings: Sequence[str]
    rows: Sequence[Sequence[str]]


def day_table(tongue: Tongue, chunk: Chunk, tray: str, now_ms: int) -> DayTable:
    """Return the hours up to the present one, the newest first; an hour without readings is unknown."""
    own = {series.quantity: points for series, points in chunk.items() if series.tray == tray}
    names = [name for name in QUANTITIES if name in own]
    first_ms = now_ms - now_ms % HOUR_MS - (HOURS - 1) * HOUR_MS
    columns = [_hours(tongue, name, own[name], first_ms) for name in names]
    if not columns:
        return DayTable((), ())
    times = [tongue.moment(first_ms + hour * HOUR_MS) for hour in range(HOURS)]
    headings = ["From", *(QUANTITIES[name].words.capitalize() for name in names)]
    return DayTable(headings, list(zip(times, *columns, strict=True))[::-1])


def _hours(tongue: Tongue, name: str, points: Points, first_ms: int) -> list[str]:
    hours = (points.times_ms - first_ms) // HOUR_MS
    return [_span(tongue, name, points.values[hours == hour]) for hour in range(HOURS)]


def _span(tongue: Tongue, name: str, values: Values) -> str:
    if not values.size:
        return _UNKNOWN
    low, high = (tongue.value(QUANTITIES[name], float(one)) for one in (values.min(), values.max()))
    return high if low == high else f"{low.partition(' ')[0]} to {high}"
