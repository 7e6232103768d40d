"""A tray by hand for pictures: a day of readings every minute, with what a test changes in them."""

from collections.abc import Sequence
from datetime import date
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np
from base_config import BASE, built

from wardian.daemon.config import TraySettings
from wardian.daemon.picture import Mark, Picture
from wardian.daemon.picture_data import Told, picture_of
from wardian.daemon.tongue import Tongue, utc_text
from wardian.rules.crops import day_start_ms
from wardian.rules.readings import Chunk, Points, Series

MINUTE_MS: Final = 60_000
DAY_MS: Final = 86_400_000
ZONE: Final = ZoneInfo("Europe/Lisbon")
START_MS: Final = day_start_ms(date(2026, 3, 3), ZONE)
SPAN: Final = (START_MS, START_MS + DAY_MS)
LIT_MINUTES: Final = 1080
LEVELS: Final = {
    "air_temperature": 25.0,
    "medium_temperature": 24.0,
    "relative_humidity": 95.0,
    "illuminance": 5000.0,
}


TRAY: Final[TraySettings] = built(BASE).trays[0]


def day(**levels: float) -> Chunk:
    """A day of readings every minute, each quantity at its level; the lamp burns for its first 18 hours."""
    times = np.arange(START_MS, START_MS + DAY_MS, MINUTE_MS, dtype=np.int64)
    every = {**LEVELS, **levels}
    chunk = {
        Series("tray-a", name): Points(times, np.full(len(times), level)) for name, level in every.items()
    }
    chunk[Series("tray-a", "illuminance")].values[LIT_MINUTES:] = 0.0
    return chunk


def with_value(chunk: Chunk, quantity: str, minute: int, value: float) -> Chunk:
    """The same readings but for one."""
    times, values = chunk[Series("tray-a", quantity)]
    values = values.copy()
    values[minute] = value
    return {**chunk, Series("tray-a", quantity): Points(times, values)}


def without_minutes(chunk: Chunk, quantity: str, first: int, last: int) -> Chunk:
    """The same readings without those of a stretch of minutes."""
    times, values = chunk[Series("tray-a", quantity)]
    kept = np.ones(len(times), dtype=np.bool_)
    kept[first:last] = False
    return {**chunk, Series("tray-a", quantity): Points(times[kept], values[kept])}


def entry(minute: int, event: str, **changes: Any) -> dict[str, Any]:
    """An entry of the journal about an alarm of the air's temperature."""
    return {
        "time": utc_text(START_MS + minute * MINUTE_MS),
        "tray": "tray-a",
        "quantity": "air_temperature",
        "limit": "high",
        "condition": "high",
        "alarm": "air-too-warm",
        "priority": "medium",
        "event": event,
        **changes,
    }


def mark(minute: int, event: str = "misted", words: str = "Misted", *, is_recorded: bool = True) -> Mark:
    return Mark(START_MS + minute * MINUTE_MS, event, words, is_recorded)


def pictured(
    chunk: Chunk,
    entries: Sequence[dict[str, Any]] = (),
    marks: tuple[Mark, ...] = (),
    *,
    tray: TraySettings = TRAY,
    fahrenheit: bool = False,
) -> Picture:
    """The picture of the day."""
    told = Told(chunk, entries, {"tray-a": marks})
    return picture_of(tray, told, SPAN, Tongue(ZONE, fahrenheit), count=480)
