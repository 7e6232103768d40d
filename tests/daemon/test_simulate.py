"""A pretended week as a user asks for it: its files, what is printed, and what cannot be made."""

import gzip
import io
import json
import os
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from wardian.adapters.reading_file import read_blocks
from wardian.adapters.truth_file import read_truth
from wardian.daemon.cli import main
from wardian.daemon.recorded import write_readings
from wardian.daemon.simulate import scenarios
from wardian.rules.faults import FAULTS
from wardian.rules.quantities import QUANTITIES
from wardian.rules.readings import Rows
from wardian.rules.truth import CARE_EVENTS
from wardian.simulator import evening_class
from wardian.simulator.probes import PROBES
from wardian.simulator.week import week

CONFIG = """\
site: {name: Teaching bench, timezone: Europe/Lisbon, units: SI}
trays:
  - {name: left, crop: coleus, stuck: 2026-03-02}
  - {name: right, crop: coleus, stuck: 2026-05-04}
crops:
  coleus: {stages: [{name: callusing, from_day: 0, bands: {air_temperature: {low: 22, high: 26}}}]}
"""
EVENING_CLASS = ["tray-a", "tray-b", "tray-c", "tray-d", "tray-e", "tray-f"]
#: An hour is enough where it does not matter what happens.
HOUR = ["--days", "0.0416666667"]
TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{3})?Z")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def simulated(*arguments: str, out: str = "week.csv") -> Path:
    """Simulate an hour, or what the arguments say, and return the file of readings."""
    assert main(["simulate", "--out", out, *HOUR, *arguments]) == 0
    return Path(out)


def simulated_json(capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[str, Any]:
    capsys.readouterr()
    simulated("--json", *arguments)
    printed = capsys.readouterr()
    assert printed.err == ""
    result: dict[str, Any] = json.loads(printed.out)
    return result


# ------------------------------------------------------------------------------------------ files


@pytest.mark.parametrize(("name", "other"), [("a.csv", "b.csv"), ("a.csv.gz", "other.csv.gz")])
def test_the_same_seed_gives_the_same_bytes_whatever_the_file_is_called(
    folder: Path, name: str, other: str
) -> None:
    week_of = ["--days", "0.6", "--scenario", "bad-week", "--seed", "5"]
    first = simulated(*week_of, "--truth", "a.json", out=name)
    again = simulated(*week_of, "--truth", "b.json", out=other)
    os.utime(first, (0, 0))
    assert first.read_bytes() == again.read_bytes()
    assert Path("a.json").read_bytes() == Path("b.json").read_bytes()


def test_another_seed_gives_another_week(folder: Path) -> None:
    weeks = [simulated("--seed", str(seed), out=f"{seed}.csv").read_bytes() for seed in (0, 1, 4_294_967_295)]
    assert len(set(weeks)) == 3


def test_a_packed_file_holds_what_a_plain_one_does(folder: Path) -> None:
    assert gzip.decompress(simulated(out="week.csv.gz").read_bytes()) == simulated().read_bytes()


def test_the_file_holds_readings_in_the_interchange_form(folder: Path) -> None:
    header, *lines = simulated("--days", "0.5").read_text(encoding="utf-8").splitlines()
    assert header == "time,tray,quantity,value,unit"
    rows = [line.split(",") for line in lines]
    assert {len(row) for row in rows} == {5}
    assert {row[1] for row in rows} == set(EVENING_CLASS)
    assert {row[2] for row in rows} == set(PROBES)
    assert all(TIME.fullmatch(row[0]) for row in rows)
    assert all(row[4] == QUANTITIES[row[2]].unit for row in rows)
    blocks = list(read_blocks(Path("week.csv")))
    assert [block.refused for block in blocks if block.refused] == []
    read = sum(len(points.times_ms) for block in blocks for points in block.chunk.values())
    assert read == len(rows) == pytest.approx(12 * 360 * 6 * 5, rel=0.01)


def test_readings_lie_from_the_start_to_the_end_of_the_days(folder: Path) -> None:
    start = "2026-07-01T12:00:00+02:00"
    times = [line[:24] for line in simulated("--start", start).read_text().splitlines()[1:]]
    assert min(times) >= "2026-07-01T10:00:00.000Z"
    assert max(times) < "2026-07-01T11:00:00.001Z"
    assert min(times) < "2026-07-01T10:00:10.001Z"
    assert max(times) > "2026-07-01T10:59:49.000Z"


def test_the_truth_has_what_is_promised_of_it(folder: Path) -> None:
    simulated(
        "--days", "2", "--scenario", "bad-week", "--scenario", "steady", "--truth", "t.json", "--seed", "3"
    )
    told = json.loads(Path("t.json").read_text(encoding="utf-8"))
    assert set(told) == {"seed", "start", "end", "faults", "care"}
    assert (told["seed"], told["start"], told["end"]) == (
        3,
        "2026-03-01T05:00:00.000Z",
        "2026-03-03T05:00:00.000Z",
    )
    assert {one["fault"] for one in told["faults"]} == set(scenarios()["bad-week"].split(", "))
    for one in told["faults"]:
        assert set(one) in ({"tray", "fault", "from", "to"}, {"tray", "fault", "from", "to", "quantity"})
        assert "quantity" not in one or FAULTS[one["fault"]].of_sensor
    assert {one["event"] for one in told["care"]} <= set(CARE_EVENTS)
    for one in told["care"]:
        assert set(one) == {"tray", "event", "from", "to"}
    for one in (*told["faults"], *told["care"]):
        assert one["tray"] in EVENING_CLASS
        assert one["from"] < one["to"]
        assert told["start"] <= one["to"]
        assert one["from"] <= told["end"]
        assert TIME.fullmatch(one["from"])
        assert TIME.fullmatch(one["to"])
    assert read_truth(Path("t.json")).seed == 3


def test_a_truth_belongs_to_its_readings(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "config.yaml").write_text(CONFIG)
    simulated("--days", "1", "--scenario", "heater-dead", "--truth", "t.json")
    capsys.readouterr()
    assert main(["replay", "week.csv", "--truth", "t.json", "--json"]) == 0
    score = json.loads(capsys.readouterr().out.splitlines()[-1])["score"]
    assert [one["fault"] for one in score["faults"]] == ["heater dead"]
    assert score["faults"][0]["tray"] in ("left", "right")


# ------------------------------------------------------------------------------ which trays, and when


def test_without_a_configuration_an_evening_class_is_pretended(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told = simulated_json(capsys)
    assert told["trays"] == EVENING_CLASS
    assert told["start"] == "2026-03-01T05:00:00.000Z"  # midnight in New York


@pytest.mark.parametrize("where", ["option", "environment", "folder"])
def test_the_trays_are_those_of_the_configuration(
    folder: Path, where: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    (folder / ("config.yaml" if where == "folder" else "bench.yaml")).write_text(CONFIG)
    if where == "environment":
        monkeypatch.setenv("WARDIAN_CONFIG", "bench.yaml")
    told = simulated_json(capsys, *(["--config", "bench.yaml"] if where == "option" else []))
    assert told["trays"] == ["left", "right"]
    assert told["start"] == "2026-05-03T23:00:00.000Z"  # the later day of sticking, midnight in Lisbon


def test_a_named_configuration_goes_before_the_environment_and_that_before_the_folder(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("config", "named", "set"):
        (folder / f"{name}.yaml").write_text(CONFIG.replace("left", name))
    monkeypatch.setenv("WARDIAN_CONFIG", "set.yaml")
    assert simulated_json(capsys)["trays"] == ["set", "right"]
    assert simulated_json(capsys, "--config", "named.yaml")["trays"] == ["named", "right"]


def test_the_same_seed_and_configuration_give_the_same_bytes(folder: Path) -> None:
    (folder / "config.yaml").write_text(CONFIG)
    assert simulated(out="a.csv").read_bytes() == simulated(out="b.csv").read_bytes()


# --------------------------------------------------------------------------------- what is printed


def test_people_are_told_what_was_written(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    simulated("--truth", "t.json", "--scenario", "heater dead", "--days", "1")
    printed = capsys.readouterr()
    readings, truth = printed.out.splitlines()
    count = len(Path("week.csv").read_text().splitlines()) - 1
    assert readings == f"{count} readings of 6 trays written to week.csv"
    assert re.fullmatch(r"1 faults? and \d+ acts of care told in t.json", truth)
    assert printed.err == ""


def test_programs_are_told_as_json_and_nothing_else(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = simulated_json(
        capsys, "--truth", "t.json", "--scenario", "heater dead", "--days", "1", "--seed", "9"
    )
    truth = read_truth(Path("t.json"))
    assert told == {
        "out": "week.csv",
        "readings": len(Path("week.csv").read_text().splitlines()) - 1,
        "truth": "t.json",
        "seed": 9,
        "start": "2026-03-01T05:00:00.000Z",
        "end": "2026-03-02T05:00:00.000Z",
        "trays": EVENING_CLASS,
        "scenarios": ["heater-dead"],
        "faults": 1,
        "care": len(truth.care),
    }
    assert simulated_json(capsys)["truth"] is None


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize("error", [Terminal(), io.StringIO()], ids=["terminal", "file"])
def test_progress_is_told_on_a_terminal_only(
    folder: Path, error: io.StringIO, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "stderr", error)
    simulated("--days", "0.6", "--json")
    json.loads(capsys.readouterr().out)
    if error.isatty():
        steps = error.getvalue().split("\r")[1:]
        assert len(steps) == 3
        assert steps[-1] == "simulating 100%\n"
    else:
        assert error.getvalue() == ""


def test_the_scenarios_can_be_listed(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["simulate", "--list"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert main(["simulate", "--list", "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)["scenarios"]
    assert {one["name"]: one["words"] for one in listed} == dict(scenarios())
    assert [re.split(" {2,}", line) for line in lines] == [[one["name"], one["words"]] for one in listed]
    assert "steady" in lines[0]
    assert list(folder.iterdir()) == []


# ------------------------------------------------------------------------------- what cannot be made


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (
            ["--scenario", "heater-ded"],
            "--scenario heater-ded: there is no such scenario; did you mean heater-dead",
        ),
        (["--scenario", "steady", "--scenario", "zzz"], "--scenario zzz: there is no such scenario"),
        (["--scenario", ""], "--scenario "),
        (["--days", "-1"], "--days -1: 0.001 to 366 is accepted"),
        (["--days", "0"], "--days 0: 0.001 to 366 is accepted"),
        (["--days", "367"], "--days 367: 0.001 to 366 is accepted"),
        (["--days", "nan"], "--days nan: 0.001 to 366 is accepted"),
        (["--days", "inf"], "--days inf: 0.001 to 366 is accepted"),
        (["--days", "1e-9"], "--days 1e-09: 0.001 to 366 is accepted"),
        (["--days", "week"], "argument --days: invalid float value: 'week'"),
        (["--seed", "-1"], "--seed -1: a whole number from 0 to 4294967295 is accepted"),
        (["--seed", "4294967296"], "--seed 4294967296: a whole number from 0"),
        (["--seed", "1.5"], "argument --seed: invalid int value: '1.5'"),
        (["--start", "yesterday"], "--start yesterday: "),
        (["--start", "2026-03-01T00:00:00"], "--start 2026-03-01T00:00:00: "),
        (["--start", "1969-12-31T23:00:00Z"], "--start 1969-12-31T23:00:00Z: a time from 1970 to 2199"),
        (["--start", "9999-01-01T00:00:00Z"], "a time from 1970 to 2199 is accepted"),
        (["--out", "week.txt"], "--out week.txt: a name that ends in .csv or .csv.gz is accepted"),
        (["--out", "none/week.csv"], "--out none/week.csv: there is no folder none"),
        (["--out", "folder.csv"], "--out folder.csv: is a folder; the name of a file is accepted"),
        (["--out", ""], "--out "),
        (["--truth", "none/t.json"], "--truth none/t.json: there is no folder none"),
        (["--truth", "folder.csv"], "--truth folder.csv: is a folder"),
        (["--truth", "./week.csv"], "--truth week.csv: is what --out names"),
        (["--config", "none.yaml"], "none.yaml"),
        (["--out", "x" * 300 + ".csv"], "File name too long"),
    ],
)
def test_what_cannot_be_made_is_told_in_one_line_and_nothing_is_left(
    folder: Path, arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "folder.csv").mkdir()
    command = ["simulate", "--out", "week.csv", *HOUR, *arguments]
    try:
        status = main(command)
    except SystemExit as end:  # how argparse ends
        status = int(end.code or 0)
    printed = capsys.readouterr()
    assert (status, printed.out) == (2, "")
    assert words in printed.err
    assert len(printed.err.splitlines()) == 1
    assert [path.name for path in folder.iterdir()] == ["folder.csv"]


def test_somewhere_must_the_readings_go(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["simulate"]) == 2
    assert "--out WEEK.csv" in capsys.readouterr().err


@pytest.mark.parametrize("option", ["--out", "--truth"])
@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_cannot_be_written_to_is_told(
    folder: Path, option: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "closed").mkdir(mode=0o500)
    assert main(["simulate", "--out", "week.csv", *HOUR, option, "closed/week.csv"]) == 2
    assert f"{option} closed/week.csv: the folder closed cannot be written to" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["week.csv", "t.json"])
def test_a_file_that_fails_on_its_way_leaves_nothing_half_written(
    folder: Path, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    # Where the file is written before it gets its name, something lies in the way.
    (folder / f".{name}.part").mkdir()
    (folder / name).write_text("of before")
    assert main(["simulate", "--out", "week.csv", *HOUR, "--truth", "t.json"]) == 2
    printed = capsys.readouterr()
    assert len(printed.err.splitlines()) == 1
    assert f".{name}.part" in printed.err
    assert (folder / name).read_text() == "of before"
    assert {path.name for path in folder.iterdir()} <= {f".{name}.part", "week.csv", "t.json"}


def test_a_week_that_breaks_off_half_way_leaves_what_was_there(folder: Path) -> None:
    Path("week.csv.gz").write_text("of before")

    def breaking() -> Iterator[Rows]:
        yield from week(evening_class.EVENING_CLASS, 0, 3_600_000)
        raise MemoryError

    with pytest.raises(MemoryError):
        write_readings(Path("week.csv.gz"), breaking())
    assert [path.name for path in folder.iterdir()] == ["week.csv.gz"]
    assert Path("week.csv.gz").read_text() == "of before"


def test_a_configuration_that_is_broken_is_told_as_everywhere(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "config.yaml").write_text(CONFIG.replace("low: 22", "low: 32"))
    assert main(["simulate", "--out", "week.csv", *HOUR]) == 2
    assert "config.yaml:6: " in capsys.readouterr().err
    assert [path.name for path in folder.iterdir()] == ["config.yaml"]


@pytest.mark.parametrize("stuck", ["1971-01-01", "2199-12-31", "9990-01-01"])
def test_trays_of_any_year_are_simulated_or_told(
    folder: Path, stuck: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "config.yaml").write_text(CONFIG.replace("2026-05-04", stuck).replace("2026-03-02", stuck))
    status = main(["simulate", "--out", "week.csv", *HOUR])
    printed = capsys.readouterr()
    assert "Traceback" not in printed.err
    if status == 0:
        first = Path("week.csv").read_text().splitlines()[1]
        assert abs(int(first[:4]) - int(stuck[:4])) <= 1
    else:
        assert status == 2
        assert f"'{stuck}' is far away" in printed.err
        assert not Path("week.csv").exists()
