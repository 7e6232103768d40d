"""Units: exact to the last bit, differences apart from absolute values, nothing but numbers taken."""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wardian.rules.units import (
    UNITS,
    difference_dimension,
    exactly,
    in_own_unit,
    own_unit,
    unit_named,
)

ALL_UNITS = [(dimension, written) for dimension, units in UNITS.items() for written in units]


@pytest.mark.parametrize(
    ("dimension", "value", "unit", "own"),
    [
        ("temperature", "24", "°C", 24.0),
        ("temperature", "24", "Cel", 24.0),
        ("temperature", "75", "°F", 23.88888888888889),
        ("temperature", "80", "°F", 26.666666666666668),
        ("temperature", "80.06", "degF", 26.7),
        ("temperature", "32", "degF", 0.0),
        ("temperature", "-40", "°F", -40.0),
        ("temperature", "299.85", "K", 26.7),
        ("temperature", "273.15", "K", 0.0),
        ("temperature difference", "1", "°F", 0.5555555555555556),
        ("temperature difference", "0.5", "°C", 0.5),
        ("temperature difference", "1", "K", 1.0),
        ("relative humidity", "0.95", "/", 95.0),
        ("relative humidity", "0.57", "/", 57.0),  # 0.57 * 100 is 56.99999999999999 in binary
        ("relative humidity", "95", "%RH", 95.0),
        ("share", "0.29", "/", 29.0),
        ("pressure", "4", "hPa", 0.4),
        ("pressure", "400", "Pa", 0.4),
        ("illuminance", "1.1", "klx", 1100.0),
        ("photon flux density", "120", "umol/m2/s", 120.0),
        ("mass", "2.3", "kg", 2300.0),
        ("acidity", "5.8", "pH", 5.8),
        ("conductivity", "1413", "µS/cm", 1.413),
        ("conductivity", "0.1413", "S/m", 1.413),
        ("hours", "1080", "min", 18.0),
        ("hours", "64800", "s", 18.0),
        ("duration", "10", "min", 600.0),
        ("duration", "250", "ms", 0.25),
        ("duration", "18", "h", 64800.0),
        ("duration", "14", "d", 1209600.0),
    ],
)
def test_a_value_becomes_its_own_unit_rounded_once(dimension: str, value: str, unit: str, own: float) -> None:
    assert in_own_unit(value, UNITS[dimension][unit]) == own
    assert in_own_unit(float(value), UNITS[dimension][unit]) == own


def test_a_limit_less_its_deadband_is_what_a_person_reckons() -> None:
    celsius, kelvin = UNITS["temperature"]["°C"], UNITS["temperature difference"]["K"]
    assert float(exactly("26.7", celsius) - exactly("0.5", kelvin)) == 26.2
    assert float(exactly("0.3", UNITS["pressure"]["kPa"]) - exactly("0.1", UNITS["pressure"]["kPa"])) == 0.2
    assert 0.3 - 0.1 != 0.2  # why it is not left to binary arithmetic


def test_a_limit_in_fahrenheit_less_one_degree_is_the_limit_one_degree_lower() -> None:
    fahrenheit, difference = UNITS["temperature"]["°F"], UNITS["temperature difference"]["°F"]
    assert exactly("80", fahrenheit) - exactly("1", difference) == exactly("79", fahrenheit)
    assert float(exactly("80", fahrenheit) - exactly("1", difference)) == in_own_unit("79", fahrenheit)


def test_a_limit_in_celsius_takes_a_deadband_in_fahrenheit() -> None:
    clear = exactly("26.7", UNITS["temperature"]["°C"]) - exactly(
        "0.9", UNITS["temperature difference"]["°F"]
    )
    assert float(clear) == 26.2


def test_only_a_temperature_has_differences_of_another_kind() -> None:
    assert difference_dimension("temperature") == "temperature difference"
    others = UNITS.keys() - {"temperature"}
    assert [difference_dimension(dimension) for dimension in others] == list(others)


@pytest.mark.parametrize(
    ("dimension", "unit"),
    [
        ("temperature", "°C"),
        ("temperature difference", "K"),
        ("relative humidity", "%"),
        ("pressure", "kPa"),
        ("illuminance", "lx"),
        ("photon flux density", "µmol m⁻² s⁻¹"),
        ("daily photons", "mol m⁻² d⁻¹"),
        ("mass", "g"),
        ("acidity", "pH"),
        ("conductivity", "mS/cm"),
        ("hours", "h"),
        ("duration", "s"),
    ],
)
def test_the_first_written_form_is_the_own_unit(dimension: str, unit: str) -> None:
    assert own_unit(dimension) == unit
    assert exactly("12.5", UNITS[dimension][unit]) == Fraction("12.5")


def test_a_unit_of_another_dimension_is_unknown() -> None:
    assert unit_named("temperature", "°F") is UNITS["temperature"]["°F"]
    assert unit_named("temperature", "%") is None
    assert unit_named("relative humidity", "°C") is None
    assert unit_named("illuminance", "umol/m2/s") is None
    assert unit_named("temperature", "") is None
    assert unit_named("temperature", "celsius") is None


def test_the_letter_mu_and_the_micro_sign_are_one() -> None:
    for sign in ("\N{MICRO SIGN}", "\N{GREEK SMALL LETTER MU}"):
        assert unit_named("conductivity", f"{sign}S/cm") == UNITS["conductivity"]["uS/cm"]
        assert (
            unit_named("photon flux density", f"{sign}mol/m2/s") == UNITS["photon flux density"]["umol/m2/s"]
        )


@pytest.mark.parametrize(
    "written", ["5", "5.", ".5", "+5", "-5", "5e0", "5E-1", "5e+2", " 5 ", "005", "5.0\n"]
)
def test_every_decimal_form_is_taken(written: str) -> None:
    assert in_own_unit(written, UNITS["temperature"]["°C"]) == float(written)


@pytest.mark.parametrize(
    "written",
    ["", " ", ".", "e5", "5e", "1/2", "1/0", "1_0", "٣", "0x10", "5 5", "5,5", "--5", "5 °C", "nan", "inf", "-inf",
     "Infinity", "NaN", "true", "1e9999", "1e99999999999", "9" * 5000],
)  # fmt: skip
def test_what_is_no_decimal_number_is_refused(written: str) -> None:
    """A fraction, digits of other scripts and an exponent that would fill the memory were once taken."""
    for unit in ("°C", "°F"):
        with pytest.raises(ValueError, match="is not a finite decimal number"):
            in_own_unit(written, UNITS["temperature"][unit])


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("unit", ["%", "/"])
def test_a_float_that_is_no_number_is_refused(value: float, unit: str) -> None:
    with pytest.raises(ValueError, match="is not a finite decimal number"):
        in_own_unit(value, UNITS["relative humidity"][unit])


@pytest.mark.parametrize("value", ["1e100", "-1e100", "1e999", 1e300, -1.7976931348623157e308])
@pytest.mark.parametrize("unit", ["%", "/"])
def test_an_enormous_number_is_refused_and_never_overflows(value: float | str, unit: str) -> None:
    with pytest.raises(ValueError, match="is beyond anything measured"):
        in_own_unit(value, UNITS["relative humidity"][unit])


def test_a_refused_number_is_quoted_only_in_part() -> None:
    with pytest.raises(ValueError, match="9999") as refused:
        exactly("9" * 100_000, UNITS["temperature"]["°C"])
    assert len(str(refused.value)) < 100


def test_the_sign_of_a_zero_is_dropped() -> None:
    for value in (-0.0, "-0.0", "-0"):
        for unit in ("K", "°F"):
            assert math.copysign(1, in_own_unit(value, UNITS["temperature difference"][unit])) == 1


@given(st.floats(-1e6, 1e6), st.sampled_from(ALL_UNITS))
def test_a_float_and_its_shortest_text_are_one(value: float, place: tuple[str, str]) -> None:
    dimension, written = place
    unit = UNITS[dimension][written]
    assert in_own_unit(value, unit) == in_own_unit(repr(value), unit) == float(exactly(value, unit))


@given(st.decimals(-200, 200, places=4, allow_nan=False, allow_infinity=False), st.sampled_from(ALL_UNITS))
def test_a_conversion_is_the_nearest_float_to_the_exact_value(value: object, place: tuple[str, str]) -> None:
    dimension, written = place
    unit = UNITS[dimension][written]
    exact = exactly(str(value), unit)
    own = in_own_unit(str(value), unit)
    assert abs(Fraction(own) - exact) <= abs(Fraction(math.nextafter(own, math.inf)) - exact)
    assert abs(Fraction(own) - exact) <= abs(Fraction(math.nextafter(own, -math.inf)) - exact)
