"""``wardian tune`` as a person types it: held against replays of the same readings, and against figures by hand."""

import itertools
import json
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from replays import replayed

from wardian.adapters.stores.opening import open_store
from wardian.adapters.yaml_file import parse
from wardian.daemon.cli import main
from wardian.rules.ports import Round
from wardian.rules.readings import Reading

CONFIG = """\
site: {name: Teaching bench, timezone: UTC, units: SI}
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
          air_temperature: {low: 20 °C, high: 25 °C, deadband: 0.5 °C, on_delay: 10 min, off_delay: 5 min}
          relative_humidity: {low: 90 %, on_delay: 10 min}
"""
ON_DELAY = "crops.coleus.stages.callusing.bands.air_temperature.on_delay"
#: 2026-03-02T00:00:00Z
MIDNIGHT_MS = 1_772_409_600_000
MINUTE_MS = 60_000
#: Minutes of the day from which, and for how long, tray-a is too warm: nobody's fault but the last.
WARM = ((60, 3), (120, 7), (180, 12), (240, 25), (400, 200))
TRUTH: dict[str, Any] = {
    "seed": 1,
    "start": "2026-03-02T00:00:00Z",
    "end": "2026-03-03T00:00:00Z",
    "faults": [
        {
            "tray": "tray-a",
            "fault": "heater stuck on",
            "from": "2026-03-02T06:30:00Z",
            "to": "2026-03-02T10:00:00Z",
        }
    ],
    "care": [],
}


def a_day() -> list[Reading]:
    """Half a day of minutes; tray-b is read for two hours only."""
    warm = {minute for from_min, lasts_min in WARM for minute in range(from_min, from_min + lasts_min)}
    return [
        Reading(MIDNIGHT_MS + minute * MINUTE_MS, tray, "air_temperature", value)
        for minute in range(720)
        for tray, value in (("tray-a", 26.0 if minute in warm else 22.0), ("tray-b", 21.0))
        if tray == "tray-a" or minute < 120
    ]


def written(path: Path, readings: list[Reading]) -> None:
    rows = [f"{time_of(one.time_ms)},{one.tray},{one.quantity},{one.value},\n" for one in readings]
    path.write_text("time,tray,quantity,value,unit\n" + "".join(rows))


def time_of(time_ms: int) -> str:
    minute = (time_ms - MIDNIGHT_MS) // MINUTE_MS
    return f"2026-03-02T{minute // 60:02}:{minute % 60:02}:00Z"


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "config.yaml").write_text(CONFIG)
    (tmp_path / "quick.yaml").write_text(CONFIG.replace("°C, on_delay: 10 min", "°C, on_delay: 1 min"))
    (tmp_path / "wide.yaml").write_text(CONFIG.replace("high: 25 °C", "high: 26.5 °C"))
    (tmp_path / "truth.json").write_text(json.dumps(TRUTH))
    written(tmp_path / "day.csv", a_day())
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("WARDIAN_CONFIG", raising=False)
    return tmp_path


def tuned(capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[str, Any]:
    assert main(["tune", *arguments, "--json"]) == 0
    result: dict[str, Any] = json.loads(capsys.readouterr().out)
    return result


def band_of(setting: dict[str, Any], tray: str, quantity: str = "air_temperature") -> dict[str, Any]:
    (watched,) = (one for one in setting["trays"] if one["tray"] == tray)
    (band,) = (one for one in watched["bands"] if one["quantity"] == quantity)
    return dict(band)


# ------------------------------------------------------------------------------- side by side


def test_shares_alarms_and_the_longest_excursion_are_those_worked_out_by_hand(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (setting,) = tuned(capsys, "day.csv")["settings"]
    warm = band_of(setting, "tray-a")
    warm_s = 60 * sum(lasts_min for _, lasts_min in WARM)
    # From the first reading to the last and the millisecond after it.
    day_s = 719 * 60 + 0.001
    assert (warm["beyond_s"], warm["unknown_s"]) == (warm_s, 0)
    assert warm["within_s"] == pytest.approx(day_s - warm_s)
    assert warm["beyond"] == pytest.approx(warm_s / day_s)
    # 12, 25 and 200 min are longer than the delay of 10 min; the ten minutes before each are untold.
    assert (warm["alarms"], warm["longest_beyond_s"]) == (3, 200 * 60)
    assert warm["untold_s"] == 60 * (3 + 7 + 10 + 10 + 10)
    quiet = band_of(setting, "tray-b")
    # Read for two hours; its last reading stands for five minutes.
    assert (quiet["within_s"], quiet["beyond_s"]) == (124 * 60, 0)
    assert quiet["within"] + quiet["beyond"] + quiet["unknown"] == pytest.approx(1)
    unheard = band_of(setting, "tray-a", "relative_humidity")
    assert (unheard["within"], unheard["beyond"], unheard["unknown"]) == (0, 0, 1)


@pytest.mark.parametrize("name", ["config.yaml", "quick.yaml", "wide.yaml"])
def test_alarms_are_those_of_a_replay(bench: Path, capsys: pytest.CaptureFixture[str], name: str) -> None:
    every = tuned(capsys, "day.csv", *itertools.chain(*[["--config", f"{one}.yaml"] for one in ("config", "quick", "wide")]))  # fmt: skip
    (setting,) = (one for one in every["settings"] if one["name"] == name)
    journal, _ = replayed(bench / name, bench / "day.csv")
    raised = Counter((one["tray"], one["quantity"]) for one in journal if one["event"] == "raised")
    found = {
        (tray["tray"], band["quantity"]): band["alarms"]
        for tray in setting["trays"]
        for band in tray["bands"]
    }
    assert {series: count for series, count in found.items() if count} == raised
    assert setting["alarms"] == raised.total()


@pytest.mark.parametrize("name", ["config.yaml", "quick.yaml", "wide.yaml"])
def test_a_setting_beside_others_is_as_it_is_alone(
    bench: Path, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    others = [one for one in ("config.yaml", "quick.yaml", "wide.yaml") if one != name]
    arguments = [option for one in (*others, name) for option in ("--config", one)]
    (alone,) = tuned(capsys, "day.csv", "--config", name)["settings"]
    beside = tuned(capsys, "day.csv", *arguments)["settings"][-1]
    assert (beside["trays"], beside["alarms"], beside["untold_s"]) == (
        alone["trays"],
        alone["alarms"],
        alone["untold_s"],
    )


def test_a_refused_row_doubts_its_sensor_and_is_counted(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with (bench / "day.csv").open("a") as file:
        file.write("2026-03-02T11:00:30Z,tray-a,air_temperature,nan,\n")
    result = tuned(capsys, "day.csv")
    assert result["readings"][0]["refused"] == 1
    (setting,) = result["settings"]
    assert [tray["sensor_alarms"] for tray in setting["trays"]] == [1, 0]
    assert setting["alarms"] == 4


def test_unknown_time_is_neither_beyond_nor_untold(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # Too warm for three minutes, then nothing is heard for an hour; the last reading stands for five.
    warm = [Reading(MIDNIGHT_MS + m * MINUTE_MS, "tray-a", "air_temperature", 26.0) for m in range(3)]
    cool = [Reading(MIDNIGHT_MS + 62 * MINUTE_MS, "tray-a", "air_temperature", 22.0)]
    written(bench / "gap.csv", warm + cool)
    (setting,) = tuned(capsys, "gap.csv")["settings"]
    band = band_of(setting, "tray-a")
    assert (band["beyond_s"], band["untold_s"], band["unknown_s"]) == (7 * 60, 7 * 60, 55 * 60)
    assert band["longest_beyond_s"] == 7 * 60


def test_people_see_a_summary_and_then_each_tray_and_band(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["tune", "day.csv", "--config", "config.yaml", "--config", "quick.yaml"]) == 0
    out, err = capsys.readouterr()
    summary, tray_a, tray_b = out.split("\n\n")
    assert summary.splitlines()[1].split() == ["1", "*", "config.yaml", "3", "40", "min"]
    assert summary.splitlines()[2].split() == ["2", "*", "quick.yaml", "5", "5", "min"]
    rows = [" ".join(line.split()) for line in tray_a.splitlines()]
    assert rows[0] == "tray-a"
    assert rows[2] == "air under the cover config.yaml 65.65 % 34.35 % 0.00 % 3 3 h 20 min"
    assert rows[3] == "quick.yaml 65.65 % 34.35 % 0.00 % 5 3 h 20 min"
    assert "relative" in tray_b or "humidity" in tray_b
    assert "day.csv: 840 readings from Mon 2 Mar 00:00 to Mon 2 Mar 11:59, 0 refused" in err


def test_files_of_one_name_are_numbered_and_a_tray_that_one_leaves_out_is_not_watched_there(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (bench / "other").mkdir()
    text = CONFIG.replace("  - {name: tray-b, crop: coleus, stuck: 2026-03-02}\n", "")
    (bench / "other" / "config.yaml").write_text(text)
    arguments = ["day.csv", "--config", "config.yaml", "--config", "other/config.yaml"]
    one, other = tuned(capsys, *arguments)["settings"]
    assert (one["name"], other["name"]) == ("config.yaml (1)", "config.yaml (2)")
    assert other["trays"][1] == {"tray": "tray-b", "watched": False}
    assert main(["tune", *arguments]) == 0
    assert "not watched" in capsys.readouterr().out


def test_several_files_are_one_long_time(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (alone,) = tuned(capsys, "day.csv")["settings"]
    twice = tuned(capsys, "day.csv", "day.csv")
    (both,) = twice["settings"]
    assert [one["file"] for one in twice["readings"]] == ["day.csv", "day.csv"]
    assert both["alarms"] == 2 * alone["alarms"]
    one, two = band_of(alone, "tray-a"), band_of(both, "tray-a")
    assert two["beyond_s"] == 2 * one["beyond_s"]
    assert (two["beyond"], two["longest_beyond_s"]) == (one["beyond"], one["longest_beyond_s"])


def test_a_store_is_judged_like_the_file_that_is_exported_from_it(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store = open_store(f"sqlite:///{bench}/wardian.db", bench)
    store.keep(Round(now_ms=MIDNIGHT_MS, readings=a_day()))
    store.close()
    times = ["--from", "2026-03-02T01:30:00Z", "--to", "2026-03-02T05:00:00Z"]
    assert main(["export", "--out", "out.csv", *times]) == 0
    capsys.readouterr()
    stored, exported = tuned(capsys, *times), tuned(capsys, "out.csv")
    assert stored["settings"] == exported["settings"]
    assert stored["readings"][0]["from"] == "2026-03-02T01:30:00.000Z"


# -------------------------------------------------------------------------------- with a truth


def test_what_is_found_is_what_a_replay_finds(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["replay", "day.csv", "--truth", "truth.json", "--json"]) == 0
    score = json.loads(capsys.readouterr().out.splitlines()[-1])["score"]
    (setting,) = tuned(capsys, "day.csv", "--truth", "truth.json")["settings"]
    for name in ("found", "missed", "median_late_s", "worst_late_s"):
        assert setting[name] == score[name]
    assert setting["unneeded"] == len(score["unneeded"]) == 2
    assert setting["unneeded_per_tray_week"] == pytest.approx(score["unneeded_per_tray_week"], abs=1e-6)


def test_a_sweep_trades_lateness_for_unneeded_alarms(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    arguments = ["day.csv", "--truth", "truth.json", "--vary", f"{ON_DELAY}=1min,5min,15 min,20 min,4 h"]
    every = tuned(capsys, *arguments)["settings"]
    # The fault begins ten minutes before the limit is crossed.
    assert [one["median_late_s"] for one in every] == [660, 900, 1500, 1800, None]
    assert [one["unneeded"] for one in every] == [4, 3, 1, 1, 0]
    assert [one["not_beaten"] for one in every] == [True, True, True, False, True]
    assert [one["missed"] for one in every] == [0, 0, 0, 0, 1]
    assert [one["values"] for one in every][2] == {ON_DELAY: "15 min"}
    assert main(["tune", *arguments]) == 0
    out = [" ".join(line.split()) for line in capsys.readouterr().out.splitlines()]
    assert out[0] == f"on_delay: {ON_DELAY}"
    assert out[2].startswith("1 * 1min 5 1 of 1 11 min 11 min ")
    assert out[5].startswith("4 20 min 2 1 of 1 30 min 30 min ")
    assert out[6] == "5 * 4 h 0 0 of 1 never - 0.00"


def test_each_setting_of_a_sweep_is_that_of_a_configuration_so_written(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sweep = tuned(capsys, "day.csv", "--vary", f"{ON_DELAY}=1 min,10 min")["settings"]
    every = tuned(capsys, "day.csv", "--config", "quick.yaml", "--config", "config.yaml")["settings"]
    for one, other in zip(sweep, every, strict=True):
        assert one | {"name": "", "values": {}} == other | {"name": ""}


def test_two_keys_and_a_key_that_judges_nothing_work(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    every = tuned(capsys, "day.csv", "--vary", f"{ON_DELAY}=1min,10min", "--vary", "site.units=SI,US")[
        "settings"
    ]
    assert [one["alarms"] for one in every] == [5, 5, 3, 3]
    assert [one["name"] for one in every] == ["1min, SI", "1min, US", "10min, SI", "10min, US"]


def test_two_keys_of_one_name_are_told_apart_by_what_holds_them(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    humidity = ON_DELAY.replace("air_temperature", "relative_humidity")
    assert main(["tune", "day.csv", "--vary", f"{ON_DELAY}=1min", "--vary", f"{humidity}=2min"]) == 0
    out = capsys.readouterr().out.splitlines()
    assert out[0] == f"air_temperature.on_delay: {ON_DELAY}"
    assert out[2].split()[:2] == ["air_temperature.on_delay", "relative_humidity.on_delay"]


# ------------------------------------------------------------------------------ what to paste


def test_a_written_setting_pasted_gives_its_journal(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    arguments = ["day.csv", "--vary", f"{ON_DELAY}=1min,15 min", "--write", "better.yaml", "--setting", "2"]
    assert main(["tune", *arguments]) == 0
    text = (bench / "better.yaml").read_text()
    assert (
        "# Setting 2 of 2 that were tried on day.csv:\n# 2 alarms, 52 min beyond a band without one.\n"
        in text
    )
    fragment = parse(text.encode(), "better.yaml").value
    (stage,) = fragment["crops"]["coleus"]["stages"]
    assert stage == {"name": "callusing", "bands": {"air_temperature": {"on_delay": "15 min"}}}
    pasted = CONFIG.replace(
        "°C, on_delay: 10 min", f"°C, on_delay: {stage['bands']['air_temperature']['on_delay']}"
    )
    (bench / "pasted.yaml").write_text(pasted)
    journal, _ = replayed(bench / "pasted.yaml", bench / "day.csv")
    capsys.readouterr()
    setting = tuned(capsys, "day.csv", "--vary", f"{ON_DELAY}=1min,15 min")["settings"][1]
    assert sum(one["event"] == "raised" for one in journal) == setting["alarms"] == 2
    assert not list(bench.glob(".*.part"))


def test_the_only_setting_that_is_not_beaten_is_written_without_asking(bench: Path) -> None:
    arguments = ["day.csv", "--truth", "truth.json", "--write", "better.yaml"]
    assert main(["tune", *arguments, "--vary", f"{ON_DELAY}=15min,20min"]) == 0
    assert "on_delay: 15min\n" in (bench / "better.yaml").read_text()
    assert "1 of 1 faults found" in (bench / "better.yaml").read_text()


def test_of_several_that_are_not_beaten_one_must_be_named(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = ["day.csv", "--vary", f"{ON_DELAY}=1min,10min", "--write", "better.yaml"]
    assert main(["tune", *arguments]) == 2
    out, err = capsys.readouterr()
    assert "not beaten" in out
    assert err.endswith("wardian tune: 2 settings are not beaten; say which to write with --setting N\n")
    assert not (bench / "better.yaml").exists()


# ------------------------------------------------------------------------------------ mistakes


@pytest.mark.parametrize(
    ("arguments", "phrase"),
    [
        (["none.csv"], "none.csv: No such file or directory"),
        (["config.yaml"], "line 1 is not the header"),
        (["day.csv", "--config", "none.yaml"], "none.yaml:1: cannot be read"),
        (["day.csv", "--truth", "truth.json", "--truth", "truth.json"], "2 truths for 1 files of readings"),
        (["--truth", "truth.json"], "1 truths for 0 files"),
        (["day.csv", "--truth", "day.csv"], "day.csv"),
        (["day.csv", "--from", "2026-03-02T00:00:00Z"], "--from and --to choose from the store"),
        (["--from", "yesterday"], "yesterday"),
        (["day.csv", "--config", "quick.yaml", "--config", "config.yaml", "--vary", f"{ON_DELAY}=1"], "2 are named"),
        (["day.csv", "--vary", f"{ON_DELAY}=5 parsecs"], f"--vary {ON_DELAY}="),
        (["day.csv", "--vary", f"{ON_DELAY}x=5"], "did you mean on_delay?"),
        (["day.csv", "--write", "x.yaml"], "not given"),
        (["day.csv", "--setting", "1"], "not given"),
        (["day.csv", "--vary", f"{ON_DELAY}=1", "--setting", "1"], "not given"),
        (["day.csv", "--vary", f"{ON_DELAY}=1", "--write", "config.yaml"], "is not written over"),
        (["day.csv", "--vary", f"{ON_DELAY}=1", "--write", "x.yaml", "--setting", "2"], "there are 1 to 1"),
    ],
)  # fmt: skip
def test_what_cannot_be_done_is_said_in_one_line_before_anything_is_printed(
    bench: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], phrase: str
) -> None:
    open_store(f"sqlite:///{bench}/wardian.db", bench).close()
    assert main(["tune", *arguments]) == 2
    out, err = capsys.readouterr()
    assert phrase in err
    assert len(err.splitlines()) == 1
    assert out == ""


def test_a_truth_about_another_time_is_refused(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    later = {**TRUTH, "start": "2027-03-02T00:00:00Z", "end": "2027-03-03T00:00:00Z", "faults": []}
    (bench / "later.json").write_text(json.dumps(later))
    assert main(["tune", "day.csv", "--truth", "later.json"]) == 2
    assert "later.json: does not belong to these readings" in capsys.readouterr().err


def test_a_fragment_that_cannot_be_written_leaves_nothing(bench: Path) -> None:
    arguments = ["day.csv", "--vary", f"{ON_DELAY}=1min", "--write", "no/such/folder.yaml"]
    assert main(["tune", *arguments]) == 2
    assert not (bench / "no").exists()
