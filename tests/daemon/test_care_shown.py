"""What is due at each tray, as it is shown to somebody at the bench, and put on record by them."""

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from base_config import built, changed

from wardian.adapters.stores.opening import open_store
from wardian.daemon.care_seen_noted import NOTE
from wardian.daemon.cli import main
from wardian.daemon.planning import plan_of
from wardian.rules.care_given import EVENTS, LOOKS
from wardian.rules.errors import BadConfig
from wardian.rules.ports import Round
from wardian.rules.records import BATCH, CARE, Record

Capture = pytest.CaptureFixture[str]
CONFIG = """\
site: {name: Teaching bench, timezone: UTC, units: SI}
store: {url: "sqlite:///wardian.db"}
trays:
  - {name: tray-a, crop: coleus, stuck: STUCK}
  - {name: tray-b, crop: coleus, stuck: STUCK}
  - {name: tray-c, crop: coleus, stuck: 2199-03-01}
crops: {coleus: {stages: [{name: callusing, from_day: 0, bands: {air_temperature: {high: 25 °C}}}]}}
care: {rounds: [00:00, 22:00]}
"""


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a bench whose trays were stuck three days ago, with a round now and one late in the evening."""
    monkeypatch.setenv("WARDIAN_CONFIG", str(tmp_path / "config.yaml"))
    stuck = now().date() - timedelta(days=3)
    (tmp_path / "config.yaml").write_text(CONFIG.replace("STUCK", stuck.isoformat()), encoding="utf-8")
    open_store("sqlite:///wardian.db", tmp_path).close()
    return tmp_path


def now() -> datetime:
    return datetime.now(UTC)  # noqa: TID251 - the command goes by the machine's own clock


def shown(capsys: Capture, *arguments: str) -> Any:
    assert main(["care", *arguments, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def states(told: Any, tray: str) -> dict[tuple[str, int], str]:
    (of,) = [one for one in told["trays"] if one["name"] == tray]
    return {(one["task"], one["number"]): one["state"] for one in of["tasks"]}


def test_what_is_due_is_shown_and_is_gone_once_it_was_done(bench: Path, capsys: Capture) -> None:
    day = now().date().isoformat()
    due = [one for one, state in states(shown(capsys), "tray-a").items() if state == "due"]
    assert ("water", 1) in due
    assert any(name == "mist" for name, _ in due)
    assert main(["care", "done", "tray-a", "watered", "--grams", "200", "--who", "evening class"]) == 0
    assert "tray-a: watered with water of 200 g, put on record as 1" in capsys.readouterr().out
    after = states(shown(capsys, "--date", day), "tray-a")
    assert after["water", 1] == "done"
    assert states(shown(capsys), "tray-b")["water", 1] == "due"
    assert states(shown(capsys), "tray-c") == {}


def test_a_person_reads_tray_by_tray_and_each_task_once(bench: Path, capsys: Capture) -> None:
    assert main(["care"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert "tray-a: coleus, day 3, callusing" in lines
    assert "tray-c: coleus, before sticking" in lines
    assert "  nothing is due now" in lines
    assert sum(line.startswith("look at the water: ") for line in lines) == 1


def test_a_whole_day_is_shown_before_it_comes(bench: Path, capsys: Capture) -> None:
    day = (now() + timedelta(days=2)).date().isoformat()
    told = shown(capsys, "--date", day)
    assert told["date"] == day
    assert set(states(told, "tray-a").values()) == {"later"}
    assert main(["care", "--date", day]) == 0
    out = capsys.readouterr().out
    assert "  00:00  air and mist\n" in out
    assert "tray-a: coleus, day 5, callusing" in out


def test_what_showed_in_the_traces_counts_as_the_daemon_noted_it(bench: Path, capsys: Capture) -> None:
    store = open_store("sqlite:///wardian.db", bench)
    seen_ms = round(now().timestamp() * 1000)
    store.keep(Round(seen_ms, notes={NOTE: {"tray-b": [["watered", seen_ms]]}}))
    store.close()
    assert states(shown(capsys, "--date", now().date().isoformat()), "tray-b")["water", 1] == "done"


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (("--date", "tomorrow"), "--date 'tomorrow' is no day; one such as 2026-03-05 is accepted"),
        (("--date", "0001-01-01"), "a day of the years 1970 to 2199 is accepted"),
        (("done", "tray-q", "misted"), "there is no tray 'tray-q'"),
        (("done", "tray-a", "mistd"), "did you mean misted?"),
        (("done", "tray-a", "misted", "--ph", "acid"), "ph 'acid' is no number"),
        (("done", "all", "looked"), "look is missing"),
        (("done", "tray-a", "misted", "--corrects", "7"), "there is no record 7"),
        (("done", "tray-a", "misted", "--at", "2001-01-01T00:00:00Z"), "a time of the last 24 h is accepted"),
    ],
)
def test_what_cannot_be_meant_is_told_in_a_line(
    bench: Path, arguments: tuple[str, ...], why: str, capsys: Capture
) -> None:
    assert main(["care", *arguments]) == 2
    out, err = capsys.readouterr()
    assert (out, why in err, err.count("\n")) == ("", True, 1)
    store = open_store("sqlite:///wardian.db", bench, read_only=True)
    assert store.records() == []
    store.close()


def test_care_of_many_trays_is_put_down_at_once_and_one_of_it_can_be_corrected(
    bench: Path, capsys: Capture
) -> None:
    assert main(["care", "done", "tray-a,tray-b", "misted", "--json"]) == 0
    first, second = map(json.loads, capsys.readouterr().out.splitlines())
    assert (first["tray"], second["tray"]) == ("tray-a", "tray-b")
    number = str(second["record"])
    assert main(["care", "done", "tray-a", "misted", "--corrects", number]) == 2
    assert "is about tray-b" in capsys.readouterr().err
    assert main(["care", "done", "tray-b", "watered", "--corrects", number, "--json"]) == 0
    corrected = json.loads(capsys.readouterr().out)
    assert (corrected["time"], corrected["event"]) == (second["time"], "watered")
    assert main(["care", "done", "tray-b", "watered", "--corrects", number]) == 2
    assert "was corrected or withdrawn already" in capsys.readouterr().err


def test_help_names_every_event_amount_and_look(capsys: Capture) -> None:
    with pytest.raises(SystemExit):
        main(["care", "done", "--help"])
    out = capsys.readouterr().out
    amounts = {f"--{name}" for taken in EVENTS.values() for name in taken}
    assert [one for one in (*EVENTS, *LOOKS, *amounts) if one not in out] == []


# --------------------------------------------------------------------------------------- plan and keys


def test_mould_that_somebody_saw_is_in_the_plan_until_a_look_finds_it_gone() -> None:
    config = changed()
    tray = config.trays[0]
    begin_ms = round(datetime(2026, 3, 5, 8, tzinfo=UTC).timestamp() * 1000)

    def look(number: int, *found: str) -> Record:
        fields = {"event": "looked", "look": list(found)}
        return Record(CARE, begin_ms + number, begin_ms, tray.name, fields=fields, number=number)

    assert plan_of(tray, [look(1, "mould")], config.site.zone).rot_seen_ms == begin_ms + 1
    assert plan_of(tray, [look(1, "mould"), look(2, "turgid")], config.site.zone).rot_seen_ms is None
    batch = look(2)._replace(kind=BATCH)
    assert plan_of(tray, [look(1, "mould"), batch], config.site.zone).rot_seen_ms is None
    gone = look(1, "mould")._replace(time_ms=begin_ms - 10 * 86_400_000)
    assert plan_of(tray, [gone], config.site.zone).rot_seen_ms is None


def test_roots_that_a_look_found_are_expected_no_more_until_another_batch_is_in() -> None:
    config = changed()
    begin_ms = round(datetime(2026, 3, 5, 8, tzinfo=UTC).timestamp() * 1000)
    tray = replace(config.trays[0], plan=replace(config.trays[0].plan, due_ms=begin_ms))

    def due_ms(*records: Record) -> int | None:
        return plan_of(tray, records, config.site.zone).due_ms

    look = Record(
        CARE, begin_ms, begin_ms, tray.name, fields={"event": "looked", "look": ["roots"]}, number=1
    )
    assert due_ms(look) is None
    assert due_ms(look._replace(fields={"event": "looked", "look": ["no-roots"]})) == begin_ms
    batch = Record(BATCH, begin_ms + 1, begin_ms + 1, tray.name, batch="second", number=2)
    assert due_ms(look, batch) == begin_ms


@pytest.mark.parametrize(
    ("care", "why"),
    [
        ("{rounds: []}", "is an empty list"),
        ("{rounds: [08:00, 09:00]}", "less than 2 h apart"),
        ("{rounds: [18:00, 08:00]}", "not in the order of the day"),
        ("{rounds: [8 o'clock]}", "8 o'clock"),
        (
            "{rounds: [01:00, 03:00, 05:00, 07:00, 09:00, 11:00, 13:00]}",
            "has 7 rounds; at most 6 are accepted",
        ),
        ("{remind: yes}", "true or false is accepted"),
        ("{rounds: [08:00], reminds: true}", "did you mean remind?"),
        ("[08:00]", "is a list"),
    ],
)
def test_rounds_that_nobody_could_walk_are_a_mistake(care: str, why: str) -> None:
    text = CONFIG.replace("STUCK", "2026-03-01").replace("{rounds: [00:00, 22:00]}", care)
    with pytest.raises(BadConfig) as refused:
        built(text)
    assert why in str(refused.value)
