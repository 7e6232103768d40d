"""The saturation vapour pressure over water against published tables and equations.

Numbers: ``data/saturation_pressure.csv``, the source of each row in its last column.
WMO-No. 8 (Guide to Instruments and Methods of Observation, Annex 4.B) is the form implemented; FAO
Irrigation and Drainage Paper 56 (1998), table 2.3 and equation 11; ASHRAE Handbook Fundamentals (2017),
chapter 1, table 3 (three rows, as its readers quote them); Alduchov and Eskridge (1996); IAPWS-95 and
IAPWS-IF97, the reference for water and steam.

Tolerances: the form itself to 1e-8, the rows have nine digits. All others to 0.35 %: against IAPWS-95
the Magnus form is at most 0.315 % low between 0.1 and 45 °C (largest near 27.5 °C); the largest
deviation from any other row is 0.302 % at 60 °C and 0.304 % at 25 °C. Rows printed with three decimals may be off by half a unit more.
"""

import csv
import math
from pathlib import Path

import pytest

from wardian.rules.air import dew_point_of_vapour_pressure_c, saturation_vapour_pressure_kpa

ROWS = [
    (float(row["temperature_c"]), float(row["pressure_kpa"]), row["source"])
    for row in csv.DictReader(
        (Path(__file__).parent / "data" / "saturation_pressure.csv").read_text(encoding="utf-8").splitlines()
    )
]
OURS = "WMO-No. 8"
SAME_FORM_REL = 1e-8
OTHER_FORM_REL = 0.0035
HALF_A_PRINTED_UNIT_KPA = 0.0005


@pytest.mark.parametrize(
    ("temperature_c", "pressure_kpa"), [row[:2] for row in ROWS if row[2].startswith(OURS)]
)
def test_the_form_of_the_guide_gives_its_own_values(temperature_c: float, pressure_kpa: float) -> None:
    assert saturation_vapour_pressure_kpa(temperature_c) == pytest.approx(pressure_kpa, rel=SAME_FORM_REL)


@pytest.mark.parametrize(
    ("temperature_c", "pressure_kpa", "source"), [row for row in ROWS if not row[2].startswith(OURS)]
)
def test_other_tables_and_equations_agree(temperature_c: float, pressure_kpa: float, source: str) -> None:
    printed_kpa = HALF_A_PRINTED_UNIT_KPA if "printed" in source else 0.0
    allowed_kpa = OTHER_FORM_REL * pressure_kpa + printed_kpa
    assert saturation_vapour_pressure_kpa(temperature_c) == pytest.approx(pressure_kpa, abs=allowed_kpa)


@pytest.mark.parametrize(
    ("temperature_c", "pressure_kpa"), [row[:2] for row in ROWS if 0 < row[0] <= 45 and "IAPWS" in row[2]]
)
def test_the_inverse_finds_the_temperature_of_steam_tables(temperature_c: float, pressure_kpa: float) -> None:
    """0.35 % of pressure are 0.06 K at 25 °C and 0.07 K at 45 °C; 0.1 K is the tolerance of dew points."""
    assert dew_point_of_vapour_pressure_c(pressure_kpa) == pytest.approx(temperature_c, abs=0.1)


def test_the_table_covers_what_a_tray_can_meet() -> None:
    """Every whole degree from 1 to 45 °C is there, and each of the sources is."""
    assert set(range(1, 46)) <= {temperature_c for temperature_c, _, _ in ROWS}
    words = " ".join({source for *_, source in ROWS})
    for source in ("WMO-No. 8", "table 2.3", "ASHRAE", "IAPWS-95", "IAPWS-IF97", "Alduchov", "MetPy"):
        assert source in words


def test_doubling_in_eleven_degrees_is_what_text_books_say() -> None:
    """Rule of thumb (common practice, no source): around 20 °C the pressure doubles in 10 to 12 K."""
    ratio = saturation_vapour_pressure_kpa(25.5) / saturation_vapour_pressure_kpa(14.5)
    assert math.isclose(ratio, 2.0, rel_tol=0.05)
