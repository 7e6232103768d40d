"""``wardian alarms --figures`` as a person types it, on a journal as the daemon keeps it."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from wardian.adapters.stores.opening import open_store
from wardian.daemon import wiring
from wardian.daemon.alarm_period import told
from wardian.daemon.cli import main
from wardian.daemon.lives import Lives
from wardian.daemon.report_alarm_figures import FIGURES
from wardian.rules import life
from wardian.rules.alarm_figures import ACKNOWLEDGED
from wardian.rules.alarm_targets import TARGETS
from wardian.rules.ports import Act, Alarm, JournalEntry, Round
from wardian.rules.readings import Reading
from wardian.rules.transitions import RAISED, RETURNED, Transition

CONFIG = """\
site: {name: Evening class, timezone: UTC, units: SI}
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
          air_temperature: {low: 20 °C, high: 26 °C, high_high: 32 °C}
          relative_humidity: {low: 90 %}
"""
#: 2026-03-02T00:00:00Z
MIDNIGHT_MS = 1_772_409_600_000
MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS
DAY_MS = 24 * HOUR_MS
WARM = Alarm("tray-a", "air_temperature", "high")
HOT = Alarm("tray-a", "air_temperature", "high_high")
DRY = Alarm("tray-b", "relative_humidity", "low")
Row = tuple[int, str, dict[str, Any]]


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "config.yaml").write_text(CONFIG, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("WARDIAN_CONFIG", raising=False)
    return tmp_path


class Journal:
    """A journal as the daemon writes it."""

    def __init__(self, bench: Path) -> None:
        self._bench = bench
        self._teller = wiring.teller(wiring.load_config(bench / "config.yaml"))
        self._lives = Lives({})
        self.rows: list[Row] = []

    def condition(self, after_ms: int, alarm: Alarm, event: str) -> None:
        time_ms = MIDNIGHT_MS + after_ms
        transition = Transition(time_ms, *alarm, event, alarm.condition, 1.0, 2.0, "callusing", time_ms)
        fields = self._teller.fields(transition)
        self._lives.follow(fields)
        self.rows.append((time_ms, alarm.tray, fields))

    def act(self, after_ms: int, alarm: Alarm, event: str, until_ms: int | None = None) -> None:
        now_ms = MIDNIGHT_MS + after_ms
        until_ms = None if until_ms is None else MIDNIGHT_MS + until_ms
        act = Act(now_ms, alarm, event, "Ada", "", until_ms)
        self.rows.append((now_ms, alarm.tray, self._lives.do(act, now_ms)))

    def shelves_end(self, after_ms: int) -> None:
        now_ms = MIDNIGHT_MS + after_ms
        self.rows += [(now_ms, fields["tray"], fields) for fields in self._lives.off_the_shelf(now_ms)]

    def keep(self, *read_after_ms: int) -> None:
        readings = [Reading(MIDNIGHT_MS + at, "tray-a", "air_temperature", 24.0) for at in read_after_ms]
        store = open_store(f"sqlite:///{self._bench}/wardian.db", self._bench)
        store.keep(Round(now_ms=MIDNIGHT_MS, readings=readings, journal=self.rows))
        store.close()

    @property
    def events(self) -> list[tuple[int, str]]:
        """What people were told, and when."""
        entries = [JournalEntry(number, *row) for number, row in enumerate(self.rows, start=1)]
        return [(one.time_ms - MIDNIGHT_MS, one.event) for one in told(entries)]


def figures(capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[str, Any]:
    assert main(["alarms", "--figures", "--json", *arguments]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    found: dict[str, Any] = json.loads(out)
    return found


def values(found: dict[str, Any], key: str = "value") -> dict[str, Any]:
    return {one["name"]: one[key] for one in found["figures"]}


def a_busy_day(bench: Path) -> None:
    """Two days of readings: one alarm chatters and is acknowledged, one stands to the end."""
    journal = Journal(bench)
    journal.condition(HOUR_MS, DRY, RAISED)
    for second in (0, 10, 20):
        journal.condition(2 * HOUR_MS + second * 1000, WARM, RAISED)
        journal.condition(2 * HOUR_MS + second * 1000 + 500, WARM, RETURNED)
    journal.act(2 * HOUR_MS + 200_000, WARM, life.ACKNOWLEDGE)
    journal.keep(0, 2 * DAY_MS - 1)


def test_figures_are_of_all_that_was_watched(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    a_busy_day(bench)
    found = figures(capsys)
    assert (found["from"], found["to"]) == ("2026-03-02T00:00:00.000Z", "2026-03-04T00:00:00.000Z")
    value = values(found)
    assert (value["days"], value["alarms"], value["per_day"], value["per_day_and_tray"]) == (2, 4, 2, 1)
    assert value["per_ten_minutes"] == pytest.approx(4 / 288)
    assert (value["most_in_ten_minutes"], value["crowded_pct"], value["flood_pct"]) == (3, 0, 0)
    assert (value["low_pct"], value["medium_pct"], value["high_pct"]) == (0, 75, 25)
    assert (value["chattering_alarms"], value["most_stale_in_a_day"]) == (1, 1)
    assert value["median_answer_ms"] == 180_000
    assert found["acknowledged"] == 1
    (chattering,) = found["chattering"]
    assert chattering == {**WARM._asdict(), "alarm": "air-too-warm", "most_in_a_minute": 3}
    (stale,) = found["stale"]
    assert (stale["tray"], stale["from"], stale["to"]) == ("tray-b", "2026-03-02T01:00:00.000Z", found["to"])
    assert [one["raises"] for one in found["most_frequent"]] == [3, 1]


def test_programs_are_told_of_each_figure_its_target_its_source_and_whether_it_is_met(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    a_busy_day(bench)
    found = figures(capsys)
    met = values(found, "met")
    assert {name for name, one in met.items() if one is False} == {
        "days",
        "per_day_and_tray",
        "low_pct",
        "medium_pct",
        "high_pct",
        "chattering_alarms",
    }
    assert {name for name, one in met.items() if one is None} == {
        "alarms",
        "frequent_pct",
        "median_answer_ms",
    }
    for one in found["figures"]:
        target = TARGETS.get(one["name"])
        assert one["source"] == (target.source if target else None)
        assert (one["target"] or {}).get("limit") == (target.limit if target else None)


def test_people_get_a_table_with_targets_sources_and_the_alarms_that_are_a_nuisance(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    a_busy_day(bench)
    assert main(["alarms", "--figures"]) == 0
    out = capsys.readouterr().out
    rows = {
        one.words: next(row for row in out.splitlines() if row.startswith(f"  {one.words} "))
        for one in FIGURES
    }
    assert "at most 1 (2 can be managed)" in rows["alarms in 10 min, on average"]
    assert "yes" in rows["alarms in 10 min, on average"]
    assert "NO" in rows["alarms of medium priority"]
    assert "3 min (1 of 4)" in rows["time to acknowledge, median"]
    assert "no target" in rows["time to acknowledge, median"]
    for target in TARGETS.values():
        assert out.count(target.source) == 1
    lines = out.splitlines()
    assert "3 times in 1 min" in lines[lines.index("chattering:") + 1]
    assert "tray-b: too-dry" in lines[lines.index("stood over 24 h:") + 1]


def test_until_somebody_acknowledges_people_are_told_that_nobody_did(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    journal = Journal(bench)
    journal.condition(0, WARM, RAISED)
    journal.keep()
    assert main(["alarms", "--figures"]) == 0
    assert "nobody acknowledged anything yet" in capsys.readouterr().out


def test_without_a_journal_there_are_no_figures(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for _ in ("no database", "an empty one"):
        assert main(["alarms", "--figures"]) == 0
        assert "the journal is empty" in capsys.readouterr().out
        assert figures(capsys) == {"from": None, "to": None, "figures": []}
        Journal(bench).keep(0)


def test_a_quiet_time_has_figures_too(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    a_busy_day(bench)
    after = ["--from", "2026-03-02T03:00:00Z", "--to", "2026-03-02T04:00:00Z"]
    assert values(figures(capsys, *after))["alarms"] == 0
    assert main(["alarms", "--figures", *after]) == 0
    assert "no alarm" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "alarms", "hours"),
    [
        (["--from", "2026-03-02T02:00:10Z"], 2, 46 - 10 / 3600),
        (["--to", "2026-03-02T02:00:10Z"], 2, 2 + 10 / 3600),
        (["--from", "2026-03-02T03:00:10+01:00", "--to", "2026-03-02T02:00:20Z"], 1, 10 / 3600),
        # What was not watched dilutes nothing.
        (["--from", "2020-01-01T00:00:00Z", "--to", "2030-01-01T00:00:00Z"], 4, 48),
    ],
)
def test_figures_keep_to_the_times_that_are_asked_for(
    bench: Path, capsys: pytest.CaptureFixture[str], arguments: Sequence[str], alarms: int, hours: float
) -> None:
    a_busy_day(bench)
    value = values(figures(capsys, *arguments))
    assert value["alarms"] == alarms
    assert value["days"] == pytest.approx(hours / 24)


@pytest.mark.parametrize(
    ("arguments", "phrase"),
    [
        (["--figures", "--from", "yesterday"], "RFC 3339 with an offset"),
        (["--figures", "--to", "2026-03-01T00:00:00Z"], "what is kept is from 2026-03-02T00:00:00.000Z"),
        (
            ["--figures", "--from", "2026-03-02T05:00:00Z", "--to", "2026-03-02T05:00:00Z"],
            "nothing was watched",
        ),
        (["--from", "2026-03-02T00:00:00Z"], "--figures"),
        (["--figures", "acknowledge", "tray-a", "air-too-warm"], "one at a time"),
    ],
)
def test_what_cannot_be_done_is_said_in_one_line(
    bench: Path, capsys: pytest.CaptureFixture[str], arguments: Sequence[str], phrase: str
) -> None:
    a_busy_day(bench)
    assert main(["alarms", *arguments]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert phrase in err
    assert len(err.splitlines()) == 1


def test_an_alarm_that_is_set_aside_is_told_to_nobody_and_anew_when_it_comes_back(bench: Path) -> None:
    journal = Journal(bench)
    journal.condition(0, WARM, RAISED)
    journal.act(1000, WARM, life.SHELVE, until_ms=HOUR_MS)
    journal.condition(2000, WARM, RETURNED)
    journal.condition(3000, WARM, RAISED)
    journal.condition(3000, HOT, RAISED)
    journal.shelves_end(HOUR_MS)
    journal.act(HOUR_MS + 1, WARM, life.ACKNOWLEDGE)
    journal.condition(HOUR_MS + 2, WARM, RETURNED)
    assert [one for one in journal.events if one[1] == RAISED] == [
        (0, RAISED),
        (3000, RAISED),
        (HOUR_MS, RAISED),
    ]
    assert (1000, RETURNED) in journal.events
    assert (HOUR_MS + 1, ACKNOWLEDGED) in journal.events


def test_what_returned_while_it_was_set_aside_is_not_told_when_it_comes_back(bench: Path) -> None:
    journal = Journal(bench)
    journal.condition(0, WARM, RAISED)
    journal.act(1000, WARM, life.REMOVE)
    journal.condition(2000, WARM, RETURNED)
    journal.act(3000, WARM, life.RESTORE)
    journal.condition(4000, WARM, RAISED)
    assert [one for one in journal.events if one[1] == RAISED] == [(0, RAISED), (4000, RAISED)]
