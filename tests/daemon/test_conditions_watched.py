"""Conditions of the traces in a daemon that watches: raised once, over restarts, and returned when they are over."""

import json
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from wardian.adapters.stores.opening import open_store
from wardian.daemon import wiring
from wardian.daemon.cli import main
from wardian.daemon.loop import Loop
from wardian.rules.ports import JournalEntry, Round
from wardian.rules.readings import Reading

MINUTE_MS = 60_000
CONFIG = """\
site: {{name: Evening propagation class, timezone: Europe/Lisbon}}
trays:
  - {{name: tray-a, crop: coleus, stuck: {stuck}}}
crops:
  coleus:
    stages:
      - {{name: callusing, from_day: 0, bands: {{medium_temperature: {{low: 20, high_high: 36}}}}}}
"""


@pytest.fixture
def now_ms(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> int:
    """Return the present time of a bench that was begun three days ago."""
    now_ms = wiring.machine_clock().wall_ms()
    stuck = datetime.fromtimestamp(now_ms / 1000, UTC) - timedelta(days=3)
    (tmp_path / "config.yaml").write_text(CONFIG.format(stuck=stuck.date()), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return now_ms


def keep(from_ms: int, minutes: int, celsius: float) -> None:
    store = open_store("sqlite:///wardian.db", Path())
    times_ms = range(from_ms, from_ms + minutes * MINUTE_MS, MINUTE_MS)
    readings = [Reading(at, "tray-a", "medium_temperature", celsius) for at in times_ms]
    store.keep(Round(from_ms, readings=readings))
    store.close()


@contextmanager
def watching() -> Iterator[Loop]:
    """Let the daemon watch: everything that it opens, and a first round."""
    with ExitStack() as opened:
        loop = wiring.open_watch(wiring.load_config(Path("config.yaml")), opened).loop
        loop.quiet_s = 0.0
        loop.round()
        yield loop
        loop.close()


def told() -> list[JournalEntry]:
    store = open_store("sqlite:///wardian.db", Path(), read_only=True)
    entries = [entry for entry in store.journal() if entry.fields["alarm"] == "medium-overheated"]
    store.close()
    return entries


def test_a_condition_is_raised_once_and_goes_on_over_restarts(now_ms: int) -> None:
    keep(now_ms - 40 * MINUTE_MS, 40, 33.0)
    for _ in range(3):
        with watching():
            pass
    (raised,) = told()
    assert (raised.fields["event"], raised.fields["life"], raised.fields["limit"]) == (
        "raised",
        "unacknowledged",
        None,
    )
    assert raised.fields["cause"] is not None
    assert "33.0 °C" in raised.fields["message"]


def test_a_condition_that_is_over_when_the_daemon_comes_back_returns(now_ms: int) -> None:
    keep(now_ms - 90 * MINUTE_MS, 40, 33.0)
    with watching() as loop:
        assert ("tray-a", "medium_temperature", "medium-overheated") in loop.observer.raised()
    keep(now_ms - 45 * MINUTE_MS, 45, 24.0)
    with watching() as loop:
        assert loop.observer.raised() == {("tray-a", "medium_temperature", "medium-overheated")}
        (over,) = loop.observer.advance(now_ms + 2 * MINUTE_MS)
    assert (over.condition, over.event) == ("medium-overheated", "returned")


def test_a_replay_judges_conditions_only_where_it_is_asked_to(
    now_ms: int, capsys: pytest.CaptureFixture[str]
) -> None:
    begin = datetime.fromtimestamp(now_ms / 1000, UTC)
    rows = [
        f"{(begin + timedelta(minutes=minute)).isoformat()},tray-a,medium_temperature,33,"
        for minute in range(40)
    ]
    Path("warm.csv").write_text("\n".join(["time,tray,quantity,value,unit", *rows]), encoding="utf-8")

    def journal(*options: str) -> list[str]:
        assert main(["replay", "warm.csv", "--json", *options]) == 0
        return [json.loads(line)["alarm"] for line in capsys.readouterr().out.splitlines()]

    assert journal() == []
    assert journal("--conditions") == ["medium-overheated"]
