"""The uncertainty of what is derived from humidity, against other ways to the same figures.

Numbers: ``data/vapour_pressure_deficit_uncertainty.csv``: the propagation of JCGM 100:2008 (Guide to the
expression of uncertainty in measurement), equation 10, by the package uncertainties 3.2.3, which takes its
derivatives by itself, and a Monte Carlo after JCGM 101:2008 with a million trials. Accuracies are
limits of a rectangular distribution (JCGM 100, 4.3.7, equation 7), in the third row of a normal one; the last
row has a leaf. The derivatives are also held against differences of our own formulas, and a Monte Carlo of our
own covers dew points.

Tolerances: propagation 1e-6 of itself, for the rows have eight digits and the package works exactly. Monte
Carlo 1 %: chance of a hundred thousand trials is 0.2 %, and the first order leaves out less than 0.1 %.
"""

import csv
import math
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

import numpy as np
import pytest

from wardian.rules.derived import FORMULAS
from wardian.rules.quantities import DERIVED_FROM
from wardian.rules.uncertainty import (
    COVERAGE_FACTOR,
    UNCERTAINTIES,
    Estimate,
    expanded_uncertainty,
    standard_uncertainty,
    vapour_pressure_deficit_uncertainty_kpa,
)

TABLE: Final = Path(__file__).parent / "data" / "vapour_pressure_deficit_uncertainty.csv"
ROWS: Final = list(csv.DictReader(TABLE.read_text(encoding="utf-8").splitlines()))
TRIALS: Final = 100_000
#: As data sheets state them: what a reading may be off, either way.
ACCURACIES: Final = {"air_temperature": 0.3, "leaf_temperature": 0.5, "relative_humidity": 3.0}
#: Air and leaf, from a wet tray to a dry room.
AIRS: Final = [
    {"air_temperature": 24.0, "leaf_temperature": 24.0, "relative_humidity": 95.0},
    {"air_temperature": 24.0, "leaf_temperature": 22.5, "relative_humidity": 80.0},
    {"air_temperature": 20.0, "leaf_temperature": 21.0, "relative_humidity": 50.0},
]


def case(row: dict[str, str]) -> tuple[str, list[Estimate]]:
    """Return the quantity of a row and the estimates it is derived from."""
    air = Estimate(float(row["air_c"]), float(row["u_air_k"]))
    humidity = Estimate(float(row["humidity_pct"]), float(row["u_humidity_pct"]))
    if not row["leaf_c"]:
        return "vapour_pressure_deficit", [air, humidity]
    leaf = Estimate(float(row["leaf_c"]), float(row["u_leaf_k"]))
    return "leaf_vapour_pressure_deficit", [leaf, air, humidity]


@pytest.mark.parametrize("row", ROWS)
def test_the_uncertainty_is_that_of_the_guide_and_a_million_trials_agree(row: dict[str, str]) -> None:
    quantity, estimates = case(row)
    ours = UNCERTAINTIES[quantity](*estimates)
    assert ours == pytest.approx(float(row["u_linear_kpa"]), rel=1e-6)
    assert ours == pytest.approx(float(row["u_monte_carlo_kpa"]), rel=0.01)


@pytest.mark.parametrize("row", ROWS)
def test_the_expanded_uncertainty_holds_at_least_the_middle_95_percent(row: dict[str, str]) -> None:
    quantity, estimates = case(row)
    half = COVERAGE_FACTOR * UNCERTAINTIES[quantity](*estimates)
    deficit = float(row["deficit_kpa"])
    # A hundredth of it: k is 2 and not 1.96, and chance of a million trials.
    assert deficit - half <= float(row["from_kpa"]) + half / 100
    assert deficit + half >= float(row["to_kpa"]) - half / 100


@pytest.mark.parametrize("air", AIRS)
@pytest.mark.parametrize("quantity", UNCERTAINTIES)
def test_trials_with_errors_anywhere_within_the_accuracy_spread_as_far(
    quantity: str, air: dict[str, float]
) -> None:
    chance = np.random.default_rng(20260302)
    names = DERIVED_FROM[quantity]
    trials = FORMULAS[quantity](
        *(air[name] + chance.uniform(-ACCURACIES[name], ACCURACIES[name], TRIALS) for name in names)
    )
    expanded = expanded_uncertainty(quantity, [air[name] for name in names], ACCURACIES)
    assert expanded is not None
    assert expanded / COVERAGE_FACTOR == pytest.approx(float(trials.std()), rel=0.01)
    value = float(FORMULAS[quantity](*(np.float64(air[name]) for name in names)))
    assert float(np.mean(np.abs(trials - value) <= expanded)) >= 0.95


@pytest.mark.parametrize("air", AIRS)
@pytest.mark.parametrize("quantity", UNCERTAINTIES)
def test_each_derivative_is_the_slope_of_the_formula(quantity: str, air: dict[str, float]) -> None:
    names = DERIVED_FROM[quantity]
    for moved in names:
        ends = [
            float(FORMULAS[quantity](*(np.float64(air[name] + step * (name == moved)) for name in names)))
            for step in (-1e-4, 1e-4)
        ]
        slope = (ends[1] - ends[0]) / 2e-4
        alone = UNCERTAINTIES[quantity](*(Estimate(air[name], float(name == moved)) for name in names))
        assert alone == pytest.approx(abs(slope), rel=1e-6)


def test_a_rectangle_has_the_spread_of_the_guide() -> None:
    errors = np.random.default_rng(1).uniform(-3.0, 3.0, TRIALS)
    assert standard_uncertainty(3.0) == pytest.approx(float(errors.std()), rel=0.01)


def test_under_a_cover_a_common_chip_says_nothing_of_a_deficit_below_a_tenth_of_a_kilopascal() -> None:
    # Three per cent of humidity at 24 °C are 0.0895 kPa, one as likely as the other (computed).
    expanded: Any = expanded_uncertainty("vapour_pressure_deficit", [24.0, 97.0], ACCURACIES)
    assert 0.095 < expanded < 0.11


def test_the_warmer_the_air_the_less_is_known_of_its_deficit() -> None:
    humidity = Estimate(95.0, standard_uncertainty(3.0))
    spreads = [
        vapour_pressure_deficit_uncertainty_kpa(Estimate(float(air_c), 0.0), humidity)
        for air_c in range(10, 40, 5)
    ]
    assert all(cooler < warmer for cooler, warmer in pairwise(spreads))
    assert all(math.isfinite(spread) for spread in spreads)
