"""Care that people record: it stands in the journal, holds back what it does to a tray, and is refused where it cannot be."""

import json
from dataclasses import replace
from datetime import UTC
from pathlib import Path
from typing import Any

import pytest
from base_config import BASE
from loop_rig import BEGIN_MS, FlakyStore, Rig, plan

from wardian.adapters.stores.opening import open_store
from wardian.daemon.cli import main
from wardian.daemon.record_words import DONE, record_words
from wardian.daemon.tongue import Tongue
from wardian.rules.care_given import EVENTS
from wardian.rules.crops import Band, Limit, Stage, StageSpan
from wardian.rules.observing.looks import LIFTED, WATERED, Care
from wardian.rules.plans import TrayPlan
from wardian.rules.records import CARE, WITHDRAWN, Record


def care(event: str, tray: str = "tray-a", why: str = "") -> Record:
    return Record(CARE, BEGIN_MS, BEGIN_MS, tray, who="a helper", why=why, fields={"event": event})


def test_recorded_care_stands_in_the_journal_with_who_and_why() -> None:
    rig = Rig()
    rig.arrive(24.0)
    rig.round_at(0)
    rig.store.record(lambda _: [care(LIFTED, why="a look")])
    rig.round_at(1)
    (entry,) = rig.store.journal()
    assert (entry.fields["event"], entry.fields["who"], entry.fields["since_ms"]) == (
        LIFTED,
        "a helper",
        BEGIN_MS,
    )
    assert entry.fields["message"] == "Cover lifted Sun 1 Mar 21:20, recorded by a helper: a look."
    assert rig.store.waiting() == []
    rig.round_at(2)
    assert len(rig.store.journal()) == 1


def test_recorded_care_is_known_to_the_observers_also_after_a_restart() -> None:
    rig = Rig()
    rig.store.record(lambda _: [care(WATERED)])
    rig.round_at(1)
    done = Care(WATERED, BEGIN_MS, BEGIN_MS, is_recorded=True)
    assert list(rig.loop.observer.trays["tray-a"].care.events) == [done]
    again = Rig(rig.store, begun_minutes=60)
    assert list(again.loop.observer.trays["tray-a"].care.events) == [done]


def test_care_of_a_tray_that_is_gone_is_let_be() -> None:
    rig = Rig()
    rig.store.record(lambda _: [care(LIFTED, "tray-z")])
    rig.round_at(1)
    assert rig.store.journal() == []


def test_what_was_taken_up_is_not_told_again_after_a_restart() -> None:
    rig = Rig()
    rig.store.record(lambda _: [care(LIFTED)])
    rig.round_at(1)
    rig.store.record(lambda _: [care(WATERED)])
    again = Rig(rig.store, begun_minutes=2)
    again.round_at(3)
    assert [entry.fields["event"] for entry in rig.store.journal()] == [LIFTED, WATERED]


def test_care_that_is_withdrawn_is_forgotten() -> None:
    rig = Rig()
    rig.store.record(lambda _: [care(WATERED), care(LIFTED)])
    rig.round_at(1)
    rig.store.record(lambda _: [Record(WITHDRAWN, BEGIN_MS, BEGIN_MS, "tray-a", who="a helper", corrects=1)])
    rig.round_at(2)
    assert [one.event for one in rig.loop.observer.trays["tray-a"].care.events] == [LIFTED]
    message = rig.store.journal()[-1].fields["message"]
    assert message == "Record 1 withdrawn Sun 1 Mar 21:20, recorded by a helper."


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"event": "lifted", "minutes": 10.0}, "Cover lifted for 10 min"),
        ({"event": "misted", "minutes": 5.0, "grams": 20.0}, "Misted for 5 min with water of 20 g"),
        (
            {"event": "fed", "grams": 200.0, "ph": 5.8, "ec": 0.6, "temperature_c": 20.0},
            "Fed with water of 200 g, pH 5.8, EC 0.6 mS/cm, 68.0 °F",
        ),
        ({"event": "looked", "look": ["limp", "mould"]}, "Looked at: limp, mould"),
        ({"event": "cleaned"}, "Dead leaves taken out"),
        ({"event": "alcohol"}, "Alcohol used near the probe"),
    ],
)
def test_care_is_told_with_its_amounts(fields: dict[str, Any], words: str) -> None:
    tongue = Tongue(UTC, fahrenheit=True)
    assert record_words(Record(CARE, BEGIN_MS, BEGIN_MS, "tray-a", fields=fields), tongue) == words


@pytest.mark.parametrize("event", EVENTS)
def test_every_event_of_care_has_its_words(event: str) -> None:
    assert DONE[event]


def measured(at_ms: int, **fields: float) -> Record:
    return Record(CARE, at_ms, at_ms, "tray-a", who="a helper", fields={"event": "fed", **fields})


def water(rig: Rig) -> list[tuple[int, str, float]]:
    """Return the readings of water: minutes after the beginning, quantity and value."""
    found = rig.store.readings(0, BEGIN_MS * 2)
    return sorted(
        ((one.time_ms - BEGIN_MS) // 60_000, one.quantity, one.value)
        for one in found
        if one.quantity.startswith("water")
    )


def acid_plan() -> TrayPlan:
    band = Band("water_ph", (Limit("low", 5.0, 5.1, 0, 0),))
    return replace(
        plan(), spans=(StageSpan(BEGIN_MS - 86_400_000, Stage("callusing", 0, {"water_ph": band})),)
    )


def test_ph_and_conductivity_that_somebody_measured_are_readings_and_are_judged() -> None:
    rig = Rig(None, acid_plan())
    rig.arrive(24.0)
    rig.round_at(0)
    rig.round_at(1)
    rig.store.record(lambda _: [measured(BEGIN_MS + 61_000, ph=4.5, ec=0.6)])
    rig.round_at(2)
    assert water(rig) == [(1, "water_ec", 0.6), (1, "water_ph", 4.5)]
    rig.round_at(3)
    assert [entry.fields["event"] for entry in rig.store.journal()] == ["fed", "raised"]
    again = Rig(rig.store, acid_plan(), begun_minutes=4)
    again.round_at(5)
    assert len(water(rig)) == 2


def test_what_was_measured_long_before_it_is_put_down_is_kept_and_judges_nothing() -> None:
    rig = Rig(None, acid_plan())
    for minutes in range(30):
        rig.arrive(24.0, minutes=minutes)
        rig.round_at(minutes)
    late = measured(BEGIN_MS + 60_000, ph=4.5)._replace(recorded_ms=BEGIN_MS + 29 * 60_000)
    rig.store.record(lambda _: [late])
    for minutes in (30, 31):
        rig.round_at(minutes)
    assert [entry.fields["event"] for entry in rig.store.journal()] == ["fed"]
    assert water(rig) == [(1, "water_ph", 4.5)]


def test_what_was_measured_while_nobody_watched_is_judged_at_its_own_time() -> None:
    store = FlakyStore()
    store.record(lambda _: [measured(BEGIN_MS + 60_000, ph=4.5)])
    rig = Rig(store, acid_plan(), begun_minutes=9)
    rig.round_at(10)
    rig.round_at(11)
    assert water(rig) == [(1, "water_ph", 4.5)]


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    """Return a configuration whose database is there."""
    path = tmp_path / "config.yaml"
    path.write_text(BASE, encoding="utf-8")
    open_store(f"sqlite:///{tmp_path / 'wardian.db'}", tmp_path).close()
    return path


def put_down(bench: Path) -> list[Record]:
    store = open_store(f"sqlite:///{bench.parent / 'wardian.db'}", bench.parent, read_only=True)
    records = store.records()
    store.close()
    return records


def test_the_command_puts_it_on_record(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["care", "done", "tray-a", "watered", "--who", "evening class"]
    assert main([*words, "--config", str(bench), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["event"] == "watered"
    (record,) = put_down(bench)
    assert (record.tray, record.fields["event"], record.who) == ("tray-a", WATERED, "evening class")


def test_it_is_put_on_record_also_where_nothing_was_watched_yet(tmp_path: Path) -> None:
    path = tmp_path / "config.yaml"
    path.write_text(BASE, encoding="utf-8")
    assert main(["care", "done", "tray-a", "misted", "--config", str(path)]) == 0
    assert [record.number for record in put_down(path)] == [1]


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (("tray-q", "watered"), "there is no tray 'tray-q'"),
        (("tray-a", "watered", "--at", "2001-01-01T00:00:00Z"), "a time of the last 24 h is accepted"),
        (("tray-a", "watered", "--at", "noon"), "noon"),
        (("tray-a", "sung to"), "sung to"),
    ],
)
def test_what_cannot_be_meant_is_refused(
    bench: Path, arguments: tuple[str, ...], why: str, capsys: pytest.CaptureFixture[str]
) -> None:
    try:
        status = main(["care", "done", *arguments, "--config", str(bench)])
    except SystemExit as wrong_usage:
        status = int(wrong_usage.code or 0)
    assert status == 2
    assert why in capsys.readouterr().err
    assert put_down(bench) == []
