"""A running bench goes by what is put on record of its stages: at its instant, once, and through any restart."""

import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from loop_rig import FlakyStore
from staged_acts import ACTS
from staged_bench import StagedRig, minute_ms, put_down, told

from wardian.adapters.stores.sql import SqlStore
from wardian.rules.errors import StoreFailed
from wardian.rules.records import STAGE, WITHDRAWN, Record
from wardian.rules.staging import ADVANCED, HELD, SET_BACK

LOCKED: Final = StoreFailed("store", "the database is locked", may_heal=True)


def alarms(rig: StagedRig) -> list[tuple[float, str, str]]:
    return [one[:3] for one in told(rig.store) if one[2] not in (STAGE, WITHDRAWN)]


def test_an_act_takes_effect_at_its_instant_and_a_run_that_goes_on_carries_over() -> None:
    rig = StagedRig(FlakyStore())
    for minute in range(8):
        rig.arrive(25.5, minutes=minute)
        if minute == 1:
            put_down(rig.store, 0.75, ADVANCED)
        rig.round_at(minute)
    # 25.5 is beyond the 25.0 of rooting as it was beyond the 24.0 of callusing: the run of minute 0 goes on.
    assert alarms(rig) == [(2, "raised", "high")]
    assert rig.engine.trays["tray-a"].plan.spans[1].from_ms == minute_ms(0.75)


def test_a_raised_alarm_carries_over_and_returns_by_the_limit_of_the_new_stage() -> None:
    rig = StagedRig(FlakyStore())
    for minute in range(10):
        rig.arrive(24.5, minutes=minute)
        if minute == 5:
            put_down(rig.store, 4.5, ADVANCED)
        rig.round_at(minute)
    # At 24.5 it is within rooting's 25.0 less the deadband, from 4:30 on, for the minute of the off-delay.
    assert alarms(rig) == [(2, "raised", "high"), (5.5, "returned", "high")]


def test_it_stands_in_the_journal_once_with_who_and_why() -> None:
    rig = StagedRig(FlakyStore())
    put_down(rig.store, 0, HELD, why="no roots yet")
    rig.round_at(0)
    rig.round_at(1)
    (entry,) = rig.store.journal()
    assert (entry.fields["event"], entry.fields["alarm"], entry.fields["record"]) == (HELD, "stage", 1)
    assert entry.fields["message"] == (
        "Held in some stage Sun 1 Mar 21:20, recorded by the teacher: no roots yet."
    )
    StagedRig(rig.store, 2).round_at(2)
    assert len(rig.store.journal()) == 1


def test_what_is_withdrawn_is_without_effect_from_then_on_and_what_was_told_stays() -> None:
    rig = StagedRig(FlakyStore())
    first = put_down(rig.store, 0, ADVANCED)
    for minute in range(12):
        rig.arrive(24.5, minutes=minute)
        if minute == 5:
            undone = Record(
                WITHDRAWN, minute_ms(4.5), minute_ms(4.5), "tray-a", who="a", corrects=first.number
            )
            rig.store.record(lambda _, undone=undone: [undone])  # type: ignore[misc]  # bound at once
        rig.round_at(minute)
    # Callusing again: beyond its 24.0 from 4:30 on, for two minutes.
    assert alarms(rig) == [(6.5, "raised", "high")]
    assert [span.stage.name for span in rig.engine.trays["tray-a"].plan.spans] == [
        "callusing",
        "rooting",
        "callusing",
        "rooting",
        "toning",
    ]


def test_a_stage_that_lasts_too_long_is_said_once_and_returns_with_the_act() -> None:
    rig = StagedRig(FlakyStore())
    for minute in range(80):
        rig.arrive(20.0, minutes=minute)
        if minute == 60:
            put_down(rig.store, 59.5, HELD, why="a cold week")
        rig.round_at(minute)
    assert alarms(rig) == [
        (50, "raised", "stage-overdue"),
        (60, "returned", "stage-overdue"),
        (70, "raised", "stage-overdue"),
    ]


def test_a_held_stage_is_overdue_after_its_planned_end_and_some_days() -> None:
    rig = StagedRig(FlakyStore())
    put_down(rig.store, 0, HELD)
    for minute in range(36):
        if minute == 34:
            put_down(rig.store, 33.5, ADVANCED)
        rig.arrive(20.0, minutes=minute)
        rig.round_at(minute)
    assert alarms(rig) == [(30, "raised", "stage-overdue"), (34, "returned", "stage-overdue")]


# ------------------------------------------------------------------------------------------ restarts


def test_what_was_put_down_while_nobody_watched_holds_from_then_on_in_the_backlog_too() -> None:
    rig = StagedRig(FlakyStore())
    for minute in range(6):
        rig.arrive(24.5, minutes=minute)
        rig.round_at(minute)
    put_down(rig.store, 7.5, ADVANCED)
    again = StagedRig(rig.store, 20)
    for minute in range(6, 21):
        again.arrive(24.5, minutes=minute)
    for minute in (20, 21):
        again.round_at(minute)
    assert alarms(again) == [(2, "raised", "high"), (8.5, "returned", "high")]


LAST = 75
Acts = Sequence[tuple[int, str]]


def journal_of(values: Sequence[float], acts: Acts, killed: Mapping[int, bool]) -> list[tuple[object, ...]]:
    """Return what is told of a value a minute; ``killed`` says after which minutes, and whether before the commit."""
    store = FlakyStore()
    rig = StagedRig(store)
    for minute in range(LAST + 1):
        value = values[minute // 3 % len(values)]
        for at, event in acts:
            if at == minute:
                put_down(store, minute - 0.5, event)
        rig.arrive(value, minutes=minute)
        if killed.get(minute):
            store.failures = [LOCKED]
            rig.round_at(minute)
            # What was not acknowledged comes again.
            rig = StagedRig(store, minute)
            rig.arrive(value, minutes=minute)
        rig.round_at(minute)
        if killed.get(minute) is False:
            rig = StagedRig(store, minute)
    return told(store)


acts_at_minutes = st.lists(
    st.tuples(st.integers(1, LAST), st.sampled_from(ACTS)), min_size=1, max_size=6
).map(sorted)
kills = st.dictionaries(st.integers(0, LAST), st.booleans(), min_size=4, max_size=30)


@given(st.lists(st.sampled_from([23.0, 24.5, 25.5, 26.5]), min_size=4, max_size=25), acts_at_minutes, kills)
@settings(max_examples=60, deadline=None)
def test_wherever_the_daemon_is_cut_off_the_journal_is_that_of_an_untroubled_one(
    values: list[float], acts: Acts, killed: dict[int, bool]
) -> None:
    assert journal_of(values, acts, killed) == journal_of(values, acts, {})


PROGRAM: Final = Path(__file__).parent.parent / "support" / "staged_program.py"


def led(database: Path, cuts: Sequence[str]) -> list[tuple[object, ...]]:
    """Return the journal of a bench whose process is killed at each cut, and at its end."""
    for cut in cuts:
        command = [sys.executable, str(PROGRAM), str(database), cut]
        with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
            assert process.stdout is not None
            assert process.stdout.readline() == "there\n"
            process.kill()
    store = SqlStore.open(database)
    journal = told(store)
    store.close()
    return journal


@pytest.fixture(scope="module")
def untroubled(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[object, ...]]:
    """Return the journal of a bench that nobody cut off."""
    return led(tmp_path_factory.mktemp("whole") / "bench.db", [""])


@pytest.mark.parametrize("cuts", [["5"], ["11"], ["12", "13"], ["27", "47"]])
def test_a_killed_process_goes_on_by_what_was_put_on_record(
    tmp_path: Path, untroubled: list[tuple[object, ...]], cuts: list[str]
) -> None:
    assert led(tmp_path / "bench.db", [*cuts, ""]) == untroubled
    assert {one[1] for one in untroubled} >= {"raised", "returned", ADVANCED, HELD, SET_BACK}
