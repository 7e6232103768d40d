"""A configuration that holds becomes exactly what was written, with defaults where nothing was."""

import re
from datetime import date
from pathlib import Path
from typing import Any, get_args
from zoneinfo import ZoneInfo

import pytest

from wardian.adapters.yaml_file import parse
from wardian.daemon.config import Config, TraySettings, build, load
from wardian.daemon.config_sensors import FaultKeys, SimulatorKeys
from wardian.daemon.effective import effective, effective_json, effective_lines
from wardian.daemon.expected import SIMULATED
from wardian.daemon.library import library
from wardian.daemon.written import Section
from wardian.rules.crops import Band, Limit, day_start_ms
from wardian.rules.plans import LampRule
from wardian.simulator import faults, source

BASE = (Path(__file__).parent / "data" / "base.yaml").read_text()
EXAMPLE = Path(__file__).parents[2] / "config.example.yaml"
SENSORS = BASE[BASE.index("sensors:") :]
KERNEL = """\
sensors:
  - name: chips
    kind: kernel
    every: {every}
    channels:
      - {{tray: tray-a, quantity: air_temperature, file: hwmon0/temp1_input}}
"""
NOTIFIERS = "notifiers:\n  - {name: terminal, kind: console}\n"


def built(text: str) -> Config:
    return build(parse(text.encode(), "c.yaml"), Path("/bench"), library(parse))


def changed(*changes: tuple[str, str]) -> Config:
    text = BASE
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return built(text)


def warnings_of(*changes: tuple[str, str]) -> list[str]:
    return [warning.in_file("").removeprefix(":") for warning in changed(*changes).warnings]


def first_band(config: Config, quantity: str) -> Band:
    return config.trays[0].crop.stages[0].bands[quantity]


BANDS_OF_AIR = "          air_temperature: {low: 75 °F, high: 80 °F, deadband: 1 °F, on_delay: 10 min, off_delay: 5 min}\n"


def air_limit(written: str, limit: str = "high") -> Limit:
    config = changed((BANDS_OF_AIR, f"          air_temperature: {{{written}}}\n"))
    return next(one for one in first_band(config, "air_temperature").limits if one.name == limit)


def test_the_whole_configuration_becomes_what_the_program_uses() -> None:
    config = built(BASE)
    zone = ZoneInfo("Europe/Lisbon")
    assert (config.site.name, config.site.zone_name, config.site.units) == (
        "Teaching bench",
        "Europe/Lisbon",
        "US",
    )
    assert (config.store_url, config.commit_every_ms) == ("sqlite:////bench/wardian.db", 10_000)
    assert [tray.name for tray in config.trays] == ["tray-a", "tray-b"]
    tray = config.trays[0]
    assert (tray.crop.name, tray.stuck, tray.settle_ms) == ("coleus", date(2026, 3, 2), 5_000)
    assert tray.plan.hold_ms == 300_000
    assert tray.plan.lamp == LampRule("illuminance", 1000.0, 900.0)
    assert [(span.from_ms, span.stage.name) for span in tray.plan.spans] == [
        (day_start_ms(date(2026, 3, 2), zone), "callusing"),
        (day_start_ms(date(2026, 3, 10), zone), "rooting"),
    ]
    assert [sensor.name for sensor in config.sensors] == ["probes", "chips"]
    assert [notifier.name for notifier in config.notifiers] == ["terminal"]


def test_a_band_is_exact_in_its_own_unit() -> None:
    assert first_band(built(BASE), "air_temperature") == Band(
        "air_temperature",
        (
            Limit("high", 80 / 3, 235 / 9, 600_000, 300_000),
            Limit("low", 215 / 9, 220 / 9, 600_000, 300_000),
        ),
    )


@pytest.mark.parametrize(
    ("written", "threshold", "clear"),
    [
        # Computed in decimal and rounded once: 26.7 - 0.5 in binary would be 26.2 with another last bit.
        ("high: 26.7 °C, deadband: 0.5", 26.7, 26.2),
        ("high: 26.7, deadband: 0.5 K", 26.7, 26.2),
        ("high: '26.7', deadband: '0.5'", 26.7, 26.2),
        ("high: 26.70 Cel, deadband: .5 Cel", 26.7, 26.2),
        ("high: 299.85 K, deadband: 0.5 degC", 26.7, 26.2),
        ("high: 80.06 °F, deadband: 0.9 degF", 26.7, 26.2),
        ("high: 0.3e1, deadband: 0.1", 3.0, 2.9),
        ("high: 1.1, deadband: 1", 1.1, 0.1),
        ("high: -40 °F, deadband: 9 °F", -40.0, -45.0),
    ],
)
def test_a_limit_may_be_written_in_any_unit_and_its_deadband_is_a_difference(
    written: str, threshold: float, clear: float
) -> None:
    limit = air_limit(written)
    assert (limit.threshold, limit.clear) == (threshold, clear)


def test_a_low_limit_mirrors_a_high_one() -> None:
    limit = air_limit("low: 26.2, deadband: 0.5", "low")
    assert (limit.threshold, limit.clear) == (26.2, 26.7)


@pytest.mark.parametrize(
    ("quantity", "written", "threshold", "clear"),
    [
        ("relative_humidity", "0.9 /, deadband: 0.03 /", 90.0, 87.0),
        ("vapour_pressure_deficit", "400 Pa, deadband: 0.5 hPa", 0.4, 0.35),
        ("vapour_pressure_deficit", "0.4", 0.4, 0.35),
        ("illuminance", "5.5 klx", 5500.0, 4950.0),
        ("ppfd", "100 µmol/m2/s, deadband: 5", 100.0, 95.0),
        ("ppfd", "100 μmol/m²/s", 100.0, 90.0),
        ("tray_mass", "2.4 kg, deadband: 100 g", 2400.0, 2300.0),
        ("medium_moisture", "90 %", 90.0, 87.0),
        ("water_ph", "6.2", 6.2, 6.1),
        ("water_ec", "750 µS/cm, deadband: 50 uS/cm", 0.75, 0.7),
        ("light_hours", "1140 min, deadband: 15 min", 19.0, 18.75),
        ("daily_light_integral", "10 mol/m2/d", 10.0, 9.0),
        ("dew_point", "68 °F, deadband: 1.8 °F", 20.0, 19.0),
        ("leaf_vapour_pressure_deficit", "0.1 kPa", 0.1, 0.05),
    ],
)
def test_every_dimension_has_its_units(quantity: str, written: str, threshold: float, clear: float) -> None:
    old = (
        "relative_humidity: {low: 90 %}\n"
        if quantity == "relative_humidity"
        else "light_hours: {low: 17 h, high: 19 h}\n"
    )
    band = first_band(changed((old, f"{quantity}: {{high: {written}}}\n")), quantity)
    assert [(limit.threshold, limit.clear) for limit in band.limits] == [(threshold, clear)]


@pytest.mark.parametrize(
    ("written", "milliseconds"),
    [
        ("10 min", 600_000),
        ("1 h", 3_600_000),
        ("45 s", 45_000),
        ("1.5 h", 5_400_000),
        ("90", 90_000),
        ("'90'", 90_000),
        ("1e3", 1_000_000),
        ("0.5", 500),
        ("0.001", 1),
        ("250 ms", 250),
        ("1 d", 86_400_000),
        ("0", 0),
        ("10min", 600_000),
    ],
)
def test_a_duration_is_whole_milliseconds(written: str, milliseconds: int) -> None:
    limit = air_limit(f"high: 26, on_delay: {written}, off_delay: 7")
    assert (limit.on_delay_ms, limit.off_delay_ms) == (milliseconds, 7_000)


def test_what_a_band_does_not_say_comes_from_the_library() -> None:
    default = library(parse).defaults["relative_humidity"]
    (limit,) = first_band(built(BASE), "relative_humidity").limits
    assert limit == Limit("low", 90.0, 93.0, default.on_delay_ms, default.off_delay_ms)


# ---------------------------------------------------------------------------------- light, readings


@pytest.mark.parametrize(
    ("site", "own", "lamp"),
    [
        ("lit_above: 1000 lx, lit_deadband: 100 lx", "", LampRule("illuminance", 1000.0, 900.0)),
        ("lit_above: 2 klx", "", LampRule("illuminance", 2000.0, 1800.0)),
        ("", "", LampRule("illuminance", 1000.0, 900.0)),
        ("lit_above: 0.3 lx, lit_deadband: 0.1", "", LampRule("illuminance", 0.3, 0.2)),
        ("lit_above: 20 umol/m2/s, lit_deadband: 2", "", LampRule("ppfd", 20.0, 18.0)),
        (
            "lit_above: 1000 lx, lit_deadband: 100 lx",
            "lit_above: 500 lx",
            LampRule("illuminance", 500.0, 400.0),
        ),
        (
            "lit_above: 1000 lx, lit_deadband: 100 lx",
            "lit_deadband: 5 lx",
            LampRule("illuminance", 1000.0, 995.0),
        ),
        ("lit_above: 1000 lx, lit_deadband: 100 lx", "lit_above: 20 umol/m2/s", LampRule("ppfd", 20.0, 18.0)),
    ],
)
def test_a_tray_takes_its_light_key_by_key_from_the_site(site: str, own: str, lamp: LampRule) -> None:
    config = changed(
        ("light: {lit_above: 1000 lx, lit_deadband: 100 lx}", f"light: {{{site}}}"),
        ("stuck: 2026-03-02}", f"stuck: 2026-03-02, light: {{{own}}}}}"),
    )
    assert config.trays[0].plan.lamp == lamp


def test_a_tray_takes_its_readings_key_by_key_from_the_site() -> None:
    config = changed(("stuck: 2026-03-02}", "stuck: 2026-03-02, readings: {hold: 20 min}}"))
    assert [(tray.plan.hold_ms, tray.settle_ms) for tray in config.trays] == [
        (1_200_000, 5_000),
        (300_000, 5_000),
    ]


def test_without_sections_of_their_own_light_and_readings_have_defaults() -> None:
    config = changed(
        ("light: {lit_above: 1000 lx, lit_deadband: 100 lx}\n", ""),
        ("readings: {hold: 5 min, settle: 5 s}\n", ""),
    )
    plan = config.trays[0].plan
    assert (plan.hold_ms, config.trays[0].settle_ms, plan.lamp) == (
        300_000,
        5_000,
        LampRule("illuminance", 1000.0, 900.0),
    )


# ------------------------------------------------------------------------------------------ sensors


def test_each_sensor_says_what_it_must_bring() -> None:
    more = """\
      - {topic: "mass/{quantity}", payload: number, tray: tray-b}
      - {topic: "a/{tray}", payload: json, pointers: {ppfd: /p, leaf_temperature: /l}}
      - topic: s
        payload: senml
        names: {x: {tray: tray-a, quantity: water_ph}, "{tray}/y": tray_mass, z: ignore}
"""
    config = changed(("payload: number}\n", "payload: number}\n" + more))
    # Where a topic leaves the quantity open, what the bands need: humidity, and for tray-a also air and light.
    assert config.expected == {
        "probes": {
            ("tray-a", "air_temperature"),
            ("tray-a", "relative_humidity"),
            ("tray-a", "illuminance"),
            ("tray-b", "relative_humidity"),
            ("tray-a", "ppfd"),
            ("tray-b", "ppfd"),
            ("tray-a", "leaf_temperature"),
            ("tray-b", "leaf_temperature"),
            ("tray-a", "water_ph"),
            ("tray-a", "tray_mass"),
            ("tray-b", "tray_mass"),
        },
        "chips": {("tray-a", "air_temperature")},
    }


def test_a_person_may_say_what_a_sensor_must_bring() -> None:
    expect = "    expect: [{tray: tray-b, quantity: water_ec}]\n"
    config = changed(("    kind: mqtt\n", "    kind: mqtt\n" + expect))
    assert config.expected["probes"] == {("tray-b", "water_ec")}
    config = built(
        BASE.replace(
            SENSORS, f"sensors:\n  - name: file\n    kind: csv\n    file: a.csv\n{expect}{NOTIFIERS}"
        )
    )
    assert config.expected["file"] == {("tray-b", "water_ec")}
    assert config.trays[1].plan.silent_after_ms == {"water_ec": 600_000}


@pytest.mark.parametrize(
    ("every", "silent_after_ms"),
    [("10 s", 600_000), ("5 min", 600_000), ("5.1 min", 618_000), ("1 h", 10_500_000)],
)
def test_silence_is_told_after_three_polls_or_a_quarter_of_an_hour(every: str, silent_after_ms: int) -> None:
    config = built(BASE.replace(SENSORS, KERNEL.format(every=every) + NOTIFIERS))
    assert config.trays[0].plan.silent_after_ms == {"air_temperature": silent_after_ms}
    assert config.trays[1].plan.silent_after_ms == {}


def test_how_long_silence_is_borne_may_be_written_for_the_site_and_for_a_tray() -> None:
    site = ("readings: {hold: 5 min,", "readings: {silent_after: 30 min, hold: 5 min,")
    own = ("stuck: 2026-03-02}", "stuck: 2026-03-02, readings: {silent_after: 0}}")
    assert set(changed(site).trays[0].plan.silent_after_ms.values()) == {1_800_000}
    assert set(changed(site, own).trays[0].plan.silent_after_ms.values()) == {0}
    assert set(changed(site, own).trays[1].plan.silent_after_ms.values()) == {1_800_000}


def simulated(*keys: str, readings: str = "readings: {hold: 5 min}") -> Config:
    sensor = "sensors:\n  - name: bench\n    kind: simulator\n" + "".join(f"    {one}\n" for one in keys)
    text = BASE.replace(SENSORS, sensor + NOTIFIERS).replace("readings: {hold: 5 min, settle: 5 s}", readings)
    return built(text)


def test_a_simulator_brings_five_quantities_of_every_tray() -> None:
    config = simulated()
    assert config.expected["bench"] == {
        (tray, quantity) for tray in ("tray-a", "tray-b") for quantity in SIMULATED
    }
    assert simulated("trays: [tray-b]").expected["bench"] == {("tray-b", quantity) for quantity in SIMULATED}
    assert set(SIMULATED) == set(source._PROBES)


def test_a_hurried_clock_waits_longer_for_readings_unless_told() -> None:
    assert [simulated(f"speed: {speed}").trays[0].settle_ms for speed in (1, 2, 600)] == [
        5_000,
        5_000,
        1_200_000,
    ]
    assert simulated("speed: 600", readings="readings: {settle: 6 s}").trays[0].settle_ms == 6_000


def test_a_simulator_s_keys_become_numbers() -> None:
    config = simulated(
        "start: 2026-03-02T06:00:00.250+01:00",
        "set_point: 77 °F",
        "lamp: {on: 5:00, off: 23:30}",
        "seed: 1e3",
        "faults: [{tray: tray-a, fault: heater dead, after: 90 min}]",
    )
    keys = config.simulator
    assert isinstance(keys, SimulatorKeys)
    assert (keys.start, keys.set_point, keys.seed, keys.speed) == (1_772_427_600_250, 25.0, 1000, 1.0)
    assert (keys.lamp.on.isoformat("minutes"), keys.lamp.off.isoformat("minutes")) == ("05:00", "23:30")
    assert [(fault.fault, int(fault.after), fault.lasts) for fault in keys.faults] == [
        ("heater dead", 5_400_000, None)
    ]


def test_every_fault_of_the_simulator_can_be_written() -> None:
    assert set(get_args(FaultKeys.model_fields["fault"].annotation)) == set(faults.FAULTS)


@pytest.mark.parametrize(
    ("url", "located"),
    [
        ("sqlite:///wardian.db", "sqlite:////bench/wardian.db"),
        ("sqlite:///kept/a%20b.db", "sqlite:////bench/kept/a%20b.db"),
        ("sqlite:////var/lib/wardian.db", "sqlite:////var/lib/wardian.db"),
        ("memory:", "memory:"),
    ],
)
def test_the_store_stands_beside_the_configuration(url: str, located: str) -> None:
    assert changed(("sqlite:///wardian.db", url)).store_url == located


def test_files_are_named_from_the_folder_of_the_configuration(tmp_path: Path) -> None:
    text = BASE.replace("port: 1883}", "user: a, password_file: keys/p, tls: {ca_file: /etc/ca.pem}}")
    (tmp_path / "config.yaml").write_text(text)
    config = load(tmp_path / "config.yaml", parse)
    broker: Any = config.sensors[0].broker  # type: ignore[union-attr] # the first one of the base is an mqtt sensor
    assert (broker.password_file, broker.tls.ca_file) == (tmp_path / "keys" / "p", Path("/etc/ca.pem"))
    assert (broker.port_used, broker.protocol) == (8883, "5")
    assert config.store_url == f"sqlite:///{tmp_path}/wardian.db"


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
