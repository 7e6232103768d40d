"""A seeded week on eight trays, and the bands it is judged by: what most figures are measured on.

Five sensors a tray, a reading each ten seconds, with what real ones bring along: drift, noise, steps
of their resolution, single readings lost and hours of silence. On half of the trays the sensors share
one instant, as in a pack; on the other half each has its own.
"""

from datetime import UTC, datetime
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from wardian.rules.crops import Band, Limit, Stage, StageSpan
from wardian.rules.plans import LampRule, TrayPlan
from wardian.rules.readings import Chunk, Points, Series, Times, Values

SEED: Final = 20_260_302
START_MS: Final = 1_772_409_600_000  # 2026-03-02T00:00:00Z
EVERY_MS: Final = 10_000
DAY_MS: Final = 86_400_000
HOLD_MS: Final = 300_000
SILENT_AFTER_MS: Final = 600_000
LIT_ABOVE_LX: Final = 1000.0
LIT_DEADBAND_LX: Final = 100.0
TRAYS: Final = tuple(f"tray-{letter}" for letter in "abcdefgh")
STAGE: Final = "callusing"


class Written(NamedTuple):
    """A band as a person writes it, in the quantity's own unit and minutes."""

    limits: dict[str, float]
    deadband: float
    on_delay_min: int
    off_delay_min: int


BANDS: Final = {
    "air_temperature": Written({"low": 23.9, "high": 26.7}, 0.5, 10, 5),
    "relative_humidity": Written({"low_low": 80.0, "low": 88.0}, 2.0, 10, 5),
    "medium_temperature": Written({"low": 22.0, "high": 26.5}, 0.5, 20, 10),
    "medium_moisture": Written({"low": 60.0, "high": 92.0}, 1.5, 30, 15),
    "illuminance": Written({"high": 10_500.0}, 500.0, 5, 5),
    "vapour_pressure_deficit": Written({"high": 0.4}, 0.05, 10, 5),
    "light_hours": Written({"low": 17.0, "high": 19.0}, 0.25, 0, 0),
}
MEASURED: Final = tuple(name for name in BANDS if name not in {"vapour_pressure_deficit", "light_hours"})

#: Mean, height of the daily wave, spread of the slow drift, noise and resolution, each in its own unit.
_SHAPES: Final = {
    "air_temperature": (25.3, 0.6, 0.9, 0.08, 0.01),
    "relative_humidity": (93.0, 1.5, 3.5, 0.4, 0.1),
    "medium_temperature": (24.2, 0.4, 1.1, 0.03, 0.01),
    "medium_moisture": (76.0, 3.0, 9.0, 0.3, 0.1),
    "illuminance": (9000.0, 0.0, 800.0, 120.0, 10.0),
}
_KNOT_MS: Final = 2_400_000


def limit_of(written: Written, name: str) -> Limit:
    """Return one limit with the value at which it clears, rounded once."""
    threshold = written.limits[name]
    sign = -1 if name.startswith("high") else 1
    clear = round(threshold + sign * written.deadband, 9)
    return Limit(name, threshold, clear, written.on_delay_min * 60_000, written.off_delay_min * 60_000)


def plans() -> tuple[TrayPlan, ...]:
    """Return every tray with the same bands, in one stage that began before the first reading."""
    bands = {
        quantity: Band(quantity, tuple(limit_of(written, name) for name in written.limits))
        for quantity, written in BANDS.items()
    }
    span = StageSpan(START_MS - DAY_MS, Stage(STAGE, 0, bands))
    lamp = LampRule("illuminance", LIT_ABOVE_LX, LIT_ABOVE_LX - LIT_DEADBAND_LX)
    return tuple(
        TrayPlan(tray, (span,), HOLD_MS, lamp, dict.fromkeys(MEASURED, SILENT_AFTER_MS)) for tray in TRAYS
    )


def week(days: float = 7) -> Chunk:
    """Return the readings, the same at every call, each series in the order of time."""
    chance = np.random.default_rng(SEED)
    chunk: Chunk = {}
    for place, tray in enumerate(TRAYS):
        for number, quantity in enumerate(MEASURED):
            times = START_MS + EVERY_MS * np.arange(round(days * DAY_MS / EVERY_MS))
            if place % 2:
                times = times + 1_700 * number + chance.integers(0, 300, len(times))
            values = _values(quantity, times, chance)
            if quantity == "illuminance":
                values = np.where(_is_lit(times, place), values, np.abs(values) % 7)
            kept = _heard(times, chance)
            chunk[Series(tray, quantity)] = Points(times[kept], values[kept])
    return chunk


def count(chunk: Chunk) -> int:
    """Return how many readings there are."""
    return sum(len(points.times_ms) for points in chunk.values())


def _values(quantity: str, times: Times, chance: np.random.Generator) -> Values:
    mean, wave, spread, noise, resolution = _SHAPES[quantity]
    knots = np.arange(times[0] - _KNOT_MS, times[-1] + 2 * _KNOT_MS, _KNOT_MS)
    drift = np.interp(times, knots, chance.normal(0.0, spread, len(knots)))
    daily = wave * np.sin(2 * np.pi * (times % DAY_MS) / DAY_MS)
    exact = mean + daily + drift + chance.normal(0.0, noise, len(times))
    highest = 104.0 if quantity == "relative_humidity" else np.inf
    steps = np.round(np.clip(exact, 0.0, highest) / resolution)
    return np.round(steps * resolution, 2)


def _is_lit(times: Times, place: int) -> NDArray[np.bool_]:
    """Lamps burn 18 h a day; one fails for a day, another burns for 20 h."""
    hour = (times % DAY_MS) / 3_600_000
    lit = (hour >= 4) & (hour < (24 if place == 5 else 22))
    if place == 2:
        lit &= (times < START_MS + 3 * DAY_MS) | (times >= START_MS + 4 * DAY_MS)
    return lit


def _heard(times: Times, chance: np.random.Generator) -> NDArray[np.bool_]:
    heard = chance.random(len(times)) > 0.001
    for _ in range(3):
        begin_ms = times[0] + chance.integers(0, times[-1] - times[0])
        heard &= (times < begin_ms) | (times >= begin_ms + chance.integers(60_000, 5_400_000))
    return heard


def configuration() -> str:
    """Return the same bands as a configuration, every number written out."""
    return "\n".join(
        (
            "site: {name: Benchmark, timezone: UTC, units: SI}",
            'store: {url: "sqlite:///benchmark.db"}',
            f"light: {{lit_above: {LIT_ABOVE_LX} lx, lit_deadband: {LIT_DEADBAND_LX} lx}}",
            f"readings: {{hold: {HOLD_MS} ms}}",
            f"sensors: [{{name: file, kind: csv, file: week.csv, expect: [{', '.join(_expected())}]}}]",
            "trays:",
            *(f"  - {{name: {tray}, crop: cutting, stuck: {_stuck()}}}" for tray in TRAYS),
            "crops:",
            "  cutting:",
            "    stages:",
            f"      - name: {STAGE}",
            "        from_day: 0",
            "        bands:",
            *(f"          {quantity}: {_band(written)}" for quantity, written in BANDS.items()),
            "",
        )
    )


def _expected() -> list[str]:
    return [f"{{tray: {tray}, quantity: {quantity}}}" for tray in TRAYS for quantity in MEASURED]


def _band(written: Written) -> str:
    limits = ", ".join(f"{name}: {value}" for name, value in written.limits.items())
    delays = f"on_delay: {written.on_delay_min} min, off_delay: {written.off_delay_min} min"
    return f"{{{limits}, deadband: {written.deadband}, {delays}}}"


def _stuck() -> str:
    return datetime.fromtimestamp((START_MS - DAY_MS) / 1000, UTC).date().isoformat()
