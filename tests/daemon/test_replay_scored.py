"""A replay with the truth beside it, as a user types it: the score, and truths that cannot be used."""

import json
from pathlib import Path
from typing import Any

import pytest

from wardian.daemon.cli import main

CONFIG = """\
site: {name: Teaching bench, timezone: Europe/Lisbon, units: SI}
trays:
  - {name: tray-a, crop: coleus, stuck: 2026-03-02}
  - {name: tray-b, crop: coleus, stuck: 2026-03-02}
crops:
  coleus:
    stages:
      - name: callusing
        from_day: 0
        bands:
          air_temperature: {low: 20 °C, high: 26 °C, deadband: 0.5 K, on_delay: 10 min, off_delay: 5 min}
"""


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "config.yaml").write_text(CONFIG)
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("WARDIAN_CONFIG", raising=False)
    rows = [f"2026-03-02T{at // 60:02}:{at % 60:02}:00Z," for at in range(240)]
    (tmp_path / "day.csv").write_text(
        "time,tray,quantity,value,unit\n"
        + "".join(
            f"{row}tray-a,air_temperature,{28 if 62 <= at < 120 else 23},\n" for at, row in enumerate(rows)
        )
        + "".join(f"{row}tray-b,air_temperature,{17 if at >= 180 else 23},\n" for at, row in enumerate(rows))
    )
    return tmp_path


def fault(tray: str, name: str, begin: str, end: str) -> dict[str, str]:
    return {"tray": tray, "fault": name, "from": f"2026-03-02T{begin}:00Z", "to": f"2026-03-02T{end}:00Z"}


STUCK_ON = fault("tray-a", "heater stuck on", "01:00", "02:00")
MISTED = fault("tray-b", "never aired", "01:00", "02:00")


def truth_file(folder: Path, *faults: dict[str, str], **changes: Any) -> str:
    whole = {
        "seed": 1,
        "start": "2026-03-02T00:00:00Z",
        "end": "2026-03-02T04:00:00Z",
        "faults": faults,
        "care": [],
    }
    (folder / "truth.json").write_text(json.dumps(whole | changes))
    return "truth.json"


def test_programs_get_the_journal_and_then_one_score(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["replay", "day.csv", "--json"]) == 0
    journal = capsys.readouterr().out
    assert main(["replay", "day.csv", "--json", "--truth", truth_file(bench, STUCK_ON, MISTED)]) == 0
    out = capsys.readouterr().out
    assert out.startswith(journal)
    (last,) = out.removeprefix(journal).splitlines()
    result = json.loads(last)["score"]
    assert result["faults"] == [
        {
            "tray": "tray-a",
            "fault": "heater stuck on",
            "quantity": None,
            "from": "2026-03-02T01:00:00.000Z",
            "to": "2026-03-02T02:00:00.000Z",
            "result": "found",
            "alarm": "air-too-warm",
            "alarm_quantity": "air_temperature",
            "limit": "high",
            "raised": "2026-03-02T01:12:00.000Z",
            "late_s": 720.0,
            "late_after_limit_s": 600.0,
            "on_delay_s": 600.0,
            "beyond_s": 3480.0,
            "out_of_band": True,
        },
        {
            "tray": "tray-b",
            "fault": "never aired",
            "quantity": None,
            "from": "2026-03-02T01:00:00.000Z",
            "to": "2026-03-02T02:00:00.000Z",
            "result": "within",
            **dict.fromkeys(("alarm", "alarm_quantity", "limit", "raised"), None),
            **dict.fromkeys(("late_s", "late_after_limit_s", "on_delay_s"), None),
            "beyond_s": 0.0,
            "out_of_band": False,
        },
    ]
    assert (result["found"], result["missed"], result["within"], result["standing"]) == (1, 0, 1, 0)
    (unneeded,) = result["unneeded"]
    assert (unneeded["tray"], unneeded["time"]) == ("tray-b", "2026-03-02T03:10:00.000Z")
    assert result["tray_weeks"] == pytest.approx(2 * 4 / 168, rel=0.01)
    assert result["unneeded_per_tray_week"] == pytest.approx(21, rel=0.01)
    assert result["by_tray"]["tray-b"] | {"tray_weeks": 0} == {
        "found": 0,
        "missed": 0,
        "standing": 0,
        "within": 1,
        "unneeded": 1,
        "tray_weeks": 0,
    }
    assert result["median_late_after_limit_s"] == result["worst_late_after_limit_s"] == 600


def test_people_get_a_table_after_the_journal(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["replay", "day.csv", "--truth", truth_file(bench, STUCK_ON, MISTED)]) == 0
    _, _, table = capsys.readouterr().out.partition("\n\n")
    lines = [" ".join(line.split()) for line in table.splitlines()]
    assert lines[0] == "tray fault from result alarm late after the limit it waits"
    assert lines[1] == (
        "tray-a heater stuck on Mon 2 Mar 01:00 found air-too-warm (air under the cover) 12 min 10 min 10 min"
    )
    assert lines[2] == "tray-b never aired Mon 2 Mar 01:00 within none"
    assert lines[3].startswith("found 1 of 1 ")
    assert lines[4] == "raised 12 min after the fault began in the median, 12 min at worst"
    assert lines[5] == "raised 10 min after the limit was crossed in the median, 10 min at worst"
    assert lines[6].startswith("alarms that belong to no fault: 1, 21.")
    assert lines[7].startswith("Mon 2 Mar 03:10 tray-b raised")
    assert len(lines) == 8


def test_a_missed_fault_is_no_failure_of_the_command(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    config = bench / "config.yaml"
    config.write_text(config.read_text().replace("on_delay: 10 min", "on_delay: 20 min"))
    rows = [f"2026-03-02T01:{at:02}:00Z,tray-a,air_temperature,{28 if at % 6 else 23}," for at in range(59)]
    (bench / "day.csv").write_text("\n".join(["time,tray,quantity,value,unit", *rows]))
    assert main(["replay", "day.csv", "--json", "--truth", truth_file(bench, STUCK_ON)]) == 0
    assert json.loads(capsys.readouterr().out.splitlines()[-1])["score"]["missed"] == 1
    assert main(["replay", "day.csv", "--truth", truth_file(bench, STUCK_ON)]) == 0
    assert "none; beyond for 48 min" in capsys.readouterr().out


def test_a_fault_of_a_tray_that_is_not_watched_is_left_out_and_told(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    config = bench / "config.yaml"
    config.write_text(config.read_text().replace("  - {name: tray-a, crop: coleus, stuck: 2026-03-02}\n", ""))
    assert main(["replay", "day.csv", "--truth", truth_file(bench, STUCK_ON)]) == 0
    told = "tray 'tray-a': heater stuck on is not judged: the tray is not in the configuration\n"
    assert told in capsys.readouterr().out
    assert main(["replay", "day.csv", "--json", "--truth", "truth.json"]) == 0
    result = json.loads(capsys.readouterr().out.splitlines()[-1])["score"]
    assert [one["tray"] for one in result["not_judged"]] == ["tray-a"]
    assert result["faults"] == []


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"end": "2026-03-02T01:00:00Z"}, "does not belong to these readings: they end after it does"),
        (
            {"start": "2026-03-02T03:00:00Z", "end": "2026-03-02T04:00:00Z"},
            "does not belong to these readings: they begin before it does",
        ),
        (
            {"faults": [STUCK_ON | {"tray": "tray-x"}]},
            "does not belong to these readings: it is about 'tray-x', they are of 'tray-a', 'tray-b'",
        ),
        (
            {"faults": [STUCK_ON, STUCK_ON | {"tray": "tray-x"}]},
            "does not belong to these readings: they hold nothing of 'tray-x'",
        ),
        ({"faults": [STUCK_ON | {"fault": "heater stuk on"}]}, "did you mean heater stuck on?"),
        ({"seed": None}, "seed is None; a whole number is accepted"),
    ],
)
def test_a_truth_that_cannot_be_used_is_told_and_nothing_printed(
    bench: Path, capsys: pytest.CaptureFixture[str], changes: dict[str, Any], why: str
) -> None:
    assert main(["replay", "day.csv", "--truth", truth_file(bench, STUCK_ON, **changes)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "truth.json" in err
    assert why in err
    assert err.count("\n") == 1


@pytest.mark.parametrize("name", ["", ".", "nowhere.json", "day.csv"])
def test_a_truth_that_is_no_file_or_no_truth_is_told(
    bench: Path, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    assert bench.is_dir()
    assert main(["replay", "day.csv", "--truth", name]) == 2
    assert capsys.readouterr().err.count("\n") == 1
