"""Which alarms a fault can cause, and which it cannot."""

import pytest

from wardian.rules.faults import FAULTS
from wardian.rules.observing.causes import OF_CONDITIONS
from wardian.rules.quantities import QUANTITIES
from wardian.rules.transitions import RAISED, SENSOR_IMPLAUSIBLE, SENSOR_SILENT, Transition


def alarm(quantity: str, what: str) -> Transition:
    limit = None if what in (SENSOR_SILENT, SENSOR_IMPLAUSIBLE) else what
    return Transition(0, "tray-a", quantity, limit, RAISED, what, None, None, None, 0)


@pytest.mark.parametrize(
    ("fault", "of", "quantity", "what"),
    [
        ("heater dead", None, "medium_temperature", "low"),
        ("heater dead", None, "medium_temperature", "low_low"),
        ("heater stuck on", None, "relative_humidity", "low"),
        ("cover left off", None, "vapour_pressure_deficit", "high_high"),
        ("lamp never off", None, "light_hours", "high"),
        ("over-misted", None, "vapour_pressure_deficit", "low"),
        ("sensor silent", "ppfd", "ppfd", SENSOR_SILENT),
        ("sensor silent", None, "ppfd", SENSOR_SILENT),
        ("sensor stuck", "relative_humidity", "relative_humidity", "high"),
        ("sensor stuck", "relative_humidity", "vapour_pressure_deficit", "low"),
        ("sensor drifting", "leaf_temperature", "leaf_vapour_pressure_deficit", "high"),
        ("sensor stuck", "illuminance", "light_hours", "high"),
        ("sensor stuck", "ppfd", "light_hours", "high"),
        ("sensor stuck", "ppfd", "daily_light_integral", "high"),
        ("sensor stuck", "illuminance", "daily_light_integral", "low"),
        ("sensor stuck", None, "tray_mass", "low"),
        ("medium left dry", None, "water_lost", "high_high"),
        ("over-misted", None, "water_lost", "low"),
        ("sensor drifting", "tray_mass", "water_lost", "high"),
        ("sensor implausible", "air_temperature", "air_temperature", SENSOR_IMPLAUSIBLE),
        ("clock set back", None, "air_temperature", SENSOR_SILENT),
    ],
)
def test_an_alarm_can_come_from_a_fault(fault: str, of: str | None, quantity: str, what: str) -> None:
    assert FAULTS[fault].explains(alarm(quantity, what), of)


@pytest.mark.parametrize(
    ("fault", "of", "quantity", "what"),
    [
        ("heater dead", None, "medium_temperature", "high"),
        ("heater dead", None, "light_hours", "low"),
        ("heater dead", None, "medium_temperature", SENSOR_SILENT),
        ("cover left off", None, "relative_humidity", "high"),
        ("sensor silent", "ppfd", "air_temperature", SENSOR_SILENT),
        ("sensor silent", "ppfd", "ppfd", SENSOR_IMPLAUSIBLE),
        ("sensor silent", "ppfd", "ppfd", "low"),
        ("sensor stuck", "relative_humidity", "air_temperature", "high"),
        ("sensor stuck", "air_temperature", "light_hours", "low"),
        ("medium left dry", None, "water_lost", "low"),
        ("sensor stuck", "air_temperature", "daily_light_integral", "low"),
        ("clock set back", None, "air_temperature", "low"),
    ],
)
def test_an_alarm_cannot_come_from_a_fault(fault: str, of: str | None, quantity: str, what: str) -> None:
    assert not FAULTS[fault].explains(alarm(quantity, what), of)


def test_every_sign_is_a_side_of_a_quantity_or_a_doubt_about_a_sensor() -> None:
    sides = {f"{quantity} {side}" for quantity in QUANTITIES for side in ("low", "high")}
    for kind in FAULTS.values():
        of_sensors = {SENSOR_SILENT, SENSOR_IMPLAUSIBLE} if kind.of_sensor else set()
        assert kind.signs <= sides | of_sensors | set(OF_CONDITIONS), kind.name


def test_every_fault_that_is_the_tray_s_has_signs() -> None:
    assert [kind.name for kind in FAULTS.values() if not kind.of_sensor and not kind.signs] == []
