"""The vapour pressure deficit of air and leaf against worked cases and printed examples.

Numbers: ``data/vapour_pressure_deficit.csv``, 16 to 30 °C and 50 to 100 %, with leaves cooler and
warmer than the air: the Magnus form of WMO-No. 8, equation 11 of FAO Irrigation and Drainage Paper 56
(Allen, Pereira, Raes and Smith, 1998) and IAPWS-IF97. Examples 3 to 6 of FAO-56, pages 36 to 39, with
the results as printed there (example 5 prints a line without its division by two; its result has it).

Tolerances: the form itself 1e-8 kPa, for the rows have nine digits. Others 0.01 kPa: the Magnus form is
at most 0.315 % below the reference, which is 0.0065 kPa in these rows, a ninth of what a good humidity
chip (2 %) leaves open at 24 °C. Printed examples: 0.35 % and half a unit of the last digit printed.
"""

import csv
from pathlib import Path

import pytest

from wardian.rules.air import (
    leaf_vapour_pressure_deficit_kpa,
    saturation_vapour_pressure_kpa,
    vapour_pressure_deficit_kpa,
    vapour_pressure_kpa,
)

ROWS = list(
    csv.DictReader(
        (Path(__file__).parent / "data" / "vapour_pressure_deficit.csv")
        .read_text(encoding="utf-8")
        .splitlines()
    )
)
SAME_FORM_KPA = 1e-8
OTHER_FORM_KPA = 0.01
OTHER_FORM_REL = 0.0035


def deficit_kpa(row: dict[str, str]) -> float:
    air_c, humidity_pct = float(row["air_c"]), float(row["humidity_pct"])
    if row["leaf_c"]:
        return leaf_vapour_pressure_deficit_kpa(float(row["leaf_c"]), air_c, humidity_pct)
    return vapour_pressure_deficit_kpa(air_c, humidity_pct)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['air_c']} {row['humidity_pct']} {row['leaf_c']}")
def test_the_deficit_of_each_case(row: dict[str, str]) -> None:
    ours_kpa = deficit_kpa(row)
    assert ours_kpa == pytest.approx(float(row["magnus_kpa"]), abs=SAME_FORM_KPA)
    assert ours_kpa == pytest.approx(float(row["fao56_kpa"]), abs=OTHER_FORM_KPA)
    assert ours_kpa == pytest.approx(float(row["if97_kpa"]), abs=OTHER_FORM_KPA)


def test_the_cases_have_leaves_on_both_sides_of_the_dew_point() -> None:
    leaves_kpa = [float(row["magnus_kpa"]) for row in ROWS if row["leaf_c"]]
    assert min(leaves_kpa) < 0 < max(leaves_kpa)
    assert sum(not row["leaf_c"] for row in ROWS) == 48


def printed(value: float, half_a_unit: float) -> object:
    """Return a printed result of another form: its own rounding and the deviation of the forms."""
    return pytest.approx(value, abs=half_a_unit + OTHER_FORM_REL * value)


def test_example_3_saturation_pressure_of_a_day() -> None:
    highest_kpa, lowest_kpa = saturation_vapour_pressure_kpa(24.5), saturation_vapour_pressure_kpa(15.0)
    assert highest_kpa == printed(3.075, 0.0005)
    assert lowest_kpa == printed(1.705, 0.0005)
    assert (highest_kpa + lowest_kpa) / 2 == printed(2.39, 0.005)
    assert saturation_vapour_pressure_kpa(19.75) == printed(2.30, 0.005)


def test_example_4_vapour_pressure_from_a_wet_bulb() -> None:
    """The psychrometric equation is not ours: it brings our pressure to the printed 1.91 kPa."""
    wet_kpa = saturation_vapour_pressure_kpa(19.5)
    assert wet_kpa == printed(2.267, 0.0005)
    assert wet_kpa - 0.000662 * 87.9 * (25.6 - 19.5) == printed(1.91, 0.005)


def test_example_5_vapour_pressure_from_humidity() -> None:
    early_kpa, late_kpa = vapour_pressure_kpa(18.0, 82.0), vapour_pressure_kpa(25.0, 54.0)
    assert saturation_vapour_pressure_kpa(18.0) == printed(2.064, 0.0005)
    assert saturation_vapour_pressure_kpa(25.0) == printed(3.168, 0.0005)
    assert (early_kpa + late_kpa) / 2 == printed(1.70, 0.005)


def test_example_6_deficit_of_a_day() -> None:
    saturated_kpa = (saturation_vapour_pressure_kpa(18.0) + saturation_vapour_pressure_kpa(25.0)) / 2
    actual_kpa = (vapour_pressure_kpa(18.0, 82.0) + vapour_pressure_kpa(25.0, 54.0)) / 2
    assert saturated_kpa - actual_kpa == printed(0.91, 0.005)
    mean_kpa = (vapour_pressure_deficit_kpa(18.0, 82.0) + vapour_pressure_deficit_kpa(25.0, 54.0)) / 2
    assert mean_kpa == pytest.approx(saturated_kpa - actual_kpa, abs=1e-15)
