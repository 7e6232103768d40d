"""What a configuration is warned of, what is in force and why, and the example that comes with it."""

import re
from datetime import date
from pathlib import Path

import pytest
from base_config import BASE, EXAMPLE, KERNEL, NOTIFIERS, SENSORS, built, warnings_of

from wardian.adapters.yaml_file import parse
from wardian.daemon.config import Config, TraySettings, load
from wardian.daemon.effective import effective, effective_json, effective_lines
from wardian.daemon.wiring import load_config
from wardian.daemon.written import Section
from wardian.rules.errors import BadConfig

# ----------------------------------------------------------------------------------------- warnings


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (
            "high: 80 °F",
            "high: 200 °F",
            "16: crops.coleus.stages[0].bands.air_temperature.high: can never alarm",
        ),
        ("low: 75 °F", "low: -40", "16: crops.coleus.stages[0].bands.air_temperature.low: can never alarm"),
        (
            "{low: 90 %}",
            "{high: 100 %}",
            "17: crops.coleus.stages[0].bands.relative_humidity.high: can never alarm",
        ),
        (
            "{low: 90 %}",
            "{low: 0 %}",
            "17: crops.coleus.stages[0].bands.relative_humidity.low: can never alarm",
        ),
        (
            "{low: 90 %}",
            "{low: 101 %}",
            "17: crops.coleus.stages[0].bands.relative_humidity.low: always alarms",
        ),
        (
            "{low: 90 %}",
            "{low: 98 %}",
            "17: crops.coleus.stages[0].bands.relative_humidity.low: can never return",
        ),
        ("high: 19 h", "high: 24 h", "18: crops.coleus.stages[0].bands.light_hours.high: can never alarm"),
        (
            "deadband: 1 °F",
            "deadband: 6 °F",
            "16: crops.coleus.stages[0].bands.air_temperature.deadband: is wider",
        ),
        (
            "bands: {relative_humidity: {low: 85 %}}",
            "bands: {}",
            "8: trays[1].crop: has no band in any stage",
        ),
        (", bands: {relative_humidity: {low: 85 %}}", "", "8: trays[1].crop: has no band in any stage"),
        ("host: 127.0.0.1", "host: broker.example", "33: sensors[0].broker: asks for no user"),
        (
            "kind: kernel",
            "kind: kernel\n    every: 6 min",
            "38: sensors[1].every: is longer than a reading stands (5 min)",
        ),
        ("notifiers:\n  - {name: terminal, kind: console}\n", "", "1: notifiers: name nobody to tell"),
        ("kind: console}\n", "kind: console}", "41: notifiers[0].kind: is on a last line without an end"),
    ],
)
def test_what_is_hardly_meant_is_a_warning(old: str, new: str, told: str) -> None:
    warnings = warnings_of((old, new))
    assert any(warning.startswith(told) for warning in warnings), warnings


@pytest.mark.parametrize("deadband", ["1 °F", "5 °F", "0"])
def test_a_deadband_up_to_the_width_of_the_band_is_no_warning(deadband: str) -> None:
    assert warnings_of(("deadband: 1 °F", f"deadband: {deadband}")) == []


def test_a_band_that_no_sensor_can_serve_is_a_warning() -> None:
    config = built(BASE.replace(SENSORS, KERNEL.format(every="10 s") + NOTIFIERS))
    assert [warning.in_file("").removeprefix(":") for warning in config.warnings] == [
        "6: trays[0]: has a band of light_hours, which can never alarm: no sensor brings illuminance",
        "6: trays[0]: has a band of relative_humidity, which can never alarm: no sensor brings relative_humidity",
        "7: trays[1]: has a band of relative_humidity, which can never alarm: no sensor brings relative_humidity",
    ]


# ---------------------------------------------------------------------------------- the effective


def test_every_value_in_force_says_where_it_comes_from() -> None:
    by_path = {one.path: one for one in effective(built(BASE))}
    assert all((one.line is None) != (one.why is None) for one in by_path.values())
    air = "crops.coleus.stages[0].bands.air_temperature"
    high = by_path[f"{air}.high"]
    assert (high.line, high.number, high.unit) == (16, 80 / 3, "°C")
    assert high.value == f"80 °F ({80 / 3!r} °C, within again at {235 / 9!r} °C)"
    delay = by_path["crops.coleus.stages[0].bands.relative_humidity.on_delay"]
    assert (delay.line, delay.value, delay.number, delay.unit) == (None, "45 min", 2700.0, "s")
    assert "airing" in (delay.why or "")
    assert by_path["trays[1].readings.hold"].line == 4
    assert by_path["sensors[1].every"].why
    silent = by_path["trays[0].readings.silent_after.air_temperature"]
    assert (silent.value, silent.line) == ("10 min", None)


def test_the_effective_values_are_lines_for_people_and_an_object_for_programs() -> None:
    config = built(BASE)
    lines = list(effective_lines(config))
    assert "trays[0].crop = coleus  # c.yaml:6" in lines
    assert any(line.startswith("store.commit_every = 10 s  # c.yaml:2") for line in lines)
    values = effective_json(config)["values"]
    assert len(values) == len(lines)
    assert {
        "path": "trays[0].crop",
        "value": "coleus",
        "line": 6,
        "why": None,
        "number": None,
        "unit": None,
    } in values


# ------------------------------------------------------------------------------------ the example


def example() -> Config:
    return load(EXAMPLE, parse)


def test_the_example_holds_without_a_warning() -> None:
    config = example()
    assert config.warnings == ()
    assert [tray.name for tray in config.trays] == [f"tray-{letter}" for letter in "abcdef"]
    crops = {tray.crop.name: tray.crop for tray in config.trays}
    assert len(crops) == 4
    assert {len(crop.stages) for crop in crops.values()} == {3}
    assert config.store_url.endswith("/wardian-example.db")


def days_at_start(config: Config, tray: TraySettings) -> int:
    assert config.simulator is not None
    assert config.simulator.start is not None
    start = date(1970, 1, 1).toordinal() + config.simulator.start // 86_400_000
    return start - tray.stuck.toordinal()


def test_the_example_shows_trays_of_several_stages_on_the_day_it_begins() -> None:
    config = example()
    days = [days_at_start(config, tray) for tray in config.trays]
    stages = [
        max(stage.from_day for stage in tray.crop.stages if stage.from_day <= day)
        for tray, day in zip(config.trays, days, strict=True)
    ]
    assert all(day >= 0 for day in days)
    assert len(set(stages)) > 1


def test_what_the_example_shows_commented_out_is_valid_too() -> None:
    text = EXAMPLE.read_text()
    for key in ("start", "speed"):
        text = re.sub(rf"(?m)^    {key}: .*\n", "", text)
    uncommented = re.sub(r"(?m)^( +)# ((?:  |- |[a-z_]+:(?: |$)).*)$", _shown, text)
    kinds = {notifier.kind for notifier in built(text).notifiers} | {
        sensor.kind for sensor in built(text).sensors
    }
    assert kinds == {"console", "simulator"}
    config = built(uncommented)
    assert [sensor.kind for sensor in config.sensors] == ["simulator", "mqtt", "kernel", "csv"]
    assert [notifier.kind for notifier in config.notifiers] == ["console", "webhook", "mqtt", "apprise"]
    assert config.trays[0].settle_ms == 5_000
    assert config.warnings == ()


def _shown(match: re.Match[str]) -> str:
    """Take the sign away, as a person would, from what is YAML; prose keeps it."""
    return match[1] + match[2]


def sections_below(section: type[Section]) -> list[type[Section]]:
    return [section, *(deeper for one in section.__subclasses__() for deeper in sections_below(one))]


@pytest.mark.parametrize(
    "name", sorted({name for section in sections_below(Section) for name in section.model_fields})
)
def test_every_key_is_explained_in_the_example(name: str) -> None:
    assert re.search(rf"\b{name}\b", EXAMPLE.read_text())


def test_the_day_by_which_roots_are_expected_is_in_force_with_its_line() -> None:
    text = BASE.replace("  coleus:\n", "  coleus:\n    due: 14\n")
    lines = [line for line in effective_lines(built(text)) if ".due" in line]
    assert lines == ["crops.coleus.due = 14  # c.yaml:12"]


@pytest.mark.parametrize(
    ("subscription", "told"),
    [
        ('{topic: "$share/g", payload: number, tray: tray-a, quantity: ppfd}', "is not $share/NAME/FILTER"),
        ('{topic: "x/{tray}", payload: senml, names: {"a b": ppfd}}', "'a b' is no SenML name"),
        ('{topic: "x/{tray}", payload: senml, names: {"{x}": ppfd}}', "neither {tray} nor {quantity}"),
        (
            '{topic: "x/{tray}", payload: senml, quantity: ppfd, names: {abc: {unit: kg}}}',
            "unit 'kg' is none of ppfd",
        ),
        (
            '{topic: "x/{tray}/{quantity}", payload: number, unit: furlong}',
            "'furlong' is that of no quantity",
        ),
        (
            '{topic: "x/{tray}", payload: json, pointers: {air_temperature: /t, leaf_temperature: /t}}',
            "has '/t' for air_temperature and for leaf_temperature",
        ),
        (
            '{topic: "x/{tray}", payload: json, pointers: {ppfd: /p}, units: {illuminance: klx}}',
            "has a unit of illuminance, for which it has no pointer",
        ),
    ],
)
def test_what_the_wire_would_not_understand_is_told_with_its_line(
    tmp_path: Path, subscription: str, told: str
) -> None:
    """Found by fuzzing: some ended a start with a traceback, and of two quantities at one place one was lost."""
    path = tmp_path / "c.yaml"
    path.write_text(BASE.replace('{topic: "class/{tray}/{quantity}", payload: number}', subscription))
    with pytest.raises(BadConfig) as caught:
        load_config(path)
    (mistake,) = caught.value.mistakes
    assert mistake.line == 35
    assert mistake.path.startswith("sensors[0].subscriptions[0]")
    assert told in mistake.problem
