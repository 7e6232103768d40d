"""What probes tell when they are broken, judged as a person would: by a replay, and by the daemon itself."""

import contextlib
import io
import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pytest
from fault_bench import MINUTE_MS, Settings, WaitUntil, fault_bench
from invariants import invariants
from replays import replayed

from wardian.adapters.sysfs import crc8
from wardian.adapters.timestamps import text_of
from wardian.daemon.cli import main

NOON_MS = 1_772_452_800_000
CONFIG = """\
site: {name: Evening propagation class, timezone: Europe/Lisbon, units: SI}
trays:
  - {name: tray-a, crop: coleus, stuck: 2026-02-28}
crops:
  coleus:
    stages:
      - name: callusing
        from_day: 0
        bands:
          medium_temperature: {low: 20 °C, high: 25 °C}
          relative_humidity: {low: 88 %}
          vapour_pressure_deficit: {high: 0.4 kPa}
          light_hours: {low: 17 h, high: 19 h}
light: {lit_above: 1000 lx, lit_deadband: 100 lx}
readings: {hold: 5 min}
sensors:
  - {name: logger, kind: csv, file: grown.csv, expect: [{tray: tray-a, quantity: illuminance}]}
"""
#: Minute, quantity and value, which may have its unit behind a comma.
Row = tuple[float, str, object]


def told_by(folder: Path, rows: Iterable[Row], *options: str) -> list[tuple[float, str, str, str]]:
    """Return what a replay of (minute, quantity, value) tells of tray-a: minute, quantity, alarm, event."""
    (folder / "config.yaml").write_text(CONFIG, encoding="utf-8")
    lines = ["time,tray,quantity,value,unit"]
    for minute, quantity, value in rows:
        time = text_of(NOON_MS + round(minute * MINUTE_MS))
        lines.append(f"{time},tray-a,{quantity},{value}" + ("" if "," in str(value) else ","))
    readings = folder / "readings.csv"
    readings.write_text("\n".join(lines) + "\n", encoding="utf-8")
    journal, _ = replayed(folder / "config.yaml", readings, *options)
    return [
        ((time_ms(one) - NOON_MS) / MINUTE_MS, one["quantity"], one["alarm"], one["event"]) for one in journal
    ]


def time_ms(entry: dict[str, Any]) -> int:
    from wardian.daemon.tongue import ms_of

    return ms_of(entry["time"])


def alarms(told: Iterable[tuple[float, str, str, str]]) -> set[str]:
    return {alarm for _, _, alarm, _ in told}


# -------------------------------------------------------------------- a pretended bench of bad probes


BadProbes = tuple[list[dict[str, Any]], dict[str, dict[str, str]]]


def bad_probes(folder: Path, days: int, *scenarios: str) -> BadProbes:
    """Let some days of as many pretended trays pass, with bad probes; return the journal, and the truth by fault."""
    config, week, truth = folder / "config.yaml", folder / "week.csv", folder / "truth.json"
    trays = [
        f"  - {{name: tray-{letter}, crop: coleus, stuck: 2026-02-28}}" for letter in "abc"[: len(scenarios)]
    ]
    site = "site: {name: Evening propagation class, timezone: Europe/Lisbon, units: SI}"
    config.write_text("\n".join([site, "trays:", *trays, ""]), encoding="utf-8")
    options = [f"--config={config}", f"--out={week}", f"--truth={truth}", f"--days={days}", "--seed=3"]
    with contextlib.redirect_stdout(io.StringIO()):
        assert main(["simulate", *options, *(f"--scenario={name}" for name in scenarios)]) == 0
    journal, _ = replayed(config, week, "--conditions")
    return journal, {one["fault"]: one for one in json.loads(truth.read_text())["faults"]}


@pytest.fixture(scope="module")
def three_trays(tmp_path_factory: pytest.TempPathFactory) -> BadProbes:
    """Three days of three trays, of which one has a probe that is stuck, and one a probe that resets."""
    folder = tmp_path_factory.mktemp("three trays")
    return bad_probes(folder, 3, "power-on-value", "sensor-saturated", "sensor-stuck")


@pytest.mark.fault(4)
@pytest.mark.long
def test_a_stuck_probe_is_told_with_how_long_and_no_other_tray_is_called_stuck(
    three_trays: BadProbes,
) -> None:
    journal, truth = three_trays
    stuck = [one for one in journal if one["alarm"] == "sensor-stuck"]
    assert [one["event"] for one in stuck] == ["raised", "returned"]
    assert {one["tray"] for one in stuck} == {truth["sensor stuck"]["tray"]}
    assert {one["quantity"] for one in stuck} == {truth["sensor stuck"]["quantity"]}
    assert truth["sensor stuck"]["from"] < stuck[0]["time"] < truth["sensor stuck"]["to"]
    assert "without any change for" in stuck[0]["message"]


@pytest.mark.fault(4)
def test_a_constant_is_stuck_within_hours_and_what_moves_by_the_last_digit_is_not(tmp_path: Path) -> None:
    alive = [(minute, "medium_temperature", 22.5 + (minute * 7 % 5) / 16) for minute in range(720)]
    resting = [(720 + minute, "medium_temperature", 22.5) for minute in range(240)]
    assert alarms(told_by(tmp_path, alive, "--conditions")) <= {"medium-unsteady"}
    told = [one for one in told_by(tmp_path, [*alive, *resting], "--conditions") if one[2] == "sensor-stuck"]
    assert [(one[1], one[3]) for one in told] == [("medium_temperature", "raised")]
    assert 720 + 120 <= told[0][0] <= 720 + 125


@pytest.mark.fault(5)
@pytest.mark.long
def test_the_power_on_value_is_a_fault_of_the_sensor_and_never_too_hot(three_trays: BadProbes) -> None:
    journal, truth = three_trays
    mine = [one for one in journal if one["tray"] == truth["power-on value"]["tray"]]
    assert {one["alarm"] for one in mine} == {"sensor-implausible"}
    assert all("cannot be true" in one["message"] for one in mine if one["event"] == "raised")


@pytest.mark.fault(5)
@pytest.mark.parametrize("value", ["85", "85.0", "127.94", "127.9375", "-127", "185,degF", "358.15,K"])
def test_what_a_probe_tells_without_measuring_is_refused_on_every_wire(tmp_path: Path, value: str) -> None:
    moist: list[Row] = [(minute, "relative_humidity", 93) for minute in range(-5, 30)]
    for false in (range(1), range(10, 11), range(10, 30)):  # the first after a start, a single one, for good
        rows: list[Row] = [
            (minute, "medium_temperature", value if minute in false else 22.5) for minute in range(30)
        ]
        told = told_by(tmp_path, [*moist, *rows])
        assert told[0] == (false.start, "medium_temperature", "sensor-implausible", "raised")
        assert alarms(told) == {"sensor-implausible"}


@pytest.mark.fault(5)
def test_a_true_rise_is_not_refused_however_hot_it_gets(tmp_path: Path) -> None:
    rise = [(minute, "medium_temperature", 21 + minute) for minute in range(60)]
    stays = [(60 + minute, "medium_temperature", 80.0) for minute in range(60)]
    assert told_by(tmp_path, [*rise, *stays]) == [(65, "medium_temperature", "medium-too-warm", "raised")]


def one_wire(celsius: float, byte_6: int = 0x10) -> str:
    """Return what the kernel's file of a 1-wire chip holds (w1_therm.rst)."""
    raw = round(celsius * 16) & 0xFFFF
    octets = bytes([raw & 0xFF, raw >> 8, 0x4B, 0x46, 0x7F, 0xFF, byte_6, 0x10])
    text = " ".join(f"{octet:02x}" for octet in [*octets, crc8(octets)])
    return f"{text} : crc={crc8(octets):02x} YES\n{text} t={int(celsius * 1000)}\n"


KERNEL = """\
  - {name: wired, kind: kernel, root: sys, every: 1 s, channels: [
      {tray: tray-b, quantity: medium_temperature, file: w1/w1_slave},
      {tray: tray-b, quantity: air_temperature, file: hwmon0/temp1_input}]}
"""


@pytest.mark.needs_broker
@pytest.mark.fault(5)
def test_the_daemon_keeps_why_a_wired_probe_was_not_believed_and_tells_a_fault_of_the_sensor(
    tmp_path: Path, broker: Any, wait_until: WaitUntil
) -> None:
    bands = "          medium_temperature: {low: 20 °C, high: 25 °C}\n          air_temperature: {low: 20 °C, high: 25 °C}\n"
    with fault_bench(tmp_path, broker, wait_until, Settings(bands=bands, sensors=KERNEL)) as bench:
        probe, chip = bench.folder / "sys/w1/w1_slave", bench.folder / "sys/hwmon0/temp1_input"
        for file in (probe, chip):
            file.parent.mkdir(parents=True)
        for one in (
            one_wire(85.0, 0x0C),
            one_wire(127.9375, 0x0C),
            one_wire(22.5).replace("YES", "NO"),
            one_wire(22.5),
        ):
            probe.write_text(one)
            chip.write_text("85000\n" if "t=22500" not in one else "22500\n")
            if bench.process is None:
                bench.start()
            before = bench.counted()
            bench.until(lambda: bench.counted() >= before + 4, "the probe to be read", 20)  # noqa: B023 - waited for at once
        bench.status_says("sensor-implausible")
        bench.until(lambda: any(r.quantity == "medium_temperature" for r in bench.kept()), "a good value", 20)
        reasons = " ".join(one.why for one in bench.refused())
        for words in (
            "power-on value",
            "too little power",
            "check of the bytes failed",
            "85 °C is impossible",
        ):
            assert words in reasons
        assert alarms((0.0, *one[1:]) for one in bench.told()) == {"sensor-implausible"}
        invariants(bench)
        assert bench.stop() == 0


# ------------------------------------------------------------------------------------------ humidity


@pytest.mark.fault(6)
@pytest.mark.parametrize(
    ("value", "expected"),
    [
        ("100.0", set()),
        ("100.5", set()),
        ("105", set()),
        ("105.0000001", {"sensor-implausible"}),
        ("-0.0001", {"sensor-implausible"}),
        ("0", {"too-dry"}),
    ],
)
def test_a_wet_humidity_chip_is_believed_up_to_its_bound_and_refused_beyond(
    tmp_path: Path, value: str, expected: set[str]
) -> None:
    warm: list[Row] = [(minute, "medium_temperature", 22.5) for minute in range(120)]
    rows: list[Row] = [(minute, "relative_humidity", value if minute > 9 else "93") for minute in range(120)]
    assert alarms(told_by(tmp_path, [*warm, *rows])) - {"sensor-silent"} == expected


@pytest.mark.fault(6)
def test_days_at_saturation_are_a_wet_sensor_and_what_follows_from_it_is_held_back(tmp_path: Path) -> None:
    journal, truth = bad_probes(tmp_path, 2, "sensor-saturated")
    mine = [one for one in journal if one["tray"] == truth["sensor saturated"]["tray"]]
    told = [(one["alarm"], one["event"]) for one in mine]
    assert told[0] == ("sensor-saturated", "raised")
    others = {alarm for alarm, _ in told} - {"sensor-saturated"}
    assert others <= {"wet-too-long"}
    assert all((alarm, "suppressed") in told for alarm in others)


# --------------------------------------------------------------------------------- light and deficits


def light(dark: range, dead: range, days: int = 3) -> list[Row]:
    """Return a lamp's days by 2 minutes: dark in some minutes of each day, not measured in others of the last."""
    last = (days - 1) * 1440
    return [
        (minute, "illuminance", 0 if minute % 1440 in dark else 6000)
        for minute in range(0, days * 1440, 2)
        if not (minute >= last and minute - last in dead)
    ]


@pytest.mark.fault(46)
@pytest.mark.parametrize("dead", [range(300), range(300, 660), range(600, 1200)])
def test_hours_without_a_light_sensor_are_neither_light_nor_dark(tmp_path: Path, dead: range) -> None:
    told = told_by(tmp_path, light(range(360), dead))
    assert [(alarm, event) for _, _, alarm, event in told] == [
        ("sensor-silent", "raised"),
        ("sensor-silent", "returned"),
    ]


@pytest.mark.fault(46)
def test_what_was_seen_to_be_dark_or_lit_too_long_is_told_though_hours_are_unknown(tmp_path: Path) -> None:
    assert "light-too-short" in alarms(told_by(tmp_path, light(range(540), range(900, 1000))))
    assert "light-too-long" in alarms(told_by(tmp_path, light(range(180), range(900, 1000))))


@pytest.mark.fault(47)
def test_a_deficit_is_made_of_values_that_both_stand_and_of_nothing_else(tmp_path: Path) -> None:
    warm: list[Row] = [(minute, "air_temperature", 26.0) for minute in range(60)]
    dry: list[Row] = [(minute, "relative_humidity", 70.0) for minute in range(60)]
    both = alarms(told_by(tmp_path, [*warm, *dry]))
    assert {"drying-air", "too-dry"} <= both

    old = told_by(
        tmp_path, [*warm[:10], *((minute, name, value) for minute, name, value in dry if minute >= 20)]
    )
    assert not [one for one in old if one[1] == "vapour_pressure_deficit"]

    faulty = told_by(tmp_path, [*((minute, name, 85.0) for minute, name, _ in warm), *dry])
    assert not [one for one in faulty if one[1] == "vapour_pressure_deficit"]
    assert ("air_temperature", "sensor-implausible") in {(one[1], one[2]) for one in faulty}


@pytest.mark.needs_broker
@pytest.mark.fault(47)
@pytest.mark.long
def test_status_calls_a_deficit_unknown_once_one_of_its_inputs_is(
    tmp_path: Path, broker: Any, wait_until: WaitUntil
) -> None:
    bands = "          vapour_pressure_deficit: {high: 0.4 kPa}\n"
    with fault_bench(tmp_path, broker, wait_until, Settings(bands=bands)) as bench:
        bench.start()
        bench.publish(
            "tray-a", [(bench.minutes_ago(40 - one), {"air_temperature": 23.0}) for one in range(41)]
        )
        bench.publish(
            "tray-a", [(bench.minutes_ago(40 - one), {"relative_humidity": 94.0}) for one in range(21)]
        )
        bench.has_kept_all()
        found = bench.status()["trays"][0]["quantities"]
        assert (found["air_temperature"]["value"], found["relative_humidity"]["value"]) == (23.0, None)
        deficit = found["vapour_pressure_deficit"]
        assert (deficit["state"], deficit["value"]) == ("unknown", None)
        assert deficit["last_value"] == pytest.approx(0.17, abs=0.01)
        invariants(bench)


# ------------------------------------------------------------------------- probes that were mixed up


@pytest.mark.fault(44)
def test_two_senders_under_one_name_that_differ_are_told(tmp_path: Path) -> None:
    rows: list[Row] = [
        (minute, "medium_temperature", 22.5 + (minute % 2) * 2.5 + (minute * 7 % 5) / 16)
        for minute in range(300)
    ]
    assert "sensors-disagree" in alarms(told_by(tmp_path, rows, "--conditions"))


@pytest.mark.fault(44)
def test_probes_that_changed_places_are_told(tmp_path: Path) -> None:
    here = {"medium_temperature": 20.0, "air_temperature": 20.5, "relative_humidity": 97.0}
    there = {"medium_temperature": 25.0, "air_temperature": 26.0, "relative_humidity": 82.0}
    rows: list[Row] = [
        (minute, name, value + (minute * 7 % 5) / 16)
        for minute in range(300)
        for name, value in (here if minute < 200 else there).items()
    ]
    told = [one for one in told_by(tmp_path, rows, "--conditions") if one[2] == "tray-jumped"]
    assert [event for *_, event in told][:1] == ["raised"]
