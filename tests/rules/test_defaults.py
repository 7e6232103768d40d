"""The crop library has no gap: every quantity has defaults with reasons, every limit has advice."""

import re
from fractions import Fraction
from importlib.resources import files

import pytest

from wardian.adapters.yaml_file import parse
from wardian.daemon.library import PRIORITIES, SENSOR_CONDITIONS, Advice, Default, library
from wardian.daemon.reasoned import MARKS, Reasoned
from wardian.rules.crops import LIMITS, URGENT_LIMITS
from wardian.rules.quantities import DERIVED_FROM, QUANTITIES
from wardian.rules.uncertainty import UNCERTAINTIES

LIBRARY = library(parse)
ADVICE = [*LIBRARY.limits.values(), *LIBRARY.sensors.values()]
#: In words of priority: what must be done now, within hours, at the next round.
FASTEST = {"high": "within 30 min", "medium": "within 4 h", "low": "at the next round"}
#: The longest that a healthy tray needs after an airing.
AIRING_MS = 45 * 60_000


def values_of(default: Default) -> list[Reasoned]:
    values = [default.deadband, default.on_delay, default.off_delay, default.silent_after]
    return [*values, default.accuracy] if default.accuracy else values


@pytest.mark.parametrize("name", QUANTITIES)
def test_every_default_has_its_reason_and_says_how_sure_it_is(name: str) -> None:
    default = LIBRARY.defaults[name]
    assert default.quantity == name
    for value in values_of(default):
        assert value.text
        assert len(value.why) > 20
        assert value.mark.partition(": ")[0] in MARKS
        assert value.why in str(value)
        assert value.mark in str(value)


def test_the_files_name_exactly_the_quantities_there_are() -> None:
    defaults = parse((files("wardian.rules") / "defaults.yaml").read_bytes(), "defaults.yaml").value
    alarms = parse((files("wardian.rules") / "alarms.yaml").read_bytes(), "alarms.yaml").value
    assert set(defaults["quantities"]) == set(alarms["limits"]) == set(QUANTITIES)
    assert set(alarms["sensors"]) == set(SENSOR_CONDITIONS)
    assert all(set(limits) == set(LIMITS) for limits in alarms["limits"].values())


@pytest.mark.parametrize(
    ("quantity", "deadband"),
    [
        # Clearing distances that guidance on alarms for such trays uses, from memory.
        ("air_temperature", Fraction(1, 2)),
        ("medium_temperature", Fraction(1, 2)),
        ("leaf_temperature", Fraction(1, 2)),
        ("dew_point", Fraction(1, 2)),
        ("relative_humidity", Fraction(3)),
        ("vapour_pressure_deficit", Fraction(1, 20)),
        ("leaf_vapour_pressure_deficit", Fraction(1, 20)),
        ("illuminance", Fraction(500)),
        ("ppfd", Fraction(500)),
        ("daily_light_integral", Fraction(500)),
    ],
)
def test_a_deadband_is_exact_and_for_light_a_tenth_of_the_limit(quantity: str, deadband: Fraction) -> None:
    assert LIBRARY.defaults[quantity].deadband_of(Fraction(5000)) == deadband


@pytest.mark.parametrize("name", QUANTITIES)
def test_every_deadband_is_more_than_nothing_and_less_than_its_limit(name: str) -> None:
    assert 0 < LIBRARY.defaults[name].deadband_of(Fraction(1000)) < 1000


@pytest.mark.parametrize(
    "name", ["relative_humidity", "vapour_pressure_deficit", "leaf_vapour_pressure_deficit", "dew_point"]
)
def test_an_airing_is_over_before_an_alarm_about_moisture(name: str) -> None:
    assert LIBRARY.defaults[name].on_delay_ms >= AIRING_MS


def test_medium_is_given_longer_than_air_because_it_is_slower() -> None:
    medium, air = LIBRARY.defaults["medium_temperature"], LIBRARY.defaults["air_temperature"]
    assert (medium.on_delay_ms, air.on_delay_ms) == (3_600_000, 1_800_000)


@pytest.mark.parametrize("name", [name for name, quantity in QUANTITIES.items() if not quantity.derived])
def test_silence_is_told_a_quarter_of_an_hour_after_the_last_reading(name: str) -> None:
    hold_ms = 300_000
    assert hold_ms + LIBRARY.defaults[name].silent_after_ms == 900_000


def test_the_accuracy_of_exactly_what_an_uncertainty_follows_from_is_there() -> None:
    needed = {name for quantity in UNCERTAINTIES for name in DERIVED_FROM[quantity]}
    assert {name for name, default in LIBRARY.defaults.items() if default.accuracy} == needed
    assert all(LIBRARY.accuracy_of(name) > 0 for name in needed)


@pytest.mark.parametrize("name", ["water_ph", "water_ec"])
def test_what_is_measured_by_hand_is_judged_by_one_reading(name: str) -> None:
    # A longer delay could never pass: a reading stands for five minutes and no other follows.
    assert LIBRARY.defaults[name].on_delay_ms == 0


@pytest.mark.parametrize("name", QUANTITIES)
@pytest.mark.parametrize("limit", LIMITS)
def test_every_limit_has_advice(name: str, limit: str) -> None:
    advice = LIBRARY.advice(name, limit)
    for words in (advice.cause, advice.consequence, advice.action, advice.within):
        assert words
        assert words[0].islower(), words
        assert not words.endswith((".", ",")), words


@pytest.mark.parametrize("condition", SENSOR_CONDITIONS)
def test_every_quantity_has_advice_about_its_sensor(condition: str) -> None:
    assert {LIBRARY.advice(name, condition).alarm for name in QUANTITIES} == {condition}


@pytest.mark.parametrize("advice", ADVICE, ids=[advice.alarm for advice in ADVICE])
def test_an_alarm_has_a_plain_name_and_a_time_that_fits_its_priority(advice: Advice) -> None:
    assert re.fullmatch(r"[a-z]+(-[a-z]+)*", advice.alarm)
    assert advice.priority in PRIORITIES
    assert advice.within.startswith(FASTEST[advice.priority])


def test_no_two_alarms_have_one_name() -> None:
    assert len({advice.alarm for advice in ADVICE}) == len(ADVICE) == 4 * len(QUANTITIES) + 2


def test_low_humidity_is_too_dry() -> None:
    assert LIBRARY.advice("relative_humidity", "low").alarm == "too-dry"


@pytest.mark.parametrize("name", QUANTITIES)
def test_an_urgent_limit_is_never_less_urgent_than_the_one_inside_it(name: str) -> None:
    for urgent in URGENT_LIMITS:
        inner = LIBRARY.advice(name, urgent.partition("_")[0])
        assert PRIORITIES.index(LIBRARY.advice(name, urgent).priority) >= PRIORITIES.index(inner.priority)


def test_the_library_is_read_once() -> None:
    assert library(parse) is LIBRARY
