"""The psychrometric formulas: there and back, both sides of every edge, one value and many alike."""

import doctest
import math
import warnings
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wardian.rules import air
from wardian.rules.errors import OutsideValidity, WardianError
from wardian.rules.readings import Values

TEMPERATURES_C = st.floats(-45, 60)
HUMIDITIES_PCT = st.floats(0, 100)
# Pairs whose dew point is surely above -45 °C.
DAMP_PCT = st.floats(20, 100)
MILD_C = st.floats(-25, 60)

#: Each form for one value with its form for many, and the ranges of its inputs.
ONE_AND_MANY: list[tuple[Callable[..., float], Callable[..., Values], list[tuple[float, float]]]] = [
    (air.saturation_vapour_pressure_kpa, air.saturation_vapour_pressure_kpa_array, [(-45, 60)]),
    (air.vapour_pressure_kpa, air.vapour_pressure_kpa_array, [(-45, 60), (0, 100)]),
    (air.vapour_pressure_deficit_kpa, air.vapour_pressure_deficit_array, [(-45, 60), (0, 100)]),
    (
        air.leaf_vapour_pressure_deficit_kpa,
        air.leaf_vapour_pressure_deficit_array,
        [(-45, 60), (-45, 60), (0, 100)],
    ),
    (air.dew_point_of_vapour_pressure_c, air.dew_point_of_vapour_pressure_array, [(0.0112, 19.99)]),
    (air.dew_point_c, air.dew_point_array, [(-25, 60), (20, 100)]),
    (air.absolute_humidity_g_m3, air.absolute_humidity_g_m3_array, [(-45, 60), (0, 100)]),
]
NAMES = [one.__name__ for one, _, _ in ONE_AND_MANY]


def test_the_examples_in_the_docstrings_hold() -> None:
    result = doctest.testmod(air)
    assert result.attempted == len(ONE_AND_MANY)
    assert result.failed == 0


@pytest.mark.parametrize(("one", "many", "ranges"), ONE_AND_MANY, ids=NAMES)
def test_one_value_is_that_of_many_to_the_last_bit(
    one: Callable[..., float], many: Callable[..., Values], ranges: list[tuple[float, float]]
) -> None:
    chance = np.random.default_rng(20260302)
    columns = [chance.uniform(low, high, 1000) for low, high in ranges]
    together = many(*columns)
    assert together.dtype == np.float64
    assert [
        one(*row) for row in zip(*(column.tolist() for column in columns), strict=True)
    ] == together.tolist()


@pytest.mark.parametrize(("one", "many", "ranges"), ONE_AND_MANY, ids=NAMES)
def test_pieces_of_any_size_and_stride_give_the_same_bits(
    one: Callable[..., float], many: Callable[..., Values], ranges: list[tuple[float, float]]
) -> None:
    del one
    chance = np.random.default_rng(7)
    columns = [chance.uniform(low, high, 200) for low, high in ranges]
    together = many(*columns)
    for size in (1, 2, 3, 5, 7, 8, 9, 64):
        pieces = [many(*(column[at : at + size] for column in columns)) for at in range(0, 200, size)]
        assert np.array_equal(np.concatenate(pieces), together)
    for step in (2, 3, -1):
        assert np.array_equal(many(*(column[::step] for column in columns)), together[::step])


@pytest.mark.parametrize(("one", "many", "ranges"), ONE_AND_MANY, ids=NAMES)
def test_one_value_is_a_plain_float(
    one: Callable[..., float], many: Callable[..., Values], ranges: list[tuple[float, float]]
) -> None:
    del many
    assert type(one(*(high for _, high in ranges))) is float


@pytest.mark.parametrize(("one", "many", "ranges"), ONE_AND_MANY, ids=NAMES)
def test_no_values_give_no_values(
    one: Callable[..., float], many: Callable[..., Values], ranges: list[tuple[float, float]]
) -> None:
    del one
    assert many(*(np.empty(0) for _ in ranges)).size == 0


def test_the_constants_are_those_of_the_magnus_form() -> None:
    assert air.saturation_vapour_pressure_kpa(0.0) == 0.6112
    assert air.saturation_vapour_pressure_kpa(24.0) == pytest.approx(
        0.6112 * math.exp(17.62 * 24 / (243.12 + 24)), rel=1e-15
    )


@given(st.floats(-44.999, 59.999))
def test_the_dew_point_of_saturation_is_the_temperature(temperature_c: float) -> None:
    saturated_kpa = air.saturation_vapour_pressure_kpa(temperature_c)
    assert air.dew_point_of_vapour_pressure_c(saturated_kpa) == pytest.approx(temperature_c, abs=1e-11)


@given(MILD_C, DAMP_PCT)
def test_air_at_its_dew_point_holds_the_same_vapour(temperature_c: float, humidity_pct: float) -> None:
    dew_point_c = air.dew_point_c(temperature_c, humidity_pct)
    assert dew_point_c <= temperature_c + 1e-11
    assert air.saturation_vapour_pressure_kpa(dew_point_c) == pytest.approx(
        air.vapour_pressure_kpa(temperature_c, humidity_pct), rel=1e-12
    )


@given(TEMPERATURES_C, HUMIDITIES_PCT)
def test_what_is_there_and_what_still_fits_make_saturation(temperature_c: float, humidity_pct: float) -> None:
    there = air.vapour_pressure_kpa(temperature_c, humidity_pct)
    fits = air.vapour_pressure_deficit_kpa(temperature_c, humidity_pct)
    assert fits >= 0
    assert there + fits == pytest.approx(air.saturation_vapour_pressure_kpa(temperature_c), rel=1e-14)


@given(TEMPERATURES_C, HUMIDITIES_PCT)
def test_a_leaf_as_warm_as_the_air_has_the_deficit_of_the_air(
    temperature_c: float, humidity_pct: float
) -> None:
    assert air.leaf_vapour_pressure_deficit_kpa(temperature_c, temperature_c, humidity_pct) == pytest.approx(
        air.vapour_pressure_deficit_kpa(temperature_c, humidity_pct), abs=1e-14
    )


def test_a_leaf_below_the_dew_point_has_a_negative_deficit_and_one_above_a_positive() -> None:
    dew_point_c = air.dew_point_c(22.0, 95.0)
    assert air.leaf_vapour_pressure_deficit_kpa(dew_point_c - 0.01, 22.0, 95.0) < 0
    assert air.leaf_vapour_pressure_deficit_kpa(dew_point_c + 0.01, 22.0, 95.0) > 0


def test_dry_air_has_the_whole_deficit_and_saturated_air_none() -> None:
    assert air.vapour_pressure_deficit_kpa(24.0, 0.0) == air.saturation_vapour_pressure_kpa(24.0)
    assert air.vapour_pressure_deficit_kpa(24.0, 100.0) == 0.0
    assert air.vapour_pressure_kpa(24.0, 100.0) == air.saturation_vapour_pressure_kpa(24.0)
    assert air.absolute_humidity_g_m3(24.0, 0.0) == 0.0


@pytest.mark.parametrize(
    ("compute", "accepted", "refused", "named"),
    [
        (air.saturation_vapour_pressure_kpa, (-45.0,), (math.nextafter(-45, -99),), "temperature"),
        (air.saturation_vapour_pressure_kpa, (60.0,), (math.nextafter(60, 99),), "temperature"),
        (air.vapour_pressure_kpa, (-45.0, 50.0), (-45.001, 50.0), "air temperature"),
        (air.vapour_pressure_kpa, (60.0, 50.0), (60.001, 50.0), "air temperature"),
        (air.vapour_pressure_kpa, (20.0, 0.0), (20.0, -5e-324), "relative humidity"),
        (air.vapour_pressure_kpa, (20.0, 100.0), (20.0, math.nextafter(100, 200)), "relative humidity"),
        (air.vapour_pressure_deficit_kpa, (60.0, 50.0), (60.001, 50.0), "air temperature"),
        (air.vapour_pressure_deficit_kpa, (20.0, 100.0), (20.0, 100.001), "relative humidity"),
        (air.leaf_vapour_pressure_deficit_kpa, (-45.0, 20.0, 50.0), (-45.1, 20.0, 50.0), "leaf temperature"),
        (air.leaf_vapour_pressure_deficit_kpa, (20.0, 60.0, 50.0), (20.0, 60.1, 50.0), "air temperature"),
        (air.leaf_vapour_pressure_deficit_kpa, (20.0, 20.0, 0.0), (20.0, 20.0, -0.1), "relative humidity"),
        (air.dew_point_c, (-45.0, 100.0), (-45.0, 99.99), "vapour pressure"),
        (air.dew_point_c, (60.0, 100.0), (60.1, 100.0), "air temperature"),
        (air.dew_point_c, (20.0, 0.5), (20.0, 0.0), "vapour pressure"),
        (air.dew_point_of_vapour_pressure_c, (0.0112,), (0.0111,), "vapour pressure"),
        (air.dew_point_of_vapour_pressure_c, (19.993,), (19.994,), "vapour pressure"),
        (air.absolute_humidity_g_m3, (60.0, 100.0), (60.1, 100.0), "air temperature"),
        (air.absolute_humidity_g_m3, (60.0, 0.0), (60.0, -1.0), "relative humidity"),
    ],
)
def test_both_sides_of_every_edge(
    compute: Callable[..., float],
    accepted: tuple[float, ...],
    refused: tuple[float, ...],
    named: str,
) -> None:
    assert math.isfinite(compute(*accepted))
    with pytest.raises(OutsideValidity) as outside:
        compute(*refused)
    assert outside.value.name == named
    assert str(outside.value).startswith(named)


@pytest.mark.parametrize("wrong", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize(("one", "many", "ranges"), ONE_AND_MANY, ids=NAMES)
def test_what_is_not_a_finite_number_is_refused_in_every_place(
    one: Callable[..., float],
    many: Callable[..., Values],
    ranges: list[tuple[float, float]],
    wrong: float,
) -> None:
    del many
    for place in range(len(ranges)):
        inputs = [high for _, high in ranges]
        inputs[place] = wrong
        with pytest.raises(OutsideValidity):
            one(*inputs)


def test_a_refusal_is_of_our_tree_and_also_a_value_error() -> None:
    with pytest.raises(ValueError, match="relative humidity 104 % is outside 0 to 100 %") as refused:
        air.vapour_pressure_deficit_kpa(24.0, 104.0)
    assert isinstance(refused.value, WardianError)


def test_perfectly_dry_air_has_no_dew_point_and_no_warning_says_so() -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        dew_points_c = air.dew_point_array(np.array([24.0, 24.0]), np.array([0.0, 50.0]))
    assert math.isnan(dew_points_c[0])
    assert dew_points_c[1] == air.dew_point_c(24.0, 50.0)


def test_the_form_for_many_goes_on_where_the_form_for_one_refuses() -> None:
    """A sensor may report up to 80 °C: the engine still needs a number there."""
    assert air.vapour_pressure_deficit_array(np.array([80.0]), np.array([50.0]))[0] == pytest.approx(
        0.5 * 0.6112 * math.exp(17.62 * 80 / (243.12 + 80)), rel=1e-14
    )
    assert math.isfinite(air.dew_point_array(np.array([-40.0]), np.array([0.1]))[0])


def test_the_inputs_are_left_as_they_were() -> None:
    temperatures_c, humidities_pct = np.array([20.0, 24.0]), np.array([50.0, 95.0])
    air.vapour_pressure_deficit_array(temperatures_c, humidities_pct)
    air.dew_point_array(temperatures_c, humidities_pct)
    assert temperatures_c.tolist() == [20.0, 24.0]
    assert humidities_pct.tolist() == [50.0, 95.0]
