"""A configuration that holds becomes exactly what was written, with defaults where nothing was."""

from datetime import date
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from base_config import BASE, KERNEL, NOTIFIERS, SENSORS, built, changed, first_band

from wardian.adapters.yaml_file import parse
from wardian.daemon.config import Config, load
from wardian.daemon.config_sensors import SimulatorKeys
from wardian.daemon.expected import SIMULATED
from wardian.daemon.library import library
from wardian.rules.crops import Band, Limit, day_start_ms
from wardian.rules.faults import FAULTS
from wardian.rules.plans import LampRule
from wardian.simulator.probes import PROBES

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
    assert set(SIMULATED) == set(PROBES)


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
    for fault in FAULTS:
        keys = simulated(f"faults: [{{tray: tray-a, fault: {fault}}}]").simulator
        assert isinstance(keys, SimulatorKeys)
        assert [one.fault for one in keys.faults] == [fault]


def test_a_fault_is_every_sensor_s_of_its_tray_unless_one_quantity_is_named() -> None:
    silent = "{tray: tray-a, fault: sensor silent"
    config = simulated(f"faults: [{silent}}}, {silent}, quantity: relative_humidity, lasts: 1 h}}]")
    keys = config.simulator
    assert isinstance(keys, SimulatorKeys)
    assert [(one.quantity, one.after, one.lasts) for one in keys.faults] == [
        (None, 0, None),
        ("relative_humidity", 0, 3_600_000),
    ]
    assert keys.set_point is None


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


def test_roots_are_due_from_the_midnight_after_the_day_that_a_crop_says() -> None:
    zone = ZoneInfo("Europe/Lisbon")
    plans = [tray.plan for tray in changed(("  coleus:\n", "  coleus:\n    due: 14\n")).trays]
    assert plans[0].due_ms == day_start_ms(date(2026, 3, 17), zone)
    assert built(BASE).trays[0].plan.due_ms is None
