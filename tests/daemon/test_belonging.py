"""Which alarms of a tray are one trouble: what has one cause, or goes the same way."""

from typing import Any

import pytest

from wardian.adapters.yaml_file import parse
from wardian.daemon.belonging import tags_of
from wardian.daemon.library import library
from wardian.rules.crops import LIMITS
from wardian.rules.observing.causes import group_of
from wardian.rules.quantities import QUANTITIES
from wardian.rules.transitions import RAISED, Transition


def tags(
    quantity: str, condition: str, value: float | None = None, threshold: float | None = None, **more: Any
) -> frozenset[str]:
    limit = condition if condition in LIMITS else None
    which = (0, "tray-a", quantity, limit, RAISED, condition)
    group = group_of(Transition(*which, value, threshold, None, 0))
    return tags_of({"quantity": quantity, "limit": limit, "condition": condition, "group": group, **more})


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (("air_temperature", "low"), ("medium_temperature", "low_low")),
        (("air_temperature", "high"), ("leaf_temperature", "high_high")),
        (("relative_humidity", "low"), ("vapour_pressure_deficit", "high")),
        (("medium_moisture", "low"), ("tray_mass", "low")),
        (("illuminance", "low"), ("light_hours", "low")),
        (("water_ph", "low"), ("water_ph", "low_low")),
        (("air_temperature", "sensor-silent"), ("air_temperature", "sensor-stuck")),
        (("medium_temperature", "heater-idle"), ("air_temperature", "low")),
        (("relative_humidity", "cover-off"), ("vapour_pressure_deficit", "high")),
        (("illuminance", "lamp-not-on"), ("ppfd", "low")),
    ],
)
def test_what_goes_the_same_way_belongs_together(one: tuple[str, str], other: tuple[str, str]) -> None:
    assert tags(*one) == tags(*other)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (("air_temperature", "low"), ("air_temperature", "high")),
        (("air_temperature", "low"), ("illuminance", "low")),
        (("relative_humidity", "low"), ("vapour_pressure_deficit", "low")),
        (("air_temperature", "sensor-silent"), ("relative_humidity", "sensor-silent")),
        (("air_temperature", "sensor-silent"), ("air_temperature", "low")),
        (("water_ph", "low"), ("water_ec", "low")),
        (("medium_temperature", "past-due"), ("medium_temperature", "power-returned")),
    ],
)
def test_what_needs_two_things_done_does_not(one: tuple[str, str], other: tuple[str, str]) -> None:
    assert tags(*one).isdisjoint(tags(*other))


def test_what_has_one_cause_belongs_together_whichever_way_it_goes() -> None:
    lost = {"cause": {"name": "mains lost"}}
    assert not tags("illuminance", "low", **lost).isdisjoint(tags("air_temperature", "low", **lost))
    assert tags("illuminance", "low", cause=None) == tags("illuminance", "low")


def test_what_is_foretold_belongs_to_the_limit_that_it_foretells() -> None:
    rising = tags("air_temperature", "heading-out", value=25.0, threshold=27.0)
    falling = tags("air_temperature", "heading-out", value=25.0, threshold=24.0)
    assert (rising, falling) == (tags("air_temperature", "high"), tags("air_temperature", "low"))
    assert tags("air_temperature", "heading-out", value=None, threshold=None).isdisjoint(rising | falling)


def test_every_alarm_there_is_belongs_somewhere() -> None:
    known = library(parse)
    conditions = [*known.limits, *((name, key) for key in known.conditions for name in QUANTITIES)]
    assert all(len(tags(quantity, condition)) == 1 for quantity, condition in conditions)
