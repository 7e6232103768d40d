"""What a running daemon makes of batches: they stand in the journal, and end what is asked of their tray."""

from dataclasses import replace
from datetime import UTC

import pytest
from base_config import BASE, built
from batch_records import DAY_MS, STUCK_MS, Said
from loop_rig import Rig

from wardian.adapters.stores.memory import MemoryStore
from wardian.daemon.batch_cautions import cautions
from wardian.daemon.lives import Lives
from wardian.daemon.planning import plan_of
from wardian.daemon.recording import Recording
from wardian.daemon.tongue import Tongue
from wardian.rules.batches import batches
from wardian.rules.records import BATCH, NOTE, Record

DUE_MS, OVERDUE_MS = STUCK_MS + 14 * DAY_MS, STUCK_MS + 16 * DAY_MS
TRAY = built(BASE.replace("stuck: 2026-03-02", "stuck: 2026-03-01")).trays[0]


def planned(records: list[Record]) -> tuple[int | None, int | None]:
    tray = replace(TRAY, plan=replace(TRAY.plan, due_ms=DUE_MS, overdue_ms=OVERDUE_MS))
    plan = plan_of(tray, records, UTC)
    return plan.due_ms, plan.overdue_ms


@pytest.fixture
def said() -> Said:
    begun = Said()
    begun.stick()
    return begun


def test_roots_are_expected_until_some_are_seen(said: Said) -> None:
    assert planned(said.records) == (DUE_MS, OVERDUE_MS)
    said.score([0, 2, 8, 0, 0, 0], 10)
    assert planned(said.records) == (DUE_MS, OVERDUE_MS)
    said.score([0, 2, 7, 1, 0, 0], 12)
    assert planned(said.records) == (None, OVERDUE_MS)


def test_roots_that_were_a_mistake_are_expected_again(said: Said) -> None:
    seen = said.score([0, 0, 0, 5, 0, 0], 12)
    said.score([0, 0, 5, 0, 0, 0], 12, corrects=seen.number)
    assert planned(said.records) == (DUE_MS, OVERDUE_MS)
    said.withdraw(said.score([0, 0, 0, 5, 0, 0], 13).number)
    assert planned(said.records) == (DUE_MS, OVERDUE_MS)


def test_nothing_is_asked_of_a_batch_that_is_closed_until_the_next_one(said: Said) -> None:
    said.close(30, 30, 12)
    assert planned(said.records) == (None, None)
    said.name = "next"
    said.put(BATCH, 13, crop="coleus", count_stuck=10)
    assert planned(said.records) == (DUE_MS, OVERDUE_MS)


def test_another_trays_batch_changes_nothing(said: Said) -> None:
    said.tray = "tray-b"
    said.close(30, 30, 12)
    assert planned(said.records) == (DUE_MS, OVERDUE_MS)


def test_a_tray_that_a_correction_takes_a_record_from_is_planned_anew() -> None:
    planned_anew: list[str] = []
    store = MemoryStore()
    trays = dict.fromkeys(("tray-a", "tray-b", "tray-c"), STUCK_MS)
    recording = Recording(store, Tongue(UTC), trays, lambda tray, _records: planned_anew.append(tray))
    said = Said()
    first = said.stick()
    store.record(lambda _: said.records)
    recording.work(STUCK_MS, Lives({}))
    assert planned_anew == ["tray-a"]
    said.tray = "tray-b"
    store.record(lambda _: [said.put(BATCH, corrects=first.number, crop="coleus", count_stuck=40)])
    recording.work(STUCK_MS, Lives({}))
    assert planned_anew[1:] == ["tray-a", "tray-b"]


def test_what_happens_to_a_batch_stands_in_the_journal(said: Said) -> None:
    said.remove(2, "rot", 0)
    said.score([0, 0, 3, 2, 0, 0], 0)
    said.put(NOTE, why="pale leaves")
    said.close(30, 28, 0, wilt=8)
    rig = Rig()
    rig.round_at(0)
    rig.store.record(lambda _: said.records)
    rig.round_at(1)
    assert [entry.fields["message"] for entry in rig.store.journal()] == [
        "Batch spring: 40 cuttings of coleus stuck Sun 1 Mar 21:20, recorded by evening class.",
        "Batch spring: 2 taken out (rot) Sun 1 Mar 21:20, recorded by evening class.",
        "Batch spring: roots on 2 of 5 looked at Sun 1 Mar 21:20, recorded by evening class.",
        "Batch spring: noted Sun 1 Mar 21:20, recorded by evening class: pale leaves.",
        "Batch spring closed: 30 potted, 28 of them fit, Sun 1 Mar 21:20, recorded by evening class.",
    ]
    assert {entry.fields["batch"] for entry in rig.store.journal()} == {"spring"}
    assert rig.store.waiting() == []


def test_what_happened_before_the_cuttings_went_in_is_an_earlier_batchs_and_no_news(said: Said) -> None:
    said.close(30, 28, 0)
    rig = Rig()
    rig.round_at(0)
    long_ago = [one._replace(time_ms=one.time_ms - 60 * DAY_MS) for one in said.records]
    rig.store.record(lambda _: long_ago)
    rig.round_at(1)
    assert rig.store.journal() == []


@pytest.mark.parametrize(
    ("crop", "hormone", "is_cautioned"),
    [
        ("basil", "IBA", True),
        ("basil", "none", False),
        ("basil", None, False),
        ("fuchsia", "IBA", False),
        ("forgotten crop", "IBA", False),
    ],
)
def test_a_hormone_on_what_will_be_eaten_is_cautioned_about(
    crop: str, hormone: str | None, is_cautioned: bool
) -> None:
    said = Said()
    said.put(BATCH, crop=crop, count_stuck=40, hormone=hormone)
    found = cautions(built(BASE), batches(said.records)["spring"])
    assert bool(found) == is_cautioned
    assert all("follow the label" in one for one in found)


def test_a_crop_that_the_configuration_has_is_eaten_or_not_as_it_says() -> None:
    said = Said()
    said.put(BATCH, crop="mint", count_stuck=40, hormone="IBA")
    config = built(BASE)
    grown = config.crops["mint"]
    for is_eaten in (True, False):
        here = grown._replace(crop=replace(grown.crop, is_eaten=is_eaten))
        found = cautions(replace(config, crops={"mint": here}), batches(said.records)["spring"])
        assert bool(found) == is_eaten
