"""``wardian stage``: what it shows, what it puts on record, what it refuses; and what a running daemon makes of it."""

import json
from collections.abc import Callable
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final

import pytest

from wardian.adapters.stores.opening import open_store
from wardian.daemon import wiring
from wardian.daemon.cli import main
from wardian.daemon.daily_summary import DailySummary
from wardian.rules.ports import Round
from wardian.rules.readings import Reading
from wardian.rules.records import Record

MINUTE_MS: Final = 60_000
CONFIG: Final = """\
site: {{name: Evening propagation class, timezone: UTC, units: SI}}
store: {{url: "sqlite:///wardian.db"}}
trays:
  - {{name: tray-a, crop: coleus, stuck: {stuck}}}
  - {{name: tray-b, crop: coleus, stuck: 2100-01-01}}
crops:
  coleus:
    stages:
      - name: callusing
        from_day: 0
        bands: {{air_temperature: {{high: 26 °C, on_delay: 10 min, off_delay: 0 s}}}}
      - name: rooting
        from_day: 7
        bands: {{air_temperature: {{high: 30 °C, on_delay: 10 min, off_delay: 0 s}}}}
      - {{name: toning, from_day: 12}}
"""
Capture = pytest.CaptureFixture[str]
Say = Callable[..., tuple[int, str, str]]


@pytest.fixture
def now_ms() -> int:
    """Return what time it is: the daemon under test has the machine's clock."""
    return wiring.machine_clock().wall_ms()


@pytest.fixture
def say(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Capture, now_ms: int) -> Say:
    """Return what runs a command on a bench stuck three days ago: its status, what it prints, what it refuses."""
    stuck = datetime.fromtimestamp(now_ms / 1000, UTC) - timedelta(days=3)
    (tmp_path / "config.yaml").write_text(CONFIG.format(stuck=stuck.date()), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("WARDIAN_CONFIG", raising=False)

    def run(*words: str) -> tuple[int, str, str]:
        try:
            status = main(words)
        except SystemExit as wrong_usage:
            status = int(wrong_usage.code or 0)
        return status, *capsys.readouterr()

    return run


def shown(say: Say, tray: str = "tray-a") -> dict[str, Any]:
    status, out, err = say("stage", tray, "--json")
    assert (status, err) == (0, "")
    result: dict[str, Any] = json.loads(out)
    return result


def records() -> list[Record]:
    store = open_store("sqlite:///wardian.db", Path(), read_only=True)
    known = store.records()
    store.close()
    return known


def test_it_shows_the_stages_by_the_days_after_sticking(say: Say) -> None:
    found = shown(say)
    assert (found["stage"], found["day"], found["is_held"], found["records"]) == ("callusing", 3, False, [])
    assert [(one["stage"], one["record"]) for one in found["stages"]] == [
        ("callusing", None),
        ("rooting", None),
        ("toning", None),
    ]
    status, out, _ = say("stage", "tray-a")
    assert status == 0
    assert out.splitlines()[0] == "tray-a: coleus, day 3, callusing"
    assert out.splitlines()[1].startswith("> callusing    from ")
    assert shown(say, "tray-b")["stage"] is None


def test_it_puts_acts_on_record_and_shows_what_holds_and_why(say: Say) -> None:
    status, out, _ = say("stage", "tray-a", "advance", "--who", "the teacher", "--why", "roots show")
    assert status == 0
    assert out.startswith("tray-a: Advanced to rooting")
    assert "put on record as 1" in out
    status, out, _ = say("stage", "tray-a", "hold", "--who", "the teacher", "--json")
    told = json.loads(out)
    assert (told["record"], told["kind"], told["fields"]) == (
        2,
        "stage",
        {"event": "held", "stage": "rooting"},
    )
    found = shown(say)
    assert (found["stage"], found["is_held"], found["records"]) == ("rooting", True, [1, 2])
    assert [(one["stage"], one["record"]) for one in found["stages"]] == [("callusing", None), ("rooting", 1)]
    _, out, _ = say("stage", "tray-a")
    assert "tray-a: coleus, day 3, rooting, held until it is advanced" in out
    assert "by the teacher: roots show" in out


def test_by_day_and_back_name_the_stage_that_they_lead_to(say: Say) -> None:
    for act, event, stage in (
        ("advance", "advanced", "rooting"),
        ("back", "set back", "callusing"),
        ("by-day", "by day", "callusing"),
    ):
        _, out, _ = say("stage", "tray-a", act, "--json")
        assert json.loads(out)["fields"] == {"event": event, "stage": stage}


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["tray-q", "hold"], "there is no tray 'tray-q'"),
        (["tray-q"], "there is no tray 'tray-q'"),
        (["tray-a", "back"], "tray-a cannot be set back: callusing is the first stage, none comes before it"),
        (["tray-b", "hold"], "tray-b has no stage yet; the first one, callusing, begins Fri 1 Jan 00:00"),
        (["tray-a", "by-day"], "the stages of tray-a follow the days after sticking already"),
        (["tray-a", "hold", "--at", "2001-01-01T00:00:00Z"], "a time of the last 24 h is accepted"),
        (["tray-a", "hold", "--at", "2101-01-01T00:00:00Z"], "a time of the last 24 h is accepted"),
        (["tray-a", "hold", "--at", "noon"], "time 'noon' is not readable"),
        (["tray-a", "hold", "--corrects", "7"], "there is no record 7"),
        (["tray-a", "hold", "--corrects", "x"], "invalid int value: 'x'"),
        (["tray-a", "sideways"], "invalid choice: 'sideways'"),
        (["tray-a", "--why", "roots show"], "--why belongs to an act"),
    ],
)
def test_what_cannot_be_meant_is_refused_and_nothing_is_put_down(
    say: Say, words: list[str], why: str
) -> None:
    status, out, err = say("stage", *words)
    assert (status, out) == (2, "")
    assert why in err
    assert not Path("wardian.db").exists() or records() == []


def test_it_says_since_when_a_stage_is_overdue_until_it_is_held(say: Say) -> None:
    text = Path("config.yaml").read_text(encoding="utf-8")
    crops = "crops: {coleus: {pot: 1, stages: [{name: callusing, from_day: 0}]}}\n"
    Path("config.yaml").write_text(text.partition("crops:")[0] + crops, encoding="utf-8")
    assert ", overdue since " in say("stage", "tray-a")[1]
    say("stage", "tray-a", "hold")
    assert ", overdue since " not in say("stage", "tray-a")[1]
    assert shown(say)["overdue_from"] is not None


def test_nothing_follows_the_last_stage(say: Say) -> None:
    assert [say("stage", "tray-a", "advance")[0] for _ in range(3)] == [0, 0, 2]
    _, _, err = say("stage", "tray-a", "advance")
    assert "tray-a cannot be advanced: toning is the last stage, nothing follows it" in err
    assert len(records()) == 2


def test_stages_do_not_go_backwards_in_time(say: Say, now_ms: int) -> None:
    say("stage", "tray-a", "advance")
    earlier = datetime.fromtimestamp(now_ms / 1000 - 3600, UTC).isoformat()
    status, _, err = say("stage", "tray-a", "advance", "--at", earlier)
    assert status == 2
    assert "stages do not go backwards: record 1 of " in err
    assert len(records()) == 1


def test_a_correction_takes_the_place_of_one_act_unless_another_rests_on_it(say: Say) -> None:
    say("stage", "tray-a", "advance")
    assert say("stage", "tray-a", "hold", "--corrects", "1")[0] == 0
    assert shown(say)["records"] == [2]
    assert records()[1].time_ms == records()[0].time_ms
    assert "was corrected or withdrawn already" in say("stage", "tray-a", "hold", "--corrects", "1")[2]
    say("stage", "tray-a", "advance")
    say("stage", "tray-a", "advance")
    say("stage", "tray-a", "hold")
    for words in (("stage", "tray-a", "back", "--corrects", "4"), ("records", "withdraw", "4")):
        status, _, err = say(*words)
        assert (status, "record 5 rests on it" in err) == (2, True)
    assert say("records", "withdraw", "5")[0] == 0
    assert say("records", "withdraw", "4")[0] == 0
    assert shown(say)["stage"] == "rooting"


def test_a_note_is_no_act_and_cannot_be_corrected_by_one(say: Say) -> None:
    say("note", "tray-a", "two leaves spotted")
    assert "record 1 is about note, not stage" in say("stage", "tray-a", "hold", "--corrects", "1")[2]


def test_the_daily_summary_names_the_stage_that_holds_when_it_is_made(say: Say, now_ms: int) -> None:
    with Path("config.yaml").open("a", encoding="utf-8") as config:
        config.write("summary: {channels: [terminal]}\nnotifiers: [{name: terminal, kind: console}]\n")
    with ExitStack() as opened:
        watch = wiring.open_watch(wiring.load_config(Path("config.yaml")), opened)
        (daily,) = (one for one in watch.loop.beside if isinstance(one, DailySummary))
        before = daily._make((now_ms - MINUTE_MS, now_ms + MINUTE_MS), 0, "before").body
        say("stage", "tray-a", "advance")
        after = daily._make((now_ms - MINUTE_MS, now_ms + MINUTE_MS), 0, "after").body
    assert "coleus, day 3, callusing" in before
    assert "coleus, day 3, rooting" in after


def test_a_running_daemon_judges_and_tells_by_it_from_its_next_round_on(say: Say, now_ms: int) -> None:
    store = open_store("sqlite:///wardian.db", Path())
    times_ms = range(now_ms - 30 * MINUTE_MS, now_ms + MINUTE_MS, MINUTE_MS)
    store.keep(Round(now_ms, readings=[Reading(at, "tray-a", "air_temperature", 27.5) for at in times_ms]))
    store.close()
    with ExitStack() as opened:
        watch = wiring.open_watch(wiring.load_config(Path("config.yaml")), opened)
        watch.loop.round()
        watch.loop.round()
        assert "Air too warm" in say("alarms")[1]
        _, out, _ = say("stage", "tray-a", "advance", "--who", "the teacher", "--json")
        assert json.loads(out)["is_watching"]
        watch.loop.round()
        (tray, _) = json.loads(say("status", "--json")[1])["trays"]
        air = tray["quantities"]["air_temperature"]
        assert (tray["stage"], air["high"], air["state"]) == ("rooting", 30.0, "within")
        journal = [json.loads(line) for line in say("alarms", "--all", "--json")[1].splitlines()]
        assert [(one["event"], one["alarm"]) for one in journal][-1] == ("advanced", "stage")
        assert "rooting" in say("summary")[1]
        # What a message says of an alarm that never was names the stage that holds.
        say("alarms", "shelve", "tray-a", "past-due", "--for", "1 h")
        watch.loop.round()
        (*_, last) = [json.loads(line) for line in say("alarms", "--all", "--json")[1].splitlines()]
        assert (last["event"], last["alarm"], last["stage"]) == ("shelved", "past-due", "rooting")
