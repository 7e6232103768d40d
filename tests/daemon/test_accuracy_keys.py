"""How accurate sensors are: written for the site or a tray, else as the library says."""

import re

import pytest
from base_config import BASE, EXAMPLE, built, changed

from wardian.daemon.config_models import AccuracyKeys
from wardian.daemon.effective import effective
from wardian.rules.errors import BadConfig
from wardian.rules.quantities import DERIVED_FROM
from wardian.rules.uncertainty import UNCERTAINTIES

LIBRARY = {"air_temperature": 0.3, "leaf_temperature": 0.5, "relative_humidity": 3.0}
READINGS = "readings: {hold: 5 min, settle: 5 s}"
STUCK = "stuck: 2026-03-01"


def site(accuracy: str) -> tuple[str, str]:
    return READINGS, f"readings: {{hold: 5 min, settle: 5 s, accuracy: {accuracy}}}"


def tray_b(accuracy: str) -> tuple[str, str]:
    return STUCK, f"{STUCK}\n    readings: {{accuracy: {accuracy}}}"


def test_what_an_uncertainty_needs_can_be_written_and_nothing_else() -> None:
    needed = {name for quantity in UNCERTAINTIES for name in DERIVED_FROM[quantity]}
    assert set(AccuracyKeys.model_fields) == needed


def test_where_nothing_is_written_the_library_knows_common_sensors() -> None:
    assert [tray.plan.accuracies for tray in built(BASE).trays] == [LIBRARY, LIBRARY]


def test_a_tray_has_its_own_accuracy_else_the_sites_else_the_librarys() -> None:
    config = changed(
        site("{air_temperature: 0.9 °F, relative_humidity: 2 %RH}"), tray_b("{relative_humidity: 1.5}")
    )
    first, second = (tray.plan.accuracies for tray in config.trays)
    assert first == {"air_temperature": 0.5, "leaf_temperature": 0.5, "relative_humidity": 2.0}
    assert second == {"air_temperature": 0.5, "leaf_temperature": 0.5, "relative_humidity": 1.5}


def test_a_perfect_sensor_is_not_as_if_nothing_were_written() -> None:
    config = changed(site("{relative_humidity: 2 %}"), tray_b("{relative_humidity: 0}"))
    assert config.trays[1].plan.accuracies["relative_humidity"] == 0.0


@pytest.mark.parametrize(
    ("accuracy", "told"),
    [
        ("{air_temperature: -0.3 K}", "accuracy.air_temperature: '-0.3 K' is less than nothing; 0 to 5 K"),
        ("{leaf_temperature: 5.01}", "accuracy.leaf_temperature: 5.01 is no accuracy of a sensor; 0 to 5 K"),
        ("{relative_humidity: 30 %}", "accuracy.relative_humidity: '30 %' is no accuracy of a sensor"),
        ("{relative_humidity: 0.3 K}", "accuracy.relative_humidity: '0.3 K' has the unit 'K'"),
        ("{air_temperature: often}", "accuracy.air_temperature: 'often' is no number"),
        ("{air_temperature: true}", "accuracy.air_temperature: is true; a difference such as 0.3 K"),
        ("{medium_temperature: 0.3 K}", "accuracy.medium_temperature: is no known key"),
        ("3 %", "accuracy: is the text '3 %'; a mapping such as"),
    ],
)
def test_what_is_no_accuracy_is_told_with_its_place(accuracy: str, told: str) -> None:
    for place, change in (("readings", site(accuracy)), ("trays[1].readings", tray_b(accuracy))):
        with pytest.raises(BadConfig) as caught:
            changed(change)
        assert f"{place}.{told}" in str(caught.value)


@pytest.mark.parametrize(("name", "most"), [("air_temperature", 5.0), ("relative_humidity", 20.0)])
def test_the_least_sensor_is_still_one(name: str, most: float) -> None:
    accuracies = changed(site(f"{{{name}: {most}}}")).trays[0].plan.accuracies
    assert accuracies[name] == most


def test_every_accuracy_in_force_says_where_it_comes_from() -> None:
    config = changed(site("{air_temperature: 0.9 °F}"), tray_b("{relative_humidity: 2 %}"))
    by_path = {one.path: one for one in effective(config)}
    air = by_path["trays[1].readings.accuracy.air_temperature"]
    assert (air.value, air.line, air.number, air.unit) == ("within ± 0.5 K", 4, 0.5, "K")
    own = by_path["trays[1].readings.accuracy.relative_humidity"]
    assert (own.value, own.line, own.number, own.unit) == ("within ± 2 %", 10, 2.0, "%")
    default = by_path["trays[0].readings.accuracy.relative_humidity"]
    assert (default.value, default.line) == ("within ± 3 %", None)
    assert "nearly saturated" in (default.why or "")
    assert by_path["readings.accuracy.air_temperature"].value == "0.9 °F"


def test_the_example_proposes_the_accuracies_of_the_library() -> None:
    text = EXAMPLE.read_text(encoding="utf-8")
    proposal = re.search(r"^  # accuracy: .*\n(?:  #   .*\n)+", text, re.MULTILINE)
    assert proposal
    uncommented = re.sub("^  # ", "  ", proposal[0], flags=re.MULTILINE)
    proposed = built(text.replace(proposal[0], uncommented))
    read = proposed.trays[0].plan.accuracies
    assert read == LIBRARY == built(text).trays[0].plan.accuracies
    assert {one.path for one in effective(proposed)} >= {f"readings.accuracy.{name}" for name in LIBRARY}
