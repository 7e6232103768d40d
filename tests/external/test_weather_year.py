"""A year of real weather through ``wardian replay``: every hour beyond a limit, the light of every day.

Numbers: a TMY3 year of Greensboro as packed in pvlib, 8,760 hours, put on the calendar of 2026 and fed
as one reading an hour that stands for an hour. What the journal must say is worked out here with
pandas; the yardsticks in ``greensboro_year.json`` were made apart. Light becomes PPFD by 54 lx per
µmol m⁻² s⁻¹ of daylight (from memory); one dark reading more closes the last day.

Tolerances: none on instants, hours and days. Limits are such that no derived value lies within 1e-9 of
one. Percentiles: 0.5 % of the hours, for values repeat. Sums of light 1e-9. MetPy's saturation pressure
is within 0.35 % of ours, so hours may change sides only that near to a limit: 0.3 % of all at most.
Recorded dew points are in whole tenths beside humidity in whole per cent, and 1.7 % of the hours are
more than 1 °C apart: so many may be on the other side.
"""

import json
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
import pytest
from metpy.calc import saturation_vapor_pressure
from metpy.units import units
from real_weather import HOUR_MS, changes, greensboro, spans
from replays import replayed

from wardian.adapters.reading_file import write_rows
from wardian.daemon import wiring
from wardian.rules.engine import Engine
from wardian.rules.readings import Chunk, Reading, chunk_of
from wardian.rules.tray_engine import Present

CONFIG = """\
site: {name: A roof in Greensboro, timezone: Etc/GMT+5, units: SI}
store: {url: "memory:"}
trays: [{name: roof, crop: weather, stuck: 2026-01-01}]
crops:
  weather:
    stages:
      - name: all year
        from_day: 0
        bands:
          air_temperature: {low: 20 °C, high: 25 °C, deadband: 0, on_delay: 0, off_delay: 0}
          relative_humidity: {low: 90 %, deadband: 0, on_delay: 0, off_delay: 0}
          vapour_pressure_deficit: {low_low: 0.0234, low: 0.3873, high: 1.2, high_high: 1.9129, deadband: 0, on_delay: 0, off_delay: 0}
          dew_point: {low_low: -10.001, low: 0.001, high: 15.001, high_high: 20.001, deadband: 0, on_delay: 0, off_delay: 0}
          light_hours: {low: 10, high: 14, deadband: 0, on_delay: 0, off_delay: 0}
          daily_light_integral: {low_low: 10.01, low: 20.01, high: 45.01, high_high: 55.01, deadband: 0, on_delay: 0, off_delay: 0}
light: {lit_above: 1000 lx, lit_deadband: 0 lx}
readings: {hold: 1 h}
"""
#: 2026-01-01T00:00-05:00.
START_MS = 1_767_243_600_000
HOURS = 8760
DAYS = 365
DAY_MS = 24 * HOUR_MS
LUX_PER_MICROMOLE = 54
LIMITS = {
    "air_temperature": {"low": 20.0, "high": 25.0},
    "relative_humidity": {"low": 90.0},
    "vapour_pressure_deficit": {"low_low": 0.0234, "low": 0.3873, "high": 1.2, "high_high": 1.9129},
    "dew_point": {"low_low": -10.001, "low": 0.001, "high": 15.001, "high_high": 20.001},
    "light_hours": {"low": 10.0, "high": 14.0},
    "daily_light_integral": {"low_low": 10.01, "low": 20.01, "high": 45.01, "high_high": 55.01},
}
YARDSTICKS = json.loads((Path(__file__).parent / "data" / "greensboro_year.json").read_text(encoding="utf-8"))


class Year(NamedTuple):
    """The weather, the files made of it, and the journal of its replay."""

    weather: pd.DataFrame
    config: Path
    readings: Path
    journal: list[dict[str, Any]]
    summary: str

    def beyond(self, quantity: str, limit: str) -> set[int]:
        """Return the hours in which an alarm stood, by the journal."""
        told = [
            (hour_of(one["time"]), one["event"])
            for one in self.journal
            if (one["quantity"], one["limit"]) == (quantity, limit)
        ]
        return {hour for begin, end in spans(told, HOURS) for hour in range(begin, end)}


def hour_of(time: str) -> int:
    hour = (pd.Timestamp(time).value // 1_000_000 - START_MS) / HOUR_MS
    assert hour.is_integer()
    return int(hour)


def readings_of(weather: pd.DataFrame) -> Iterable[Reading]:
    closed = [*weather["light_lx"].tolist(), 0.0]
    for quantity, values in (
        ("air_temperature", weather["air_c"].tolist()),
        ("relative_humidity", weather["humidity_pct"].tolist()),
        ("illuminance", closed),
        ("ppfd", [light_lx / LUX_PER_MICROMOLE for light_lx in closed]),
    ):
        for hour, value in enumerate(values):
            yield Reading(START_MS + hour * HOUR_MS, "roof", quantity, value)


@pytest.fixture(scope="module")
def year(tmp_path_factory: pytest.TempPathFactory) -> Year:
    folder = tmp_path_factory.mktemp("year")
    config, readings = folder / "config.yaml", folder / "year.csv"
    config.write_text(CONFIG, encoding="utf-8")
    weather = greensboro()
    assert write_rows(readings, readings_of(weather)) == 4 * HOURS + 2
    return Year(weather, config, readings, *replayed(config, readings))


# ----------------------------------------------------------------------------- worked out by pandas


def judged(weather: pd.DataFrame) -> dict[str, tuple["pd.Series[float]", "pd.Series[float]"]]:
    """Return what is judged against low limits and against high ones, at each hour."""
    air_c, humidity = weather["air_c"], weather["humidity_pct"] / 100
    vapour_kpa = 0.6112 * np.exp(17.62 * air_c / (243.12 + air_c))
    logarithm = np.log(vapour_kpa * humidity / 0.6112)
    deficit, dew_c = vapour_kpa * (1 - humidity), 243.12 * logarithm / (17.62 - logarithm)
    light_lx = pd.concat([weather["light_lx"], pd.Series([0.0])], ignore_index=True)
    unseen_h = pd.Series(range(24, 24 - len(light_lx), -1)).clip(lower=0)
    lit_h = trailing_day(light_lx > 1000)
    ppfd = light_lx / LUX_PER_MICROMOLE
    seen_mol, highest = trailing_day(ppfd) * 0.0036, ppfd.rolling(25, min_periods=1).max()
    return {
        "air_temperature": (air_c, air_c),
        "relative_humidity": (humidity * 100, humidity * 100),
        "vapour_pressure_deficit": (deficit, deficit),
        "dew_point": (dew_c, dew_c),
        "light_hours": (lit_h + unseen_h, lit_h),
        "daily_light_integral": (seen_mol + unseen_h * highest * 0.0036, seen_mol),
    }


def trailing_day(values: "pd.Series[Any]") -> "pd.Series[float]":
    """Return at each hour the sum over the 24 before it."""
    sums = pd.concat([pd.Series([0.0]), values.cumsum()], ignore_index=True)
    return (sums - sums.shift(24, fill_value=0.0)).head(len(values))


def expected_journal(weather: pd.DataFrame) -> list[tuple[int, str, str, str]]:
    events = []
    for quantity, (for_low, for_high) in judged(weather).items():
        for limit, threshold in LIMITS[quantity].items():
            values = for_high if limit.startswith("high") else for_low
            beyond = values > threshold if limit.startswith("high") else values < threshold
            events += [
                (hour, quantity, limit, event) for hour, event in changes(values.index.to_series(), beyond)
            ]
    return sorted(events, key=lambda one: (*one[:3], one[3] != "raised"))


def test_every_line_of_the_journal_is_what_pandas_works_out(year: Year) -> None:
    told = [(hour_of(one["time"]), one["quantity"], one["limit"], one["event"]) for one in year.journal]
    assert told == expected_journal(year.weather)
    assert len(told) == 3693
    assert "35042 readings" in year.summary
    assert "0 repeated, 0 refused" in year.summary


@pytest.mark.parametrize("quantity", ["vapour_pressure_deficit", "dew_point", "daily_light_integral"])
def test_no_derived_value_is_so_near_a_limit_that_its_last_digit_would_decide(
    year: Year, quantity: str
) -> None:
    for values in judged(year.weather)[quantity]:
        for threshold in LIMITS[quantity].values():
            assert abs(values - threshold).min() > 1e-9


# ------------------------------------------------------------------------- against the yardsticks


def test_hours_of_humid_air(year: Year) -> None:
    """Exactly 90 % is not beyond a low limit of 90 %: 220 hours hang on that."""
    assert (
        HOURS - len(year.beyond("relative_humidity", "low"))
        == YARDSTICKS["hours_of_humidity_at_least_90_pct"]
    )


def test_hours_in_a_band_of_temperature(year: Year) -> None:
    """Both ends belong to the band: 464 hours hang on that."""
    outside = year.beyond("air_temperature", "low") | year.beyond("air_temperature", "high")
    assert HOURS - len(outside) == YARDSTICKS["hours_from_20_to_25_c"]


@pytest.mark.parametrize(("limit", "percentile"), [("low_low", "p05"), ("low", "p50"), ("high_high", "p95")])
def test_hours_beyond_percentiles_of_the_deficit(year: Year, limit: str, percentile: str) -> None:
    threshold = LIMITS["vapour_pressure_deficit"][limit]
    assert threshold == pytest.approx(YARDSTICKS["vapour_pressure_deficit_kpa"][percentile], abs=0.00001)
    below = int(percentile[1:]) / 100
    share = below if limit.startswith("low") else 1 - below
    assert len(year.beyond("vapour_pressure_deficit", limit)) / HOURS == pytest.approx(share, abs=0.005)


@pytest.mark.parametrize("limit", LIMITS["vapour_pressure_deficit"])
def test_hours_beyond_a_deficit_by_another_form_of_saturation_pressure(year: Year, limit: str) -> None:
    air_c, humidity_pct = (year.weather[name].to_numpy() for name in ("air_c", "humidity_pct"))
    saturated_kpa = saturation_vapor_pressure(air_c * units.degC).to("kPa").magnitude
    deficit_kpa = saturated_kpa * (1 - humidity_pct / 100)
    threshold = LIMITS["vapour_pressure_deficit"][limit]
    beyond = deficit_kpa > threshold if limit.startswith("high") else deficit_kpa < threshold
    apart = sorted(year.beyond("vapour_pressure_deficit", limit) ^ set(np.flatnonzero(beyond).tolist()))
    assert deficit_kpa[apart] == pytest.approx(threshold, rel=0.0035)
    assert len(apart) / HOURS <= 0.003


@pytest.mark.parametrize("limit", LIMITS["dew_point"])
def test_hours_beyond_a_dew_point_are_those_of_the_recorded_ones(year: Year, limit: str) -> None:
    threshold = LIMITS["dew_point"][limit]
    recorded_c = year.weather["dew_c"]
    beyond = recorded_c > threshold if limit.startswith("high") else recorded_c < threshold
    apart = year.beyond("dew_point", limit) ^ set(np.flatnonzero(beyond).tolist())
    assert beyond.sum() > 100
    assert 1 - len(apart) / HOURS >= YARDSTICKS["share_of_dew_points_within_1_c_of_those_recorded"]


# -------------------------------------------------------------------- day by day, with restarts


class Days(NamedTuple):
    """What was told of a year fed day by day, and what stood at the end of each day."""

    journal: list[dict[str, Any]]
    ends: list[dict[str, Present]]


def by_day(readings: Iterable[Reading]) -> Iterator[Chunk]:
    """Yield the readings of each day, its end with it and its beginning left to the day before."""
    days: dict[int, list[Reading]] = {day: [] for day in range(1, DAYS + 1)}
    for reading in readings:
        days[max(-((START_MS - reading.time_ms) // DAY_MS), 1)].append(reading)
    yield from map(chunk_of, days.values())


@pytest.fixture(scope="module")
def days(year: Year) -> Days:
    """Feed a day, judge up to its end, save the state as text, begin anew from it: 365 times."""
    config = wiring.load_config(year.config)
    teller, plans = wiring.teller(config), [tray.plan for tray in config.trays]
    told, state = Days([], []), "{}"
    for day, chunk in enumerate(by_day(readings_of(year.weather)), start=1):
        end_ms = START_MS + day * DAY_MS
        engine = Engine(plans, json.loads(state))
        engine.feed(chunk)
        told.journal.extend(teller.fields(one) for one in engine.advance(end_ms + 1))
        told.ends.append(engine.trays["roof"].present(end_ms))
        state = json.dumps(engine.state())
    return told


def test_a_year_in_days_with_restarts_gives_the_same_journal(year: Year, days: Days) -> None:
    assert days.journal == year.journal


def at_day_ends(days: Days, quantity: str) -> "pd.Series[float]":
    """Return what stood at the end of each day; all of it was seen, so both bounds are one."""
    stands = [end[quantity].stand for end in days.ends]
    assert all(
        stand is not None and stand.for_low == pytest.approx(stand.for_high, rel=1e-12) for stand in stands
    )
    return pd.Series([stand.for_high for stand in stands if stand is not None])


def test_light_hours_of_each_day(days: Days) -> None:
    hours, yardstick = at_day_ends(days, "light_hours"), YARDSTICKS["hours_over_1000_lx_by_day"]
    assert (hours.min(), hours.max()) == (yardstick["min"], yardstick["max"])
    assert hours.mean() == pytest.approx(yardstick["mean"], rel=1e-12)
    assert hours.head(10).tolist() == yardstick["first_10_days"]


def test_daily_light_integrals(days: Days) -> None:
    integrals, yardstick = (
        at_day_ends(days, "daily_light_integral"),
        YARDSTICKS["daily_light_integral_mol_m2"],
    )
    for name in ("min", "max", "mean"):
        assert getattr(integrals, name)() == pytest.approx(yardstick[name], rel=1e-9)
    assert integrals.head(10).tolist() == pytest.approx(yardstick["first_10_days"], abs=1e-6)
