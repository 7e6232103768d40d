"""Lamps and leaves in a configuration: which light counts, what is refused, and what is hardly meant."""

import json
import re

import pytest
from base_config import BASE, SENSORS, built, changed, warnings_of

from wardian.adapters.yaml_file import parse
from wardian.daemon.cli import main
from wardian.daemon.effective import effective
from wardian.daemon.lamps import known_lamps
from wardian.rules.errors import BadConfig
from wardian.rules.plans import inputs_of

LIGHT = "light: {lit_above: 1000 lx, lit_deadband: 100 lx}"
READINGS = "readings: {hold: 5 min, settle: 5 s}"
STUCK = "stuck: 2026-03-01"
LAMPS = known_lamps(parse)


def site(keys: str) -> tuple[str, str]:
    return LIGHT, f"light: {{lit_above: 1000 lx, lit_deadband: 100 lx, {keys}}}"


def tray_b(keys: str) -> tuple[str, str]:
    return STUCK, f"{STUCK}\n    {keys}"


def mistakes(*changes: tuple[str, str]) -> str:
    with pytest.raises(BadConfig) as caught:
        changed(*changes)
    return str(caught.value)


# Which light counts.


@pytest.mark.parametrize("name", LAMPS.factors)
def test_every_lamp_of_the_table_can_be_written(name: str) -> None:
    config = changed(site(f"lamp: {name}"))
    assert {tray.plan.lux_per_umol for tray in config.trays} == {LAMPS.factors[name].lux_per_umol}


def test_a_tray_has_its_own_lamp_or_factor_else_the_sites_else_none() -> None:
    assert [tray.plan.lux_per_umol for tray in built(BASE).trays] == [None, None]
    own_factor = changed(site("lamp: white LED 4000 K"), tray_b("light: {lux_per_umol: 66.5}"))
    assert [tray.plan.lux_per_umol for tray in own_factor.trays] == [70.0, 66.5]
    own_lamp = changed(site("lux_per_umol: 66.5 lx"), tray_b("light: {lamp: sunlight}"))
    assert [tray.plan.lux_per_umol for tray in own_lamp.trays] == [66.5, 54.0]


def test_a_leaf_offset_is_the_trays_own_else_the_sites_else_none() -> None:
    assert [tray.plan.leaf_offset_k for tray in built(BASE).trays] == [None, None]
    config = changed(
        (READINGS, "readings: {hold: 5 min, settle: 5 s, leaf_offset: 1.8 °F}"),
        tray_b("readings: {leaf_offset: -0.5 K}"),
    )
    assert [tray.plan.leaf_offset_k for tray in config.trays] == [1.0, -0.5]
    nought = changed((READINGS, "readings: {leaf_offset: 1 K}"), tray_b("readings: {leaf_offset: 0}"))
    assert [tray.plan.leaf_offset_k for tray in nought.trays] == [1.0, 0.0]


def test_what_must_be_measured_follows_from_lamp_and_offset() -> None:
    plain, derived = built(BASE).trays[0].plan, changed(site("lamp: sunlight")).trays[0].plan
    assert inputs_of("daily_light_integral", plain) == ("ppfd",)
    assert inputs_of("daily_light_integral", derived) == ("illuminance",)
    assert len(inputs_of("leaf_vapour_pressure_deficit", plain)) == 3
    offset = changed((READINGS, "readings: {leaf_offset: 1 K}")).trays[0].plan
    assert inputs_of("leaf_vapour_pressure_deficit", offset) == ("air_temperature", "relative_humidity")


def test_the_sensors_of_a_band_of_photons_are_those_of_its_light() -> None:
    band = ("light_hours: {low: 17 h, high: 19 h}", "daily_light_integral: {low: 3}")
    assert ("tray-a", "ppfd") in changed(band).expected["probes"]
    expected = changed(band, site("lamp: sunlight")).expected["probes"]
    assert ("tray-a", "illuminance") in expected
    assert ("tray-a", "ppfd") not in expected


def test_lamp_factor_and_offset_in_force_say_where_they_come_from() -> None:
    config = changed(
        site("lamp: white LED 4000 K"), tray_b("light: {lux_per_umol: 66}\n    readings: {leaf_offset: 1 K}")
    )
    by_path = {one.path: one for one in effective(config)}
    assert by_path["light.lamp"].value == "white LED 4000 K"
    site_wide = by_path["trays[0].light.lux_per_umol"]
    assert (site_wide.number, site_wide.line) == (70.0, 3)
    own = by_path["trays[1].light.lux_per_umol"]
    assert (own.number, own.line) == (66.0, 10)
    assert (
        by_path["trays[1].readings.leaf_offset"].value,
        by_path["trays[1].readings.leaf_offset"].line,
    ) == (
        "1 K",
        11,
    )


# What is refused.


def test_an_unknown_lamp_is_told_with_the_nearest_name() -> None:
    told = mistakes(site("lamp: whte LED 4000 K"))
    assert told == (
        "c.yaml:3: light.lamp: 'whte LED 4000 K' is no lamp that is known; did you mean white LED 4000 K?"
    )
    assert "`wardian lamps` lists them" in mistakes(site("lamp: torch"))


@pytest.mark.parametrize(("change", "place"), [(site, "light"), (tray_b, "trays[1].light")])
def test_a_red_and_blue_lamp_is_refused_with_the_reason_and_the_way_out(change: object, place: str) -> None:
    keys = "lamp: red and blue LED"
    told = mistakes(site(keys) if change is site else tray_b(f"light: {{{keys}}}"))
    assert f"{place}.lamp: has no factor: it shines where the eye hardly sees" in told
    assert "a sensor that measures ppfd is accepted" in told


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ("lamp: sunlight, lux_per_umol: 54", "light: has a lamp and a factor of its own"),
        ("lux_per_umol: 0", "light.lux_per_umol: 0 cannot be meant; 1 lx to 300 lx is accepted"),
        ("lux_per_umol: 70 klx", "light.lux_per_umol: '70 klx' cannot be meant"),
        ("lux_per_umol: 70 %", "light.lux_per_umol: '70 %' has the unit '%'"),
        ("lux_per_umol: true", "light.lux_per_umol: is true"),
        ("lamp: [sunlight]", "light.lamp: is a list; the kind of lamp"),
        ("lamps: sunlight", "light.lamps: is no known key; did you mean lamp?"),
    ],
)
def test_what_is_no_lamp_is_told_with_its_place(keys: str, told: str) -> None:
    assert told in mistakes(site(keys))


@pytest.mark.parametrize("offset", ["11 K", "-20 °F", "warm", "1 %"])
def test_what_is_no_offset_is_told_with_its_place(offset: str) -> None:
    assert "readings.leaf_offset: " in mistakes((READINGS, f"readings: {{leaf_offset: {offset}}}"))


# What is hardly meant.


def test_a_lamp_that_burns_longer_than_the_crop_wants_is_told_once_for_each_crop() -> None:
    keys = site("on: 00:00, off: 23:59")
    (told,) = warnings_of(keys)
    assert told == (
        "3: light.on: lets the lamp burn 24 h a day, but coleus wants 17 to 19 h of light while callusing"
    )
    two = warnings_of(keys, ("crop: mint\n", "crop: coleus\n"))
    assert two == [told]


def test_long_days_are_told_for_a_crop_that_must_not_flower() -> None:
    """12 to 13 h keep a petunia from flowering: common practice."""
    band = ("light_hours: {low: 17 h, high: 19 h}", "light_hours: {low: 12 h, high: 13 h}")
    (told,) = warnings_of(site("on: 05:00, off: 23:00"), band)
    assert "18 h a day, but coleus wants 12 to 13 h of light while callusing" in told
    assert warnings_of(site("on: 06:00, off: 19:00"), band) == []
    assert warnings_of(site("on: 20:00, off: 08:00"), band) == []


def test_a_trays_own_lamp_is_told_at_its_own_line() -> None:
    band = ("relative_humidity: {low: 85 %}", "light_hours: {low: 8 h}")
    (told,) = warnings_of(tray_b("light: {on: 05:00, off: 06:00}"), band)
    assert told.startswith("10: trays[1].light.on: lets the lamp burn 1 h a day, but mint wants at least 8 h")


def test_an_offset_beside_a_sensor_of_the_leaf_is_told() -> None:
    sensor = "file: class/hwmon/hwmon0/temp1_input}"
    leaf = f"{sensor}\n      - {{tray: tray-a, quantity: leaf_temperature, file: temp2_input}}"
    (told,) = warnings_of((READINGS, "readings: {leaf_offset: 1 K}"), (sensor, leaf))
    assert told.startswith("6: trays[0]: has a leaf_offset, so that the leaf temperature")


def test_a_band_of_photons_without_ppfd_is_told_that_a_lamp_would_help() -> None:
    chips = """\
sensors:
  - name: chips
    kind: kernel
    channels:
      - {tray: tray-a, quantity: illuminance, file: in_illuminance_input}
"""
    told = warnings_of(
        (SENSORS, chips), ("light_hours: {low: 17 h, high: 19 h}", "daily_light_integral: {low: 3}")
    )
    (photons,) = [one for one in told if "daily_light_integral" in one]
    assert photons.endswith(
        "no sensor brings ppfd; light.lamp makes photons of lux: `wardian lamps` lists which it may be"
    )


# The command.


def test_lamps_are_listed_for_people_with_their_sources(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["lamps"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert re.search(
        r"^  cool white fluorescent +74  \(74 to 77; published, read elsewhere: Thimijan", out, re.MULTILINE
    )
    assert "red and blue LED has no factor" in out
    assert all(len(one.source) > 5 and one.source in out for one in LAMPS.factors.values())


def test_lamps_are_listed_for_programs(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["lamps", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert {one["name"]: one["lux_per_umol"] for one in told["lamps"]} == {
        name: one.lux_per_umol for name, one in LAMPS.factors.items()
    }
    assert [one["name"] for one in told["refused"]] == ["red and blue LED"]
