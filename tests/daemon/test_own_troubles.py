from pathlib import Path

import pytest
from loop_rig import Rig
from told_people import MINUTE_MS

from wardian.adapters.yaml_file import parse
from wardian.daemon.library import library
from wardian.daemon.own_troubles import PATIENCE_MS, SEEN_WITHIN_MS, OwnTroubles
from wardian.daemon.wiring import load_config
from wardian.rules.errors import BadConfig
from wardian.rules.life import ACKNOWLEDGE
from wardian.rules.ports import Act, Alarm
from wardian.rules.transitions import WATCH

NAME = "store-failed"
ADVICE = library(parse).watch


class Watched(Rig):
    """A loop that its own troubles take part in."""

    def __init__(self, rig: Rig | None = None) -> None:
        super().__init__(rig.store if rig else None)
        self.troubles = OwnTroubles(ADVICE, self.teller)  # type: ignore[arg-type]  # it needs no more of a teller
        self.loop.beside = [self.troubles]

    def told(self) -> list[tuple[str, str]]:
        return [(entry.tray, entry.fields["event"]) for entry in self.store.journal()]


def test_a_trouble_is_told_when_it_begins_and_when_it_is_over_and_not_in_between() -> None:
    rig = Watched()
    rig.round_at(0)
    rig.troubles.begin(NAME, "the disk is full.")
    rig.troubles.begin(NAME, "the disk is full.")
    rig.round_at(1)
    rig.round_at(2)
    rig.troubles.begin(NAME, "the disk is full.")
    rig.round_at(3)
    rig.troubles.end(NAME)
    rig.troubles.end(NAME)
    rig.round_at(4)
    assert rig.told() == [(WATCH, "raised"), (WATCH, "returned")]
    assert [due.message.fields["event"] for due in rig.store.waiting()] == ["raised", "returned"]
    assert rig.store.journal()[0].fields["message"] == "Store failed: the disk is full."


def test_what_is_over_before_a_round_knew_of_it_is_not_told() -> None:
    rig = Watched()
    rig.troubles.begin(NAME, "the disk is full.")
    rig.troubles.end(NAME)
    rig.round_at(1)
    assert rig.told() == []


def test_what_happened_stands_for_a_day_and_is_over_by_itself() -> None:
    rig = Watched()
    rig.troubles.happened(NAME, "it was so.")
    rig.round_at(1)
    rig.troubles.happened(NAME, "it was so once more.")
    rig.round_at(2)
    rig.round_at(1 + SEEN_WITHIN_MS / MINUTE_MS - 1)
    assert rig.told() == [(WATCH, "raised")]
    rig.round_at(1 + SEEN_WITHIN_MS / MINUTE_MS)
    assert rig.told() == [(WATCH, "raised"), (WATCH, "returned")]


def test_what_stood_when_the_last_run_ended_is_not_told_again_and_is_over_when_nobody_says_it_again() -> None:
    rig = Watched()
    rig.troubles.begin(NAME, "the disk is full.")
    rig.round_at(1)
    again = Watched(rig)
    again.troubles.begin(NAME, "the disk is full.")
    again.round_at(2)
    again.round_at(3 + PATIENCE_MS / MINUTE_MS)
    assert again.told() == [(WATCH, "raised")]
    third = Watched(again)
    third.round_at(20)
    assert third.told() == [(WATCH, "raised")]
    third.round_at(20 + PATIENCE_MS / MINUTE_MS)
    assert third.told() == [(WATCH, "raised"), (WATCH, "returned")]


def test_people_can_acknowledge_a_trouble_of_the_watch() -> None:
    rig = Watched()
    rig.troubles.begin(NAME, "the disk is full.")
    rig.round_at(1)
    alarm = Alarm(WATCH, "", NAME)
    rig.store.ask([Act(rig.clock.now_ms, alarm, ACKNOWLEDGE, "a teacher", "")])
    rig.round_at(2)
    assert rig.loop.lives.of(alarm).state == "acknowledged"
    assert rig.told()[-1] == (WATCH, "acknowledged")


def test_every_trouble_of_the_watch_has_a_name_of_its_own_that_no_other_alarm_has() -> None:
    names = [advice.alarm for advice in library(parse).alarms()]
    assert set(ADVICE) == {advice.alarm for advice in ADVICE.values()}
    assert all(names.count(name) == 1 for name in ADVICE)


def test_no_tray_may_take_the_name_that_stands_for_the_watch(tmp_path: Path) -> None:
    path = tmp_path / "config.yaml"
    text = Path(__file__).parents[2].joinpath("config.example.yaml").read_text(encoding="utf-8")
    path.write_text(text.replace("name: tray-a,", f"name: {WATCH},"), encoding="utf-8")
    with pytest.raises(BadConfig, match="stands for the watch itself"):
        load_config(path)
