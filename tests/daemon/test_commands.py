"""The commands as a user types them, on files; what they print and how they end."""

import gzip
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from wardian.adapters.stores.opening import open_store
from wardian.daemon.cli import main
from wardian.rules.ports import Round
from wardian.rules.readings import Reading

CONFIG = """\
site: {name: Teaching bench, timezone: Europe/Lisbon, units: US}
store: {url: "sqlite:///wardian.db"}
trays:
  - {name: tray-a, crop: coleus, stuck: 2026-03-02}
  - {name: tray-b, crop: coleus, stuck: 2026-03-02}
crops:
  coleus:
    stages:
      - name: callusing
        from_day: 0
        bands:
          air_temperature: {low: 75 °F, high: 80 °F, deadband: 1 °F, on_delay: 10 min, off_delay: 5 min}
          relative_humidity: {low: 90 %}
light: {lit_above: 1000 lx, lit_deadband: 100 lx}
readings: {hold: 5 min, settle: 5 s}
"""

#: 2026-03-02T00:00:00Z, which is midnight in Lisbon.
MIDNIGHT_MS = 1_772_409_600_000
MINUTE_MS = 60_000


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "config.yaml").write_text(CONFIG)
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("WARDIAN_CONFIG", raising=False)
    return tmp_path


def week_file(folder: Path, *rows: str) -> str:
    path = folder / "week.csv"
    path.write_text("time,tray,quantity,value,unit\n" + "".join(f"{row}\n" for row in rows))
    return str(path)


def warm_rows(minutes: int, value: str = "81,°F") -> list[str]:
    return [f"2026-03-02T08:{minute:02}:00Z,tray-a,air_temperature,{value}" for minute in range(minutes)]


def lines_of(text: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in text.splitlines()]


def test_replay_prints_each_transition_as_one_json_object(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = week_file(
        bench,
        *warm_rows(12),
        "2026-03-02T08:12:00Z,tray-a,air_temperature,25,",
        *[f"2026-03-02T08:{minute}:00Z,tray-a,air_temperature,25,Cel" for minute in range(13, 20)],
    )
    assert main(["replay", path, "--json"]) == 0
    raised, returned = lines_of(capsys.readouterr().out)
    assert raised["time"] == "2026-03-02T08:10:00.000Z"
    assert raised["value"] == pytest.approx(27.2222222)
    assert raised["threshold"] == pytest.approx(26.6666667)
    assert raised["priority"] in ("low", "medium", "high")
    message = raised["message"]
    assert "81.0 °F" in message
    assert "1.0 °F above 80.0 °F" in message
    assert "75.0 to 80.0 °F" in message
    expected = {
        "tray": "tray-a",
        "quantity": "air_temperature",
        "limit": "high",
        "stage": "callusing",
        "event": "raised",
    }
    assert expected.items() <= raised.items()
    assert (returned["time"], returned["event"]) == ("2026-03-02T08:17:00.000Z", "returned")


def test_replay_in_words_ends_with_what_was_read_and_refused(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = week_file(
        bench,
        *warm_rows(12),
        *warm_rows(2),
        "2026-03-02T08:11:30Z,tray-a,air_temperature,900,",
        "2026-03-02T08:11:40,tray-a,air_temperature,20,",
        "2026-03-02T08:11:00Z,tray-z,air_temperature,20,",
    )
    assert main(["replay", path]) == 0
    out, err = capsys.readouterr()
    assert "tray-a" in out
    assert "raised" in out
    assert "15 readings" in err
    assert "2 repeated, 2 refused" in err
    assert "week.csv:16: refused: air_temperature 900 °C is impossible" in err
    assert "week.csv:17: refused:" in err
    assert "'tray-z' is not in the configuration: 1 readings not judged" in err


def test_a_refused_row_doubts_its_sensor(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = week_file(bench, "2026-03-02T08:00:00Z,tray-a,air_temperature,nan,", *warm_rows(2, "77,°F"))
    assert main(["replay", path, "--json"]) == 0
    (raised,) = lines_of(capsys.readouterr().out)
    assert (raised["alarm"], raised["limit"], raised["value"]) == ("sensor-implausible", None, None)


def test_a_packed_file_is_replayed_like_a_plain_one(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = Path(week_file(bench, *warm_rows(12)))
    packed = bench / "week.csv.gz"
    packed.write_bytes(gzip.compress(path.read_bytes()))
    assert main(["replay", str(path), "--json"]) == 0
    plain = capsys.readouterr().out
    assert main(["replay", str(packed), "--json"]) == 0
    assert capsys.readouterr().out == plain


@pytest.mark.parametrize(
    ("content", "phrase"),
    [
        (None, "No such file"),
        (b"", "line 1 is not the header"),
        (b"when,what\n1,2\n", "line 1 is not the header"),
        (b"time,tray,quantity,value,unit\n", "holds no reading"),
        (b"\x1f\x8b broken", "line 1 is not the header"),
        (b"\xff\xfe\x00t\x00i", "line 1 is not the header"),
    ],
)
def test_a_file_that_holds_no_readings_is_refused_in_one_line(
    bench: Path, capsys: pytest.CaptureFixture[str], content: bytes | None, phrase: str
) -> None:
    path = bench / "odd.csv"
    if content is not None:
        path.write_bytes(content)
    assert main(["replay", str(path)]) == 2
    err = capsys.readouterr().err
    assert phrase in err
    assert len(err.splitlines()) == 1


def test_a_cut_packed_file_is_refused_in_one_line(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    packed = bench / "week.csv.gz"
    packed.write_bytes(gzip.compress(Path(week_file(bench, *warm_rows(50))).read_bytes())[:-20])
    assert main(["replay", str(packed)]) == 2
    assert "cannot be read" in capsys.readouterr().err


def keep(bench: Path, *readings: Reading) -> None:
    store = open_store(f"sqlite:///{bench}/wardian.db", bench)
    store.keep(Round(now_ms=MIDNIGHT_MS, readings=readings))
    store.close()


def test_status_before_the_first_run_says_that_nothing_is_known(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["status"]) == 0
    out = capsys.readouterr().out
    assert "nothing was watched yet" in out
    assert "unknown, never read" in out
    assert not (bench / "wardian.db").exists()


def test_status_as_json_has_every_tray_with_values_bands_and_states(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    keep(bench, Reading(MIDNIGHT_MS, "tray-a", "air_temperature", 25.0))
    assert main(["status", "--json"]) == 0
    status = json.loads(capsys.readouterr().out)
    assert status["time"].endswith("Z")
    tray = status["trays"][0]
    assert (tray["name"], tray["crop"], tray["stage"]) == ("tray-a", "coleus", "callusing")
    quantity = tray["quantities"]["air_temperature"]
    # The reading is from long ago: what stood then is not known now.
    assert (quantity["state"], quantity["value"], quantity["last_value"]) == ("unknown", None, 25.0)
    assert quantity["age_s"] > 0
    assert quantity["unit"] == "°C"
    assert quantity["low"] == pytest.approx(23.8888889)


def test_alarms_lists_nothing_where_nothing_stands(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["alarms"]) == 0
    assert "no alarm is present" in capsys.readouterr().out
    assert main(["alarms", "--all"]) == 0
    assert "the journal is empty" in capsys.readouterr().out


def test_alarms_as_json_are_the_objects_of_a_replay(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["replay", week_file(bench, *warm_rows(12)), "--json"]) == 0
    (fields,) = lines_of(capsys.readouterr().out)
    store = open_store(f"sqlite:///{bench}/wardian.db", bench)
    store.keep(Round(now_ms=MIDNIGHT_MS, journal=[(MIDNIGHT_MS, "tray-a", fields)]))
    store.close()
    assert main(["alarms", "--json"]) == 0
    life = {"life": "unacknowledged", "who": None, "why": None, "until": None}
    assert lines_of(capsys.readouterr().out) == [fields | life]
    assert main(["alarms"]) == 0
    assert fields["message"] in capsys.readouterr().out


@pytest.mark.parametrize("name", ["out.csv", "out.csv.gz"])
def test_what_is_exported_is_replayed_to_the_same_journal(
    bench: Path, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    keep(
        bench,
        *(Reading(MIDNIGHT_MS + n * MINUTE_MS, "tray-a", "air_temperature", 27.3 + n / 7) for n in range(12)),
    )
    assert main(["export", "--out", name, "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {"out": name, "readings": 12}
    assert main(["replay", name, "--json"]) == 0
    (raised,) = lines_of(capsys.readouterr().out)
    assert raised["value"] == 27.3 + 10 / 7


def test_an_export_keeps_to_its_times(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    keep(bench, *(Reading(MIDNIGHT_MS + n * MINUTE_MS, "tray-a", "air_temperature", 25.0) for n in range(5)))
    times = ["--from", "2026-03-02T00:01:00Z", "--to", "2026-03-02T01:04:00+01:00"]
    assert main(["export", "--out", "some.csv", *times]) == 0
    assert "3 readings" in capsys.readouterr().out
    assert len((bench / "some.csv").read_text().splitlines()) == 4


@pytest.mark.parametrize(
    ("arguments", "phrase"),
    [
        (["export", "--out", "some.txt"], ".csv.gz"),
        (["export", "--out", "some.csv", "--from", "yesterday"], "yesterday"),
        (["export", "--out", "no/such/folder.csv"], "No such file"),
        (["air", "--temperature", "24 °X", "--humidity", "95 %"], "°X"),
        (["air", "--temperature", "90 °C", "--humidity", "95 %"], "outside"),
        (["air", "--temperature", "24 °C", "--humidity", "wet"], "humidity"),
        (["status", "--config", "none.yaml"], "none.yaml"),
    ],
)
def test_what_cannot_be_done_is_said_in_one_line_with_status_2(
    bench: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], phrase: str
) -> None:
    keep(bench, Reading(MIDNIGHT_MS, "tray-a", "air_temperature", 25.0))
    assert main(arguments) == 2
    out, err = capsys.readouterr()
    assert phrase in err
    assert len(err.splitlines()) == 1
    assert out == ""


@pytest.mark.parametrize("arguments", [["fly"], ["replay"], ["air"], ["status", "--colour"], ["stat"]])
def test_wrong_usage_ends_with_status_2_and_one_line(
    arguments: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    assert ended.value.code == 2
    assert "--help" in capsys.readouterr().err


def test_air_as_json_has_the_promised_names(capsys: pytest.CaptureFixture[str]) -> None:
    assert (
        main(
            ["air", "--temperature", "24 °C", "--humidity", "95 %", "--leaf-temperature", "73.4 °F", "--json"]
        )
        == 0
    )
    result = json.loads(capsys.readouterr().out)
    # Computed by hand from the Magnus form of WMO-No. 8: e_s(24 °C) = 2.97659 kPa, e_s(23 °C) = 2.80251 kPa.
    assert result["saturation_vapour_pressure_kpa"] == pytest.approx(2.97659, abs=1e-5)
    assert result["vapour_pressure_deficit_kpa"] == pytest.approx(0.148829, abs=1e-6)
    assert result["leaf_vapour_pressure_deficit_kpa"] == pytest.approx(2.80251 - 0.95 * 2.97659, abs=2e-5)
    assert set(result) == {
        "saturation_vapour_pressure_kpa",
        "vapour_pressure_kpa",
        "vapour_pressure_deficit_kpa",
        "leaf_vapour_pressure_deficit_kpa",
        "dew_point_c",
        "absolute_humidity_g_m3",
    }


def test_air_in_words_gives_units_and_says_when_air_has_no_dew_point(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["air", "--temperature", "75 °F", "--humidity", "0.95 /"]) == 0
    assert "kPa" in capsys.readouterr().out
    assert main(["air", "--temperature", "24 °C", "--humidity", "0 %"]) == 0
    assert "none in air so dry" in capsys.readouterr().out


def test_check_names_file_line_and_path_of_every_mistake(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (bench / "config.yaml").write_text(
        CONFIG.replace("crop: coleus, stuck", "crop: colius, stuck").replace("90 %", "90 lx")
    )
    assert main(["check"]) == 2
    lines = capsys.readouterr().out.splitlines()
    assert [line.split(": ")[0] for line in lines] == ["config.yaml:4", "config.yaml:5", "config.yaml:13"]
    assert "trays[0].crop" in lines[0]
    assert "coleus" in lines[0]


def test_check_names_a_file_of_the_kernel_that_means_nothing(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sensors = """sensors:
  - name: wired
    kind: kernel
    channels:
      - {tray: tray-a, quantity: air_temperature, file: bus/iio/devices/iio:device0/in_temp_input}
      - {tray: tray-a, quantity: relative_humidity, file: bus/iio/devices/iio:device0/in_temp_input}
      - {tray: tray-b, quantity: air_temperature, file: bus/iio/devices/iio:device0/name}
"""
    (bench / "config.yaml").write_text(CONFIG + sensors)
    assert main(["check"]) == 2
    places = [line.split(": ")[:2] for line in capsys.readouterr().out.splitlines()]
    assert places == [
        ["config.yaml:21", "sensors[0].channels[1].file"],
        ["config.yaml:22", "sensors[0].channels[2].file"],
    ]


def test_check_of_a_sound_configuration_ends_with_status_0(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", "config.yaml"]) == 0
    assert main(["check", "--json"]) == 0
    assert json.loads(capsys.readouterr().out.splitlines()[-1])["usable"] is True


def test_check_can_print_every_value_in_force(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "--effective"]) == 0
    text = capsys.readouterr().out
    assert "deadband" in text
    assert "hold" in text
    assert main(["check", "--effective", "--json"]) == 0
    json.loads(capsys.readouterr().out)


def test_the_configuration_may_be_named_by_the_environment(
    bench: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    (bench / "config.yaml").rename(bench / "other.yaml")
    monkeypatch.setenv("WARDIAN_CONFIG", str(bench / "other.yaml"))
    assert main(["check"]) == 0
    assert "other.yaml" in capsys.readouterr().out


def test_status_says_whether_anybody_is_watching(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    keep(bench, Reading(MIDNIGHT_MS, "tray-a", "air_temperature", 25.0))
    assert main(["status"]) == 0
    assert "NOBODY IS WATCHING" in capsys.readouterr().out
    store = open_store(f"sqlite:///{bench}/wardian.db", bench)
    try:
        assert main(["status", "--json"]) == 0
        assert json.loads(capsys.readouterr().out)["daemon"]["pid"] == os.getpid()
    finally:
        store.close()


def test_a_reader_who_leaves_early_is_no_error(bench: Path) -> None:
    keep(bench, *(Reading(MIDNIGHT_MS + n, "tray-a", "air_temperature", 25.0) for n in range(5)))
    command = [sys.executable, "-m", "wardian.daemon.cli", "check", "--effective"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=bench) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        assert process.stderr.read() == b""
    assert process.returncode == 0
