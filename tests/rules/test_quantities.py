"""The list of quantities: units, both sides of every bound, refusals that a person understands."""

import math

import pytest

from wardian.rules.quantities import QUANTITIES
from wardian.rules.units import UNITS, unit_named

#: Name, own unit, possible low, possible high.
MEASURED: list[tuple[str, str, float, float]] = [
    ("air_temperature", "°C", -40, 80),
    ("medium_temperature", "°C", -40, 80),
    ("leaf_temperature", "°C", -40, 80),
    ("relative_humidity", "%", 0, 105),
    ("illuminance", "lx", 0, 200_000),
    ("ppfd", "µmol m⁻² s⁻¹", 0, 3_000),
    ("medium_moisture", "%", 0, 120),
    ("tray_mass", "g", 0, 1_000_000),
    ("water_ph", "pH", 0, 14),
    ("water_ec", "mS/cm", 0, 20),
]
DERIVED = {
    "vapour_pressure_deficit": "kPa",
    "leaf_vapour_pressure_deficit": "kPa",
    "dew_point": "°C",
    "light_hours": "h",
    "daily_light_integral": "mol m⁻² d⁻¹",
    "water_lost": "%",
}


def test_the_list_is_closed_and_says_what_no_sensor_measures() -> None:
    measured = [name for name, quantity in QUANTITIES.items() if not quantity.derived]
    derived = {name: quantity.unit for name, quantity in QUANTITIES.items() if quantity.derived}
    assert measured == [name for name, *_ in MEASURED]
    assert derived == DERIVED


def test_every_quantity_is_listed_under_its_own_name_and_has_words() -> None:
    assert all(name == quantity.name and quantity.words for name, quantity in QUANTITIES.items())
    assert len({quantity.words for quantity in QUANTITIES.values()}) == len(QUANTITIES)


@pytest.mark.parametrize(("name", "unit", "low", "high"), MEASURED, ids=[row[0] for row in MEASURED])
def test_both_sides_of_every_bound(name: str, unit: str, low: float, high: float) -> None:
    quantity = QUANTITIES[name]
    assert quantity.unit == unit
    assert quantity.why_impossible(low) == ""
    assert quantity.why_impossible(high) == ""
    assert "is impossible" in quantity.why_impossible(math.nextafter(low, -math.inf))
    assert "is impossible" in quantity.why_impossible(math.nextafter(high, math.inf))


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("name", QUANTITIES)
def test_what_is_not_a_finite_number_is_impossible(name: str, value: float) -> None:
    assert QUANTITIES[name].why_impossible(value) == f"{name} is not a finite number"


def test_a_derived_value_has_no_bounds() -> None:
    assert QUANTITIES["leaf_vapour_pressure_deficit"].why_impossible(-1e6) == ""


def test_a_refusal_names_the_value_and_what_is_accepted() -> None:
    assert QUANTITIES["air_temperature"].why_impossible(85.0) == (
        "air_temperature 85 °C is impossible: -40 to 80 °C is accepted"
    )
    assert QUANTITIES["tray_mass"].why_impossible(1_234_567.5) == (
        "tray_mass 1234567.5 g is impossible: 0 to 1000000 g is accepted"
    )


def test_a_refused_value_is_never_shown_as_the_bound_it_is_beyond() -> None:
    """Six digits made 80.0000001 °C read as "80 °C is impossible: -40 to 80 °C is accepted"."""
    assert (
        QUANTITIES["air_temperature"].why_impossible(80.0000001).startswith("air_temperature 80.0000001 °C ")
    )


@pytest.mark.parametrize(
    ("name", "units"),
    [
        ("air_temperature", ["°C", "Cel", "°F", "degF", "K"]),
        ("medium_temperature", ["°C", "Cel", "°F", "degF", "K"]),
        ("leaf_temperature", ["°C", "Cel", "°F", "degF", "K"]),
        ("relative_humidity", ["%", "%RH", "/"]),
        ("illuminance", ["lx", "klx"]),
        ("ppfd", ["µmol m⁻² s⁻¹", "umol/m2/s"]),
        ("medium_moisture", ["%"]),
        ("tray_mass", ["g", "kg"]),
        ("water_ph", ["pH"]),
        ("water_ec", ["mS/cm", "µS/cm"]),
        ("vapour_pressure_deficit", ["kPa", "hPa"]),
        ("light_hours", ["h", "min"]),
    ],
)
def test_a_quantity_takes_every_unit_it_promises(name: str, units: list[str]) -> None:
    dimension = QUANTITIES[name].dimension
    assert all(unit_named(dimension, unit) is not None for unit in units)


def test_a_difference_of_temperatures_is_measured_in_kelvin_and_others_in_their_own_unit() -> None:
    for quantity in QUANTITIES.values():
        own = "K" if quantity.dimension == "temperature" else quantity.unit
        assert next(iter(UNITS[quantity.difference])) == own
