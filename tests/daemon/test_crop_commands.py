"""``wardian crops``: what crops want and how sure that is; and crops of the library in what other commands say."""

import json
from pathlib import Path
from typing import Any

import pytest
from crop_configs import BENCH

from wardian.adapters.yaml_file import parse
from wardian.daemon.cli import main
from wardian.daemon.crop_library import crop_library, library_crops

CROPS = """\
crops:
  coleus:
    due: 13
    stages:
      callusing: {bands: {air_temperature: {low: 74 °F, high: null}}}
  mine: {like: mint, stages: {rooting: {aims: {daily_light_integral: {low: 6}}}}}
"""
LIST = """\
crops:
  coleus:
    stages:
      - {name: callusing, from_day: 0, bands: {air_temperature: {low: 19 °C, high: 27 °C}}}
"""


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("WARDIAN_CONFIG", raising=False)
    return tmp_path


def write(bench: Path, crops: str, tray: str = "coleus") -> None:
    text = BENCH.replace("CROP", tray).replace("memory:", "sqlite:///wardian.db")
    (bench / "config.yaml").write_text(text + crops, encoding="utf-8")


def told(capsys: pytest.CaptureFixture[str], *arguments: str) -> list[str]:
    assert main(list(arguments)) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return out.splitlines()


def told_json(capsys: pytest.CaptureFixture[str], *arguments: str) -> Any:
    (line,) = told(capsys, *arguments, "--json")
    return json.loads(line)


def refused(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert main(list(arguments)) == 2
    out, err = capsys.readouterr()
    assert out == ""
    return err


# Lists.


@pytest.mark.usefixtures("bench")
def test_without_a_configuration_the_library_is_listed_a_line_each(
    capsys: pytest.CaptureFixture[str],
) -> None:
    lines = told(capsys, "crops")
    assert [line.split()[0] for line in lines] == list(crop_library(parse).all)
    (lavender,) = (line for line in lines if line.startswith("lavender"))
    assert lavender.split("  ", 1)[1].strip() == (
        "dry; roots on days 14 to 28; due on day 35; Lavandula, lavender and lavandin, semi-ripe"
    )


@pytest.mark.usefixtures("bench")
def test_the_list_is_there_for_programs(capsys: pytest.CaptureFixture[str]) -> None:
    rows = {row["crop"]: row for row in told_json(capsys, "crops")}
    assert rows["coleus"] == {
        "crop": "coleus",
        "group": "warm-wet",
        "like": None,
        "botanical": "Coleus scutellarioides",
        "cutting": "softwood tip",
        "roots_days": [5, 10],
        "due": 12,
    }


def test_crops_of_ones_own_are_listed_with_those_of_the_library(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write(bench, CROPS)
    rows = {row["crop"]: row for row in told_json(capsys, "crops")}
    assert list(rows) == [*crop_library(parse).all, "mine"]
    assert rows["coleus"]["due"] == 13
    assert (rows["mine"]["like"], rows["mine"]["group"], rows["mine"]["due"]) == ("mint", None, 14)


def test_a_crop_that_takes_after_one_of_another_name_is_listed_as_that(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write(bench, "crops: {coleus: {like: dry}}\n")
    (coleus,) = (row for row in told_json(capsys, "crops") if row["crop"] == "coleus")
    assert (coleus["like"], coleus["group"], coleus["botanical"]) == ("dry", None, None)


# One crop.


@pytest.mark.usefixtures("bench")
def test_every_value_of_a_crop_is_shown_with_its_mark_and_its_source_in_full(
    capsys: pytest.CaptureFixture[str],
) -> None:
    lines = told(capsys, "crops", "poinsettia")
    blank = lines.index("")
    marks = dict(line.split(" ", 1) for line in lines[blank + 1 : lines.index("", blank + 1)])
    (medium,) = (line for line in lines if line.startswith("    medium_temperature aims: low 26"))
    number = medium.rpartition("[")[2]
    assert marks[f"[{number}"].startswith("read: Wilkerson, Gates, Zolnier, Kester and Geneve, Predicting")
    cited = {part.split("]")[0] for line in lines[1:blank] for part in line.split("[")[1:]}
    assert cited == {mark.strip("[]") for mark in marks}
    assert "  note 3: No feed on its leaves. [" in "\n".join(lines)


@pytest.mark.usefixtures("bench")
@pytest.mark.parametrize("name", crop_library(parse).all)
def test_programs_get_every_value_of_a_crop(capsys: pytest.CaptureFixture[str], name: str) -> None:
    values = told_json(capsys, "crops", name)["values"]
    assert all(one["mark"] and one["line"] is None and one["value"] for one in values)
    paths = [one["path"] for one in values]
    assert len(paths) == len(set(paths))
    by_path = {one["path"]: one for one in values}
    low = by_path["stages.callusing.bands.air_temperature.low"]
    assert low["unit"] == "°C"
    assert by_path["stages.callusing.bands.air_temperature.on_delay"]["number"] == 1800
    assert by_path["stick_within"]["number"] in (4 * 3600, 24 * 3600)
    assert f"{low['number']:g} °C" == low["value"]


def test_a_crop_that_a_configuration_changes_is_shown_as_it_is_here(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write(bench, CROPS)
    lines = told(capsys, "crops", "coleus")
    assert any(line.startswith("    air_temperature bands: low_low 12 °C [2], low 74 °F [") for line in lines)
    assert any(line.endswith("] config.yaml:9") for line in lines)
    by_path = {one["path"]: one for one in told_json(capsys, "crops", "coleus")["values"]}
    assert by_path["due"] == {
        "path": "due",
        "value": "13",
        "number": None,
        "unit": None,
        "mark": None,
        "line": 7,
    }


def test_a_site_in_fahrenheit_is_shown_its_temperatures_in_that(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write(bench, CROPS)
    path = bench / "config.yaml"
    path.write_text(
        path.read_text(encoding="utf-8").replace("site: {", "site: {units: US, ", 1), encoding="utf-8"
    )
    lines = told(capsys, "crops", "coleus")
    assert any(line.startswith("  warmth_base: 53.6 °F [") for line in lines)
    assert any(line.startswith("    air_temperature bands: low_low 53.6 °F [") for line in lines)


def test_a_crop_with_a_list_of_stages_is_shown_too(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(bench, LIST)
    lines = told(capsys, "crops", "coleus")
    assert lines[2:4] == ["    from_day: 0 [1]", "    air_temperature bands: low 19 °C [1], high 27 °C [1]"]
    assert lines[-1] == "[1] config.yaml:8"


@pytest.mark.usefixtures("bench")
def test_a_crop_that_is_not_there_is_told_with_the_nearest_name(capsys: pytest.CaptureFixture[str]) -> None:
    assert refused(capsys, "crops", "colius") == (
        "wardian crops: 'colius' is no crop; did you mean coleus?\n"
    )


# What a configuration changes.


def test_what_a_configuration_changes_is_shown_beside_what_the_library_says(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write(bench, CROPS)
    assert told(capsys, "crops", "--changed") == [
        "coleus, beside coleus:",
        "  due: 12 -> 13  (config.yaml:7)",
        "  stages.callusing.bands.air_temperature.low: 19 °C -> 74 °F  (config.yaml:9)",
        "  stages.callusing.bands.air_temperature.high: 25 °C -> nothing  (config.yaml:9)",
        "mine, beside mint:",
        "  stages.rooting.aims.daily_light_integral.low: 7 mol m⁻² d⁻¹ -> 6 mol m⁻² d⁻¹  (config.yaml:10)",
    ]
    assert told_json(capsys, "crops", "mine", "--changed") == [
        {
            "crop": "mine",
            "like": "mint",
            "path": "stages.rooting.aims.daily_light_integral.low",
            "there": "7 mol m⁻² d⁻¹",
            "here": "6 mol m⁻² d⁻¹",
            "line": 10,
        }
    ]


@pytest.mark.parametrize("like", ["", "    like: coleus\n"])
def test_of_a_list_of_stages_what_it_leaves_out_is_shown_and_what_is_the_same_is_not(
    bench: Path, capsys: pytest.CaptureFixture[str], like: str
) -> None:
    write(bench, LIST + like)
    lines = told(capsys, "crops", "--changed")
    assert lines[0] == "coleus, beside coleus, with stages of its own:"
    assert "  stages.callusing.bands.air_temperature.high: 25 °C -> 27 °C  (config.yaml:8)" in lines
    assert "  stages.callusing.bands.relative_humidity.low: 88 % -> nothing" in lines
    assert not any("air_temperature.low:" in line and "callusing" in line for line in lines)


def test_a_deadband_of_ones_own_is_shown_beside_the_default(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write(bench, "crops: {coleus: {stages: {toning: {bands: {air_temperature: {deadband: 1 °F}}}}}}\n")
    assert told(capsys, "crops", "--changed")[1:] == [
        "  stages.toning.bands.air_temperature.deadband: 0.5 K -> 1 °F  (config.yaml:5)"
    ]


def test_a_configuration_that_changes_nothing_says_so(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write(bench, "")
    assert told(capsys, "crops", "--changed") == ["the configuration changes no crop of the library"]
    assert told_json(capsys, "crops", "--changed") == []


@pytest.mark.usefixtures("bench")
def test_without_a_configuration_nothing_can_be_compared(capsys: pytest.CaptureFixture[str]) -> None:
    assert refused(capsys, "crops", "--changed") == (
        "wardian crops: --changed compares a configuration with the library, and none is here\n"
    )


def test_a_configuration_that_is_wrong_is_told_as_everywhere(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write(bench, "", tray="colius")
    assert "config.yaml:4: trays[0].crop: 'colius' is none of the crops" in refused(capsys, "crops")


# Other commands.


def test_what_is_in_force_says_of_every_band_of_the_library_where_it_is_from(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write(bench, CROPS)
    lines = told(capsys, "check", "--effective")
    air = "crops.coleus.stages.callusing.bands.air_temperature"
    assert (
        f"{air}.low = 74 °F (23.333333333333332 °C, within again at 23.833333333333332 °C)  # config.yaml:9"
        in lines
    )
    assert f"{air}.low_low = 12 °C (12.0 °C, within again at 12.5 °C)  # default: from memory" in lines
    assert any(
        line.startswith(f"{air}.deadband = 0.5 K  # default: more than a thermostat's") for line in lines
    )
    assert not any(line.startswith(f"{air}.high ") for line in lines)
    bands = {limit for limit in lines if ".bands." in limit}
    crop = library_crops(parse)["coleus"]
    assert len([one for one in bands if one.startswith("crops.coleus.") and "within again" in one]) == (
        sum(len(band.limits) for stage in crop.stages for band in stage.bands.values()) - 1
    )


def test_an_alarm_is_explained_by_the_limits_of_the_library(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write(bench, CROPS)
    (explained,) = (
        json.loads(line) for line in told(capsys, "alarms", "--explain", "air-too-cold", "--json")
    )
    callusing, rooting, toning = explained["here"]
    assert (callusing["threshold"], callusing["from"]["threshold"]) == (23.333333333333332, "config.yaml:9")
    assert (rooting["threshold"], rooting["from"]["threshold"]) == (18, "library")
    assert (toning["from_day"], toning["deadband"]) == (13, 0.5)


def test_the_status_shows_no_optional_band_of_which_nothing_was_ever_read(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write(bench, "")
    (tray,) = told_json(capsys, "status")["trays"]
    assert "air_temperature" in tray["quantities"]
    assert "medium_moisture" not in tray["quantities"]


READINGS = "time,tray,quantity,value,unit\n" + "".join(
    f"2026-03-02T{hour:02}:{minute:02}:00Z,tray-a,air_temperature,{18 if hour == 3 else 22},\n"
    for hour in range(6)
    for minute in range(0, 60, 5)
)


def test_values_of_the_library_can_be_tried_side_by_side(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The hour of 18 °C is beyond the library's 19 °C for longer than the delay, and within 17 °C."""
    write(bench, "")
    (bench / "day.csv").write_text(READINGS, encoding="utf-8")
    place = "crops.coleus.stages.callusing.bands.air_temperature.low"
    assert main(["tune", "day.csv", "--vary", f"{place}=17,19", "--json"]) == 0
    settings = json.loads(capsys.readouterr().out)["settings"]
    assert [setting["alarms"] for setting in settings] == [0, 1]
    bands = settings[0]["trays"][0]["bands"]
    assert "medium_moisture" not in [band["quantity"] for band in bands]


def test_the_summary_tells_nothing_of_optional_bands_that_nothing_measures(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write(bench, "")
    summary = json.dumps(told_json(capsys, "summary"))
    assert "tray-a" in summary
    assert "medium_moisture" not in summary
