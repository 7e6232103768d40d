"""How sure derived values are, and what follows from it: both sides of every edge."""

import doctest
import math

import pytest

from wardian.rules import uncertainty
from wardian.rules.quantities import DERIVED_FROM, QUANTITIES
from wardian.rules.uncertainty import (
    UNCERTAINTIES,
    Estimate,
    dew_point_uncertainty_k,
    expanded_uncertainty,
    is_in_doubt,
    is_saturated,
)

ACCURACIES = {"air_temperature": 0.3, "leaf_temperature": 0.5, "relative_humidity": 3.0}


def test_the_examples_in_the_docstrings_hold() -> None:
    result = doctest.testmod(uncertainty)
    assert result.attempted >= 5
    assert result.failed == 0


@pytest.mark.parametrize("name", sorted(QUANTITIES.keys() - UNCERTAINTIES.keys()))
def test_what_is_not_derived_from_humidity_has_none(name: str) -> None:
    inputs = [20.0 for _ in DERIVED_FROM.get(name, ())]
    assert expanded_uncertainty(name, inputs, ACCURACIES) is None


@pytest.mark.parametrize("name", UNCERTAINTIES)
def test_nobody_knows_it_without_every_input_and_every_accuracy(name: str) -> None:
    inputs: list[float | None] = [20.0 for _ in DERIVED_FROM[name]]
    assert expanded_uncertainty(name, inputs, ACCURACIES) is not None
    for place, missing in enumerate(DERIVED_FROM[name]):
        unknown = [*inputs[:place], None, *inputs[place + 1 :]]
        assert expanded_uncertainty(name, unknown, ACCURACIES) is None
        without = {key: value for key, value in ACCURACIES.items() if key != missing}
        assert expanded_uncertainty(name, inputs, without) is None


def test_leaves_without_a_probe_need_only_what_is_known_of_the_air() -> None:
    name, of_air = "leaf_vapour_pressure_deficit", {"air_temperature": 0.3, "relative_humidity": 3.0}
    assert expanded_uncertainty(name, [25.0, 90.0], of_air, 1.0) is not None
    assert expanded_uncertainty(name, [25.0, None], of_air, 1.0) is None
    assert expanded_uncertainty(name, [25.0, 90.0], {"relative_humidity": 3.0}, 1.0) is None


def test_leaves_as_warm_as_the_air_are_as_uncertain_as_the_air() -> None:
    leaf = expanded_uncertainty("leaf_vapour_pressure_deficit", [25.0, 90.0], ACCURACIES, 0.0)
    assert leaf == pytest.approx(expanded_uncertainty("vapour_pressure_deficit", [25.0, 90.0], ACCURACIES))


def test_perfect_sensors_leave_no_doubt() -> None:
    perfect = dict.fromkeys(ACCURACIES, 0.0)
    assert expanded_uncertainty("vapour_pressure_deficit", [24.0, 97.0], perfect) == 0.0
    assert not is_in_doubt(0.4, 0.4, 0.0)
    assert not is_saturated("vapour_pressure_deficit", 0.0, 0.0)


def test_perfectly_dry_air_has_no_dew_point_to_be_sure_of() -> None:
    assert dew_point_uncertainty_k(Estimate(20.0, 0.1), Estimate(0.0, 1.0)) == math.inf
    assert expanded_uncertainty("dew_point", [20.0, 0.0], ACCURACIES) is None
    assert expanded_uncertainty("vapour_pressure_deficit", [20.0, 0.0], ACCURACIES) is not None


@pytest.mark.parametrize("side", [1, -1])
def test_a_breach_is_in_doubt_only_below_its_uncertainty(side: int) -> None:
    # Eighths are exact in binary: the edge is an edge.
    assert is_in_doubt(0.5 + side * 0.1249, 0.5, 0.125)
    assert not is_in_doubt(0.5 + side * 0.125, 0.5, 0.125)
    assert not is_in_doubt(0.5 + side * 0.1251, 0.5, 0.125)


def test_what_is_not_known_is_not_in_doubt() -> None:
    assert not is_in_doubt(None, 0.5, 0.125)
    assert not is_in_doubt(0.5, 0.5, None)


@pytest.mark.parametrize("name", ["vapour_pressure_deficit", "leaf_vapour_pressure_deficit"])
def test_a_deficit_is_saturated_while_it_cannot_be_told_from_none(name: str) -> None:
    assert is_saturated(name, 0.1249, 0.125)
    assert is_saturated(name, -0.1249, 0.125)
    assert not is_saturated(name, 0.125, 0.125)
    assert not is_saturated(name, -0.125, 0.125)


def test_a_dew_point_near_freezing_is_no_saturation() -> None:
    assert not is_saturated("dew_point", 0.1, 0.5)
