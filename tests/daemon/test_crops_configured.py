"""Crops in a configuration: of the library, single values otherwise, after another crop, and whole lists of stages."""

from dataclasses import replace
from fractions import Fraction

import pytest
from base_config import BASE, built
from crop_configs import BENCH, callusing, crop_of, limits_of, stage_of, with_crops
from hypothesis import given
from hypothesis import strategies as st

from wardian.adapters.yaml_file import parse
from wardian.daemon.config import Config
from wardian.daemon.crop_library import crop_library, crop_named, library_crops
from wardian.daemon.expected import missed, needed
from wardian.rules.crops import Aim
from wardian.rules.errors import BadConfig

COLEUS = library_crops(parse)["coleus"]


def coleus(*lines: str, tray: str = "coleus") -> Config:
    return with_crops("  coleus:\n" + "".join(f"    {line}\n" for line in lines), tray)


# Crops of the library.


@pytest.mark.parametrize("name", crop_library(parse).all)
def test_a_tray_may_name_a_crop_a_group_or_the_general_crop_of_the_library(name: str) -> None:
    config = with_crops("", name)
    assert crop_of(config) == crop_named(parse, name)
    assert config.warnings == ()
    assert [span.stage for span in config.trays[0].plan.spans] == list(crop_of(config).stages)
    assert config.trays[0].plan.due_ms is not None


def test_bands_that_are_optional_are_neither_missed_nor_warned_about() -> None:
    text = (
        BENCH.replace("CROP", "lavender")
        + """\
sensors:
  - name: chips
    kind: kernel
    channels:
      - {tray: tray-a, quantity: air_temperature, file: hwmon0/temp1_input}
      - {tray: tray-a, quantity: relative_humidity, file: hwmon0/humidity1_input}
notifiers: [{name: terminal, kind: console}]
"""
    )
    config = built(text)
    assert [warning.problem for warning in config.warnings] == [
        "has a band of light_hours, which can never alarm: no sensor brings illuminance",
        "has a band of medium_temperature, which can never alarm: no sensor brings medium_temperature",
    ]
    assert needed(crop_of(config), config.trays[0].plan) == {
        "air_temperature",
        "medium_temperature",
        "relative_humidity",
        "illuminance",
    }


def test_an_optional_band_that_is_written_here_is_missed_again() -> None:
    config = with_crops(callusing("{bands: {medium_moisture: {low: 70 %}}}"))
    assert "medium_moisture" not in stage_of(config, "callusing").optional
    assert "medium_moisture" in stage_of(config, "rooting").optional
    assert "medium_moisture" in missed(crop_of(config))


# Single values otherwise.


def test_one_limit_is_otherwise_and_nothing_else() -> None:
    config = with_crops(callusing("{bands: {air_temperature: {low: 74 °F}}}"))
    stage, base = stage_of(config, "callusing"), COLEUS.stages[0]
    assert limits_of(stage.bands["air_temperature"]) == {
        **limits_of(base.bands["air_temperature"]),
        "low": float((Fraction(74) - 32) * 5 / 9),
    }
    others = {name: band for name, band in stage.bands.items() if name != "air_temperature"}
    assert others == {name: band for name, band in base.bands.items() if name != "air_temperature"}
    assert crop_of(config).stages[1:] == COLEUS.stages[1:]
    assert replace(crop_of(config), stages=COLEUS.stages) == COLEUS


def test_every_single_value_of_a_crop_may_be_otherwise() -> None:
    config = coleus(
        "due: 20",
        "roots: [6, 14]",
        "pot: 31",
        "feed_from: 8",
        "dry: true",
        "eaten: true",
        "stick_within: 90 min",
        "warmth_base: 50 °F",
        'notes: ["Ours is variegated."]',
        "stages: {rooting: {from_day: 9, mistings: [0, 1], feed_mg_l: [40, 60.5]}}",
    )
    crop = crop_of(config)
    assert (crop.due_day, crop.roots_days, crop.pot_day, crop.feed_day) == (20, (6, 14), 31, 8)
    assert (crop.is_dry, crop.is_eaten, crop.stick_within_h, crop.warmth_base_c) == (True, True, 1.5, 10.0)
    assert crop.notes == ("Ours is variegated.",)
    rooting = stage_of(config, "rooting")
    assert (rooting.from_day, rooting.mistings, rooting.feed_mg_l) == (9, Aim(0, 1), Aim(40, 60.5))
    assert crop.stages[0] == COLEUS.stages[0]


def test_deadband_and_delays_may_be_otherwise_without_the_limits() -> None:
    config = with_crops(callusing("{bands: {air_temperature: {deadband: 1 K, on_delay: 10 min}}}"))
    (high,) = (
        limit
        for limit in stage_of(config, "callusing").bands["air_temperature"].limits
        if limit.name == "high"
    )
    assert (high.threshold, high.clear, high.on_delay_ms, high.off_delay_ms) == (25.0, 24.0, 600_000, 600_000)


@pytest.mark.parametrize("nothing", ["null", "~", ""])
def test_nothing_behind_a_limit_takes_it_out(nothing: str) -> None:
    config = with_crops(callusing(f"{{bands: {{air_temperature: {{high: {nothing}}}}}}}"))
    band = stage_of(config, "callusing").bands["air_temperature"]
    assert set(limits_of(band)) == {"low_low", "low"}
    assert stage_of(config, "callusing").aims["air_temperature"] == Aim(20, 24)


def test_nothing_behind_a_band_or_an_aim_takes_it_out_as_a_whole() -> None:
    config = with_crops(
        callusing("{bands: {light_hours: null}, aims: {water_ph: null, water_ec: {high: null}}}")
    )
    stage = stage_of(config, "callusing")
    assert "light_hours" not in stage.bands
    assert stage.aims["light_hours"] == Aim(16, 18)
    assert not {"water_ph", "water_ec"} & set(stage.aims)


def test_a_band_of_another_quantity_may_be_added() -> None:
    config = with_crops(callusing("{bands: {dew_point: {high: 22 °C}}}"))
    assert limits_of(stage_of(config, "callusing").bands["dew_point"]) == {"high": 22.0}
    assert stage_of(config, "callusing").aims["dew_point"] == Aim(None, 22.0)


def test_a_limit_of_ones_own_is_aimed_at_unless_an_aim_is_written() -> None:
    limit = "{bands: {air_temperature: {low: 21 °C}}"
    follows, written = (
        with_crops(callusing(limit + "}")),
        with_crops(callusing(limit + ", aims: {air_temperature: {low: 22 °C}}}")),
    )
    assert stage_of(follows, "callusing").aims["air_temperature"] == Aim(21, 24)
    assert stage_of(written, "callusing").aims["air_temperature"] == Aim(22, 24)


def test_an_aim_beyond_a_limit_of_ones_own_gives_way_to_the_limit_on_its_side() -> None:
    config = with_crops(callusing("{bands: {air_temperature: {low: 24.5 °C}}}"))
    assert stage_of(config, "callusing").aims["air_temperature"] == Aim(24.5, 25)


# After another crop.


def test_a_crop_of_ones_own_is_like_another_but_for_what_is_written() -> None:
    config = with_crops("  mine: {like: lavender, due: 40}\n", "mine")
    lavender = library_crops(parse)["lavender"]
    assert crop_of(config) == replace(lavender, name="mine", due_day=40)


def test_a_crop_may_be_like_one_that_is_written_below_it() -> None:
    config = with_crops(
        "  second: {like: first, due: 21}\n"
        "  first: {like: mint, pot: 29, stages: {toning: {bands: {air_temperature: {high: 20 °C}}}}}\n",
        "second",
    )
    crop = crop_of(config)
    assert (crop.due_day, crop.pot_day, crop.feed_day) == (21, 29, library_crops(parse)["mint"].feed_day)
    assert limits_of(stage_of(config, "toning").bands["air_temperature"])["high"] == 20


def test_a_crop_like_its_own_name_is_like_the_librarys() -> None:
    assert crop_of(with_crops("  coleus: {like: coleus, due: 13}\n")) == replace(COLEUS, due_day=13)
    assert crop_of(with_crops("  coleus: {like: dry}\n")) == replace(crop_named(parse, "dry"), name="coleus")


# Lists of stages.

LIST = """\
  coleus:
    stages:
      - name: callusing
        from_day: 0
        bands: {air_temperature: {low: 20 °C, high: 25 °C}}
      - {name: hardening, from_day: 9}
"""


def test_a_list_of_stages_takes_nothing_from_the_library() -> None:
    crop = crop_of(with_crops(LIST))
    assert [stage.name for stage in crop.stages] == ["callusing", "hardening"]
    assert [set(stage.bands) for stage in crop.stages] == [{"air_temperature"}, set()]
    assert (crop.due_day, crop.roots_days, crop.notes, crop.stick_within_h) == (None, None, (), None)
    callusing_stage = crop.stages[0]
    assert callusing_stage.aims == {"air_temperature": Aim(20, 25)}
    assert (callusing_stage.mistings, callusing_stage.optional) == (None, frozenset())


def test_a_list_of_stages_with_like_takes_all_but_the_bands() -> None:
    crop = crop_of(with_crops(LIST.replace("stages:", "like: coleus\n    stages:")))
    assert [set(stage.bands) for stage in crop.stages] == [{"air_temperature"}, set()]
    assert [stage.from_day for stage in crop.stages] == [0, 9]
    assert (crop.due_day, crop.roots_days, crop.notes) == (12, (5, 10), COLEUS.notes)
    assert crop.stages[0].aims["air_temperature"] == Aim(20, 25)
    assert crop.stages[0].aims["daily_light_integral"] == Aim(3, 6)
    assert crop.stages[0].mistings == Aim(2, 3)
    assert (crop.stages[1].mistings, dict(crop.stages[1].aims)) == (None, {})


def test_a_list_of_stages_may_have_aims_and_care_of_its_own() -> None:
    more = "\n        aims: {ppfd: {low: 60}}\n        mistings: [1, 2]\n        feed_mg_l: [0, 0]\n        bands:"
    stage = crop_of(with_crops(LIST.replace("\n        bands:", more))).stages[0]
    assert stage.aims["ppfd"] == Aim(60, None)
    assert (stage.mistings, stage.feed_mg_l) == (Aim(1, 2), Aim(0, 0))


def test_a_limit_that_can_never_alarm_is_doubted_here_and_no_limit_of_the_library_is() -> None:
    config = with_crops(callusing("{bands: {relative_humidity: {high: 100 %}}}"))
    (warning,) = config.warnings
    assert warning.in_file("") == (
        ":6: crops.coleus.stages.callusing.bands.relative_humidity.high: can never alarm; "
        "relative_humidity is never outside 0 to 100 %"
    )


def test_a_configuration_that_names_no_crop_of_the_library_is_read_as_ever() -> None:
    config = built(BASE)
    assert {name: grown.is_listed for name, grown in config.crops.items()} == {"coleus": True, "mint": True}


# Any change of limits either is what was written, or is told.

LIMIT = st.one_of(st.none(), st.integers(-10, 60))
CHANGES = st.dictionaries(st.sampled_from(["low_low", "low", "high", "high_high"]), LIMIT, max_size=4)


@given(CHANGES, st.sampled_from(list(crop_library(parse).crops)), st.integers(0, 2))
def test_limits_are_those_of_the_library_but_for_those_that_are_written(
    changes: dict[str, int | None], name: str, number: int
) -> None:
    crop = library_crops(parse)[name]
    stage = crop.stages[number].name
    wanted = limits_of(crop.stages[number].bands["medium_temperature"])
    for limit, value in changes.items():
        wanted.pop(limit, None)
        if value is not None:
            wanted[limit] = value
    written = ", ".join(f"{limit}: {'null' if value is None else value}" for limit, value in changes.items())
    text = f"  {name}: {{stages: {{{stage}: {{bands: {{medium_temperature: {{{written}}}}}}}}}}}\n"
    rising = [wanted[limit] for limit in ("low_low", "low", "high", "high_high") if limit in wanted]
    if rising != sorted(rising):
        with pytest.raises(BadConfig, match=f"crops.{name}.stages.{stage}.bands.medium_temperature"):
            with_crops(text, name)
        return
    config = with_crops(text, name)
    changed = stage_of(config, stage)
    found = changed.bands.get("medium_temperature")
    assert (limits_of(found) if found else {}) == wanted
    aim = changed.aims["medium_temperature"]
    assert aim.low is None or aim.high is None or aim.low <= aim.high
