"""What a configuration says of alarms: in force in all that is told, shown with its place, and nobody else's."""

import re
from pathlib import Path
from typing import Any

import pytest
from base_config import BASE, EXAMPLE, built, changed
from replays import replayed

from wardian.adapters.yaml_file import parse
from wardian.daemon import wiring
from wardian.daemon.config_models import AdviceKeys
from wardian.daemon.config_types import LONGEST_SENTENCE
from wardian.daemon.effective import effective, effective_lines
from wardian.daemon.library import PRIORITIES, library
from wardian.rules.transitions import SENSOR_SILENT, Transition

FIELDS = ("priority", "cause", "consequence", "action", "within", "latch")
OVERRIDE = {"priority": "medium", "action": "mist, then seat the cover", "within": "within 2 h"}
ALARMS = 'alarms:\n  too-dry: {priority: medium, action: "mist, then seat the cover", within: within 2 h}\n'
READINGS = "readings: {hold: 5 min, settle: 5 s}\n"
DRY = Transition(
    time_ms=1_772_438_400_000,
    tray="tray-a",
    quantity="relative_humidity",
    limit="low",
    event="raised",
    condition="low",
    value=80.0,
    threshold=90.0,
    stage="callusing",
    since_ms=1_772_434_800_000,
)


def fields_of(advice: Any) -> dict[str, str]:
    return {name: getattr(advice, name) for name in FIELDS}


def overridden(alarms: str = ALARMS) -> Any:
    return changed((READINGS, READINGS + alarms))


def test_every_field_of_an_advice_can_be_written_and_its_name_and_condition_cannot() -> None:
    assert tuple(AdviceKeys.model_fields) == FIELDS


def test_what_is_written_changes_these_fields_of_this_alarm_alone() -> None:
    config, plain = overridden(), library(parse)
    mine, theirs = config.library.limits, plain.limits
    assert fields_of(mine["relative_humidity", "low"]) == {
        **fields_of(theirs["relative_humidity", "low"]),
        **OVERRIDE,
    }
    assert [key for key in theirs if mine[key] != theirs[key]] == [("relative_humidity", "low")]
    assert config.library.sensors == plain.sensors
    assert config.library.defaults is plain.defaults


def test_the_library_that_others_share_stays_as_it_is() -> None:
    shared = library(parse)
    before = [fields_of(one) for one in shared.alarms()]
    overridden()
    assert library(parse) is shared
    assert [fields_of(one) for one in shared.alarms()] == before
    assert built(BASE).library is shared


def test_an_alarm_about_sensors_is_overridden_for_every_quantity() -> None:
    config = overridden("alarms: {sensor-silent: {priority: high}}\n")
    advice = [config.library.advice(name, SENSOR_SILENT) for name in ("air_temperature", "tray_mass")]
    assert [one.priority for one in advice] == ["high", "high"]


def test_the_messages_say_what_was_written() -> None:
    teller = wiring.teller(overridden(), ["mail"])
    told = teller.fields(DRY)
    assert (told["alarm"], told["priority"]) == ("too-dry", "medium")
    (due,) = teller.messages(teller.message(told))
    assert "Priority medium." in due.message.body
    assert "To do within 2 h: mist, then seat the cover" in due.message.body
    assert "If nothing is done: cuttings without roots wilt" in due.message.body


def test_what_is_written_urgent_is_not_urgent_where_it_is_in_doubt() -> None:
    config = overridden("alarms: {still-air: {priority: high, action: air the tray}}\n")
    low = DRY._replace(quantity="vapour_pressure_deficit", value=0.02, threshold=0.05)
    told = wiring.teller(config).fields
    assert (told(low)["priority"], told(low._replace(in_doubt=True))["priority"]) == ("high", "medium")


@pytest.mark.parametrize("priority", PRIORITIES)
def test_a_replay_prints_the_priority_that_was_written(tmp_path: Path, priority: str) -> None:
    readings = tmp_path / "dry.csv"
    rows = (f"2026-03-02T{8 + n // 60:02}:{n % 60:02}:00Z,tray-a,relative_humidity,70,%" for n in range(60))
    readings.write_text("time,tray,quantity,value,unit\n" + "\n".join(rows) + "\n", encoding="utf-8")
    path = tmp_path / "config.yaml"
    path.write_text(BASE + f"alarms: {{too-dry: {{priority: {priority}}}}}\n", encoding="utf-8")
    journal, _ = replayed(path, readings)
    dry = [(one["alarm"], one["event"], one["priority"]) for one in journal if one["limit"] == "low"]
    assert dry == [("too-dry", "raised", priority)]


def test_the_effective_advice_says_where_it_comes_from() -> None:
    by_path = {one.path: one for one in effective(overridden())}
    written = by_path["alarms.too-dry.action"]
    assert (written.value, written.line, written.why) == ("mist, then seat the cover", 6, None)
    default = by_path["alarms.too-dry.cause"]
    assert default.value.startswith("the cover is off or ajar")
    assert default.line is None
    assert "rules/alarms.yaml" in (default.why or "")
    assert "alarms.too-dry.priority = medium  # c.yaml:6" in list(effective_lines(overridden()))


def test_advice_is_in_force_where_an_alarm_can_be_raised_or_is_written_of() -> None:
    def alarms_in(alarms: str) -> set[str]:
        paths = (one.path.split(".") for one in effective(overridden(alarms)))
        return {path[1] for path in paths if path[0] == "alarms"}

    # The limits of the two crops, and what the chips must bring.
    raised = {"air-far-too-cold", "air-too-cold", "air-too-warm", "air-far-too-warm", "too-dry"}
    raised |= {"light-too-short", "light-too-long", "sensor-silent", "sensor-implausible"}
    raised |= {*library(parse).conditions, *library(parse).watch}
    assert alarms_in("alarms: {}\n") == raised
    assert alarms_in("alarms: {feed-too-weak: {priority: low}}\n") == {*raised, "feed-too-weak"}


@pytest.mark.parametrize("length", [1, LONGEST_SENTENCE])
def test_a_text_may_be_as_long_as_is_accepted(length: int) -> None:
    config = overridden(f"alarms: {{too-dry: {{cause: {'x' * length}}}}}\n")
    assert config.library.limits["relative_humidity", "low"].cause == "x" * length


def test_the_library_says_nothing_that_could_not_be_written() -> None:
    for advice in library(parse).alarms():
        keys = AdviceKeys.model_validate(fields_of(advice))
        assert {name: getattr(keys, name) for name in FIELDS} == fields_of(advice)


def test_the_example_proposes_the_words_of_the_library_beside_its_own() -> None:
    text = EXAMPLE.read_text(encoding="utf-8")
    proposal = re.search(r"^  light-too-long:\n(?:    .*\n)+", text, re.MULTILINE)
    assert proposal
    proposed = built(text.replace(proposal[0], re.sub("^    # ", "    ", proposal[0], flags=re.MULTILINE)))
    key = "light_hours", "high"
    assert proposed.library.limits[key] == built(text).library.limits[key]
    assert proposed.library.limits[key].action != library(parse).limits[key].action
    sections = {one.path: one.line for one in effective(proposed)}
    assert all(sections[f"alarms.light-too-long.{name}"] for name in FIELDS)
