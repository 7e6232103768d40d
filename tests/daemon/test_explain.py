"""``wardian alarms --explain``: what an alarm means here, and where each of that is from."""

import json
from pathlib import Path
from typing import Any

import pytest
from base_config import BASE

from wardian.adapters.yaml_file import parse
from wardian.daemon.cli import main
from wardian.daemon.library import library
from wardian.rules.amounts import duration_words
from wardian.rules.health import TRUSTED_AGAIN_MS

ALARMS = "alarms:\n  too-dry:\n    priority: medium\n    within: within 2 h\n"
NAMES = [advice.alarm for advice in library(parse).alarms()]


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the base configuration, whose last lines are of alarms."""
    (tmp_path / "config.yaml").write_text(BASE + ALARMS, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("WARDIAN_CONFIG", raising=False)
    return tmp_path


def line_of(text: str) -> int:
    return (BASE + ALARMS).splitlines().index(text) + 1


def told(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert main(["alarms", "--explain", *arguments]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return out


def told_json(capsys: pytest.CaptureFixture[str], *arguments: str) -> Any:
    return json.loads(told(capsys, *arguments, "--json"))


@pytest.mark.usefixtures("bench")
def test_a_limit_is_explained_for_every_tray_and_stage_that_has_it(
    capsys: pytest.CaptureFixture[str],
) -> None:
    lines = told(capsys, "too-dry").splitlines()
    assert lines[0] == "too-dry"
    assert "humidity under the cover below the limit low" in lines[1]
    rows = [line.split() for line in lines if line.startswith("  tray-")]
    # Coleus has the limit while callusing and none while rooting; mint has it all the time.
    assert [row[:3] for row in rows] == [["tray-a", "coleus", "callusing"], ["tray-b", "mint", "all"]]
    assert [row[6:8] for row in rows] == [["90", "%"], ["85", "%"]]
    written = line_of("          relative_humidity: {low: 90 %}")
    assert lines[5].endswith(
        f"90 %   3 %       45 min    10 min     # config.yaml:{written}: threshold; else library"
    )
    assert any(line.startswith("  on-delay of the library: 45 min, airing is back") for line in lines)


@pytest.mark.usefixtures("bench")
def test_advice_says_what_is_from_the_library_and_what_was_written(
    capsys: pytest.CaptureFixture[str],
) -> None:
    out = told(capsys, "too-dry")
    for line in (
        f"  Priority: medium  # config.yaml:{line_of('    priority: medium')}",
        "  Likely: the cover is off or ajar, a vent was left open, or the medium is dry  # library",
        "  If nothing is done: cuttings without roots wilt within hours, and rooting is delayed  # library",
        "  To do: seat the cover, mist, and lift the tray to feel its weight  # library",
        f"  How soon: within 2 h  # config.yaml:{line_of('    within: within 2 h')}",
    ):
        assert f"{line}\n" in out


@pytest.mark.usefixtures("bench")
def test_thresholds_and_deadbands_are_in_the_units_of_the_site(capsys: pytest.CaptureFixture[str]) -> None:
    (callusing, rooting) = [line for line in told(capsys, "air-too-cold").splitlines() if "tray-a" in line]
    assert " ".join(callusing.split()).endswith("(from day 0) 75.0 °F 1 °F 10 min 5 min # config.yaml:16")
    # 18 °C is 64.4 °F, and half a kelvin, the library's deadband, is 0.9 °F.
    assert "(from day 8) 64.4 °F 0.9 °F 30 min 10 min # config.yaml:24: threshold" in " ".join(
        rooting.split()
    )


def test_programs_get_numbers_in_the_quantitys_own_unit(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    one = told_json(capsys, "air-too-warm")
    assert (one["alarm"], one["quantity"], one["limit"], one["unit"]) == (
        "air-too-warm",
        "air_temperature",
        "high",
        "°C",
    )
    assert set(one["from"].values()) == {"library"}
    first, second = one["here"]
    assert first == {
        "trays": ["tray-a"],
        "crop": "coleus",
        "stage": "callusing",
        "from_day": 0,
        "threshold": 80 / 3,
        "deadband": 5 / 9,
        "on_delay_s": 600.0,
        "off_delay_s": 300.0,
        "from": dict.fromkeys(("threshold", "deadband", "on_delay", "off_delay"), "config.yaml:16"),
    }
    assert (second["stage"], second["threshold"], second["from"]["deadband"]) == ("rooting", 24.0, "library")
    assert (one["defaults"]["on_delay"], one["priority"]) == ("30 min", "medium")
    assert bench.exists()


@pytest.mark.usefixtures("bench")
def test_a_limit_that_no_band_has_is_explained_with_its_defaults(capsys: pytest.CaptureFixture[str]) -> None:
    out = told(capsys, "still-air")
    assert "No tray of this configuration has this limit." in out
    assert "deadband of the library: 0.05 kPa" in out
    assert told_json(capsys, "still-air")["here"] == []


@pytest.mark.usefixtures("bench")
def test_a_silent_sensor_is_explained_by_the_times_of_each_tray(capsys: pytest.CaptureFixture[str]) -> None:
    (silence, *others) = told_json(capsys, "sensor-silent")["here"]
    assert silence["trays"] == ["tray-a"]
    assert "air_temperature" in silence["quantities"]
    assert (silence["hold_s"], silence["silent_after_s"]) == (300.0, 600.0)
    assert silence["from"] == {"hold": "config.yaml:4", "silent_after": "default"}
    assert [other["trays"] for other in others] == [["tray-b"]]
    out = told(capsys, "sensor-silent")
    assert "Raised when nothing has been known of a value" in out
    assert "# config.yaml:4: hold; else default" in out


@pytest.mark.usefixtures("bench")
def test_an_implausible_sensor_is_believed_again_when_it_is_said_to_be(
    capsys: pytest.CaptureFixture[str],
) -> None:
    one = told_json(capsys, "sensor-implausible")
    assert f"{duration_words(TRUSTED_AGAIN_MS)} or more after the last such one" in one["raised_by"]
    assert (one["quantity"], one["limit"], one["here"]) == (None, None, [])


@pytest.mark.usefixtures("bench")
def test_only_an_urgent_alarm_whose_value_is_uncertain_says_that_it_may_be_less(
    capsys: pytest.CaptureFixture[str],
) -> None:
    uncertain = ("vapour_pressure_deficit", "leaf_vapour_pressure_deficit", "dew_point")
    limits = library(parse).limits.items()
    urgent = [one.alarm for (name, _), one in limits if name in uncertain and one.priority == "high"]
    assert {"drying-air", "fiercely-drying-air"} < set(urgent)
    hint = "smaller than its uncertainty has priority medium"
    assert [name for name in NAMES if hint in told(capsys, name)] == urgent


@pytest.mark.usefixtures("bench")
def test_every_alarm_is_listed_once_with_its_priority_and_how_many_trays_have_it(
    capsys: pytest.CaptureFixture[str],
) -> None:
    rows = {line.split()[0]: line.split()[1:] for line in told(capsys).splitlines()}
    assert sorted(rows) == sorted(NAMES)
    assert rows["too-dry"][:3] == ["medium", "2", "trays"]
    assert rows["air-too-cold"][:3] == ["medium", "1", "tray"]
    assert rows["feed-too-weak"][:3] == ["low", "no", "trays"]
    assert " ".join(rows["too-dry"][3:]) == "humidity under the cover below the limit low"
    objects = [json.loads(line) for line in told(capsys, "--json").splitlines()]
    assert sorted(one["alarm"] for one in objects) == sorted(NAMES)
    assert all(one["raised_by"] for one in objects)


def test_without_a_configuration_the_library_explains(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (bench / "config.yaml").unlink()
    assert main(["alarms", "--explain", "too-dry"]) == 0
    out, err = capsys.readouterr()
    assert err == "no config.yaml is here: this is what the library says\n"
    assert "Priority: high  # library" in out
    assert "on-delay of the library: 45 min" in out
    assert "tray-" not in out
    assert main(["alarms", "--explain", "--json"]) == 0
    objects = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert len(objects) == len(NAMES)
    assert all(one["here"] == [] for one in objects)


@pytest.mark.parametrize(
    ("arguments", "phrase"),
    [
        (["--explain", "to-dry"], "there is no alarm 'to-dry'; did you mean too-dry?"),
        (["--explain", "too dry"], "did you mean too-dry?"),
        (["--explain", "weevils"], "there is no alarm 'weevils'; --explain without a name lists all"),
        (["--explain", "too-dry", "--config", "none.yaml"], "cannot be read"),
        (["--explain", "too-dry", "--from", "2026-03-02T08:00:00Z"], "--explain has none"),
        (["--explain", "too-dry", "acknowledge", "tray-a", "too-dry"], "one at a time"),
    ],
)
@pytest.mark.usefixtures("bench")
def test_what_cannot_be_explained_is_told_in_a_line(
    capsys: pytest.CaptureFixture[str], arguments: list[str], phrase: str
) -> None:
    assert main(["alarms", *arguments]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert phrase in err
    assert len(err.splitlines()) == 1


def test_a_broken_configuration_is_told_and_nothing_is_explained(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (bench / "config.yaml").write_text(BASE + "alarms: {to-dry: {}}\n", encoding="utf-8")
    assert main(["alarms", "--explain", "too-dry"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "alarms.to-dry: 'to-dry' is no alarm; did you mean too-dry?" in err
