"""The batches that stand beside one that is explained: the surest success, and the usual warmth of those as long."""

from dataclasses import replace
from typing import Final

import pytest
from base_config import built

from wardian.adapters.stores.memory import MemoryStore
from wardian.daemon.alarm_times import alarm_times
from wardian.daemon.config import Config
from wardian.daemon.postmortem import Explained, around_store, explain, explain_beside, in_tray
from wardian.daemon.postmortem_subjects import subject_of_batch
from wardian.rules.batches import batches
from wardian.rules.ports import JournalEntry, Round
from wardian.rules.postmortem.facts import AlarmTime
from wardian.rules.readings import Reading
from wardian.rules.records import BATCH, CARE, CLOSED, NOTE, Record

MINUTE_MS: Final = 60_000
HOUR_MS: Final = 60 * MINUTE_MS
DAY_MS: Final = 24 * HOUR_MS
#: Midnight, UTC.
BEGIN_MS: Final = 20_500 * DAY_MS
TEXT: Final = """\
site: {name: Evening propagation class, timezone: UTC, units: SI}
readings: {hold: 60 min}
trays: [{name: tray-a, crop: coleus, stuck: 2026-02-16}]
crops:
  coleus:
    stages: [{name: callusing, from_day: 0, bands: {medium_temperature: {low: 21 °C, high: 25 °C}}}]
"""


@pytest.fixture
def config() -> Config:
    """Return a bench with one tray, whose crop's warmth is counted above 20 °C."""
    config = built(TEXT)
    (tray,) = config.trays
    return replace(config, trays=(replace(tray, crop=replace(tray.crop, warmth_base_c=20.0)),))


class Bench:
    """Batches one after the other in one tray, each of so many days and kept at one temperature."""

    def __init__(self) -> None:
        self.store = MemoryStore()
        self.now_ms = BEGIN_MS

    def batch(
        self, name: str, days: int, medium_c: float | None, fit: tuple[int, int] | None, crop: str = "coleus"
    ) -> None:
        """Put a batch on record, with readings unless ``medium_c`` is None, closed with ``fit`` of so many stuck."""
        begin_ms, self.now_ms = self.now_ms, self.now_ms + days * DAY_MS
        stuck = fit[1] if fit else 40
        fields = {"crop": crop, "count_stuck": stuck}
        told = [Record(BATCH, begin_ms, begin_ms, "tray-a", name, fields=fields)]
        if fit:
            closed = {"potted": fit[0], "fit": fit[0], "discarded": {}}
            told.append(Record(CLOSED, self.now_ms, self.now_ms, "tray-a", name, fields=closed))
        self.store.record(lambda _: told)
        if medium_c is not None:
            times = range(begin_ms, self.now_ms, 30 * MINUTE_MS)
            readings = [Reading(at, "tray-a", "medium_temperature", medium_c) for at in times]
            self.store.keep(Round(self.now_ms, readings=readings))

    def explained(self, config: Config, name: str) -> Explained:
        records = self.store.records()
        around = around_store(self.store, records)
        return explain_beside(
            subject_of_batch(config, batches(records)[name], records, self.now_ms), around, config
        )


def best(one: Explained) -> str | None:
    return one.beside.batch.name if one.beside else None


def test_three_of_three_do_not_beat_36_of_40(config: Config) -> None:
    bench = Bench()
    bench.batch("few", 3, 23.0, (3, 3))
    bench.batch("many", 3, 23.0, (36, 40))
    bench.batch("poor", 3, 23.0, (10, 40))
    bench.batch("now", 3, 17.0, None)
    assert best(bench.explained(config, "now")) == "many"
    assert best(bench.explained(config, "many")) == "few"


def test_a_batch_whose_readings_are_gone_does_not_stand_beside(config: Config) -> None:
    bench = Bench()
    bench.batch("gone", 3, None, (40, 40))
    bench.batch("there", 3, 23.0, (20, 40))
    bench.batch("now", 3, 17.0, None)
    assert best(bench.explained(config, "now")) == "there"


def test_the_usual_warmth_is_the_median_over_as_many_days_of_batches_as_long(config: Config) -> None:
    bench = Bench()
    bench.batch("short", 1, 40.0, (3, 40))
    for number, medium_c in enumerate((22.0, 23.0, 25.0)):
        bench.batch(f"past-{number}", 4, medium_c, (30, 40))
    bench.batch("now", 2, 21.0, None)
    one = bench.explained(config, "now")
    assert one.usual is not None
    assert one.usual.batches == 3
    assert one.usual.degree_h == pytest.approx(3.0 * 48)
    assert one.facts.warmth is not None
    assert one.facts.warmth.degree_h == pytest.approx(1.0 * 48)


def test_what_people_said_in_its_time_is_told_and_nothing_of_another_batch(config: Config) -> None:
    bench = Bench()
    bench.batch("past", 2, 23.0, (30, 40))
    bench.batch("now", 2, 17.0, None)
    then_ms, now_ms = BEGIN_MS + DAY_MS, BEGIN_MS + 3 * DAY_MS
    said = [
        Record(
            CARE,
            then_ms,
            then_ms,
            "tray-a",
            who="Monday group",
            why="looked fine",
            fields={"event": "misted"},
        ),
        Record(
            CARE,
            now_ms,
            now_ms,
            "tray-a",
            who="Tuesday group",
            why="one corner limp",
            fields={"event": "misted"},
        ),
        Record(CARE, now_ms, now_ms, "tray-a", who="Tuesday group", fields={"event": "misted"}),
        Record(NOTE, now_ms, now_ms, "tray-a", "now", why="cut with the old knife"),
        Record(NOTE, now_ms, now_ms, "tray-a", "past", why="potted in the small house"),
    ]
    bench.store.record(lambda _: said)
    told = [note.why for note in bench.explained(config, "now").notes]
    assert told == ["one corner limp", "cut with the old knife"]


def test_a_batch_that_has_just_been_stuck_is_explained_without_a_slip(config: Config) -> None:
    bench = Bench()
    bench.batch("now", 0, None, None)
    assert bench.explained(config, "now").facts.stages == ()


def test_a_batch_of_a_crop_that_no_tray_has_now_is_held_against_the_library(config: Config) -> None:
    bench = Bench()
    bench.batch("now", 1, 17.0, None)
    (tray,) = config.trays
    other = replace(config, crops={}, trays=(replace(tray, crop=replace(tray.crop, name="basil")),))
    wanted = {time.quantity: time.wanted for time in bench.explained(other, "now").facts.stages}
    # Coleus of the library wants its medium at 21 to 25 °C while it calluses.
    assert wanted["medium_temperature"] == (21.0, 25.0)


def test_a_batch_of_a_crop_that_nobody_knows_any_more_is_refused(config: Config) -> None:
    bench = Bench()
    bench.batch("now", 1, 23.0, None, crop="moonflower")
    with pytest.raises(ValueError, match="moonflower is no crop here or of the library"):
        bench.explained(config, "now")


def test_the_open_batch_of_a_tray_is_what_is_in_it(config: Config) -> None:
    bench = Bench()
    bench.batch("past", 2, 23.0, (30, 40))
    bench.batch("now", 2, 17.0, None)
    around = around_store(bench.store, bench.store.records())
    one = explain(in_tray(config, config.trays[0], around, bench.now_ms), around)
    assert (one.subject.name, one.facts.span[0]) == ("now", BEGIN_MS + 2 * DAY_MS)


def entry(time_ms: int, event: str, **more: object) -> JournalEntry:
    fields = {"tray": "tray-a", "quantity": "medium_temperature", "limit": "low", "condition": "limit"}
    return JournalEntry(
        0,
        time_ms,
        "tray-a",
        {**fields, "alarm": "medium-too-cold", "priority": "medium", "event": event, **more},
    )


def test_the_alarms_of_a_time_say_when_they_were_raised_acknowledged_and_returned() -> None:
    told = [
        entry(1, "raised"),
        entry(5, "acknowledged"),
        entry(6, "acknowledged"),
        entry(9, "returned"),
        entry(20, "raised"),
        entry(20, "suppressed", told=False),
        entry(30, "released", told=True),
        entry(40, "misted", record=3),
    ]
    first, second = alarm_times(told)
    assert first == AlarmTime("medium-too-cold", "medium_temperature", "medium", 1, 5, 9)
    assert (second.raised_ms, second.acknowledged_ms, second.returned_ms, second.is_held_back) == (
        20,
        None,
        None,
        False,
    )


def test_what_returns_from_before_the_time_is_no_alarm_of_it() -> None:
    assert alarm_times([entry(9, "returned")]) == []
