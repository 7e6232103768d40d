"""The dew point against worked cases of four formulas.

Numbers: ``data/dew_point.csv``: the inverse Magnus form of WMO-No. 8 (Annex 4.B), the inverse of
FAO-56 equation 11, PsychroLib 2.5.0 (ASHRAE Handbook Fundamentals 2017) and MetPy 1.7.1 (Bolton 1980).

Tolerances: the form itself 1e-7 °C, for the rows have nine digits. Others 0.1 K at dew points of 0 °C and
above: 0.35 % of vapour pressure are 0.05 to 0.07 K there. Below 0 °C we stay over supercooled water as
MetPy does (0.1 K); PsychroLib turns to ice and parts company by 0.3 to 3.3 K, so it only bounds us from above.
"""

import csv
from pathlib import Path

import pytest

from wardian.rules.air import dew_point_c

ROWS = list(
    csv.DictReader(
        (Path(__file__).parent / "data" / "dew_point.csv").read_text(encoding="utf-8").splitlines()
    )
)
ABOVE_FREEZING = [row for row in ROWS if float(row["magnus_c"]) >= 0]
BELOW_FREEZING = [row for row in ROWS if float(row["magnus_c"]) < 0]
SAME_FORM_K = 1e-7
OTHER_FORM_K = 0.1


def ours_c(row: dict[str, str]) -> float:
    return dew_point_c(float(row["air_c"]), float(row["humidity_pct"]))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['air_c']} {row['humidity_pct']}")
def test_the_inverse_magnus_form_gives_its_own_values(row: dict[str, str]) -> None:
    assert ours_c(row) == pytest.approx(float(row["magnus_c"]), abs=SAME_FORM_K)


@pytest.mark.parametrize("other", ["fao56_c", "psychrolib_c", "metpy_c"])
@pytest.mark.parametrize("row", ABOVE_FREEZING, ids=lambda row: f"{row['air_c']} {row['humidity_pct']}")
def test_other_formulas_agree_above_freezing(row: dict[str, str], other: str) -> None:
    assert ours_c(row) == pytest.approx(float(row[other]), abs=OTHER_FORM_K)


@pytest.mark.parametrize("row", BELOW_FREEZING, ids=lambda row: f"{row['air_c']} {row['humidity_pct']}")
def test_below_freezing_the_dew_point_stays_that_over_water(row: dict[str, str]) -> None:
    assert ours_c(row) == pytest.approx(float(row["metpy_c"]), abs=OTHER_FORM_K)
    if row["psychrolib_c"]:
        assert ours_c(row) < float(row["psychrolib_c"]) - OTHER_FORM_K


def test_there_are_cases_on_both_sides_of_freezing() -> None:
    assert len(ABOVE_FREEZING) == 10
    assert len(BELOW_FREEZING) == 4
