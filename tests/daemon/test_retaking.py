"""What a tray weighs full is put on record by the daemon after a thorough watering: once, and only where that is wanted."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC
from typing import Any

from base_config import BASE, built
from loop_rig import BEGIN_MS, MINUTE_MS, FlakyStore, Rig, plan

from wardian.daemon.recording import Recording
from wardian.daemon.retaking import Retaking
from wardian.daemon.tongue import Tongue
from wardian.daemon.weighing import with_masses
from wardian.rules.errors import StoreFailed
from wardian.rules.plans import Masses, TrayPlan
from wardian.rules.ports import Decoded, Measured
from wardian.rules.records import MASSES, WITHDRAWN, Record, in_force

WEIGHED = replace(plan(), masses=(Masses(BEGIN_MS - 1, 3000, 1200),))
#: Minute by minute: an hour at 2500 g, then a watering.
WATERED = [2500.0] * 60 + [3050.0] * 200


def watching(store: FlakyStore | None = None, of: TrayPlan = WEIGHED, begun: float = 0) -> Rig:
    """Return a loop that puts down what trays weigh, and goes on by what is put down."""
    rig = Rig(store, of, begun_minutes=begun)
    loop, (tray, *_) = rig.loop, built(BASE).trays

    def replan(_name: str, records: Sequence[Record]) -> None:
        loop.replan(with_masses(of, tray, in_force(records)), records)

    loop.before = [Recording(rig.store, Tongue(UTC), {of.tray: 0}, replan)]
    loop.beside = [Retaking(rig.store, loop.observer.trays)]
    return rig


def weigh(rig: Rig, first: int, last: int, trace: Sequence[float] = WATERED) -> None:
    """Let the balance be read each minute, and a round be done every five."""
    for minute in range(first, last):
        time_ms = BEGIN_MS + minute * MINUTE_MS
        rig.hand_over(Decoded([Measured(time_ms, "tray-a", "tray_mass", trace[minute])]))
        if minute % 5 == 4:
            rig.round_at(minute + 0.9)


def masses(rig: Rig) -> list[tuple[float, str]]:
    return [(one.fields["saturated_g"], one.who) for one in rig.store.records() if one.kind == MASSES]


def test_a_thorough_watering_is_put_on_record_once_and_planned_by() -> None:
    rig = watching()
    weigh(rig, 0, 120)
    assert masses(rig) == []
    weigh(rig, 120, 240)
    assert masses(rig) == [(3050, "wardian")]
    (record,) = rig.store.records()
    assert BEGIN_MS + 125 * MINUTE_MS < record.time_ms < BEGIN_MS + 140 * MINUTE_MS
    told = [entry.fields for entry in rig.store.journal() if entry.fields["alarm"] == MASSES]
    assert [entry["message"].partition(" Sun")[0] for entry in told] == ["Weighed saturated 3050 g"]
    assert [one.saturated_g for one in rig.loop.observer.trays["tray-a"].plan.masses] == [3000, 3050]


def test_a_small_watering_is_not() -> None:
    rig = watching()
    weigh(rig, 0, 240, [2950.0] * 60 + [3010.0] * 200)
    assert masses(rig) == []


def test_who_refuses_it_gets_none() -> None:
    rig = watching(of=replace(WEIGHED, retakes_mass=False))
    weigh(rig, 0, 240)
    assert masses(rig) == []


def test_what_was_withdrawn_does_not_come_back_also_after_a_restart() -> None:
    rig = watching()
    weigh(rig, 0, 200)
    (record,) = rig.store.records()
    gone = Record(WITHDRAWN, record.time_ms, record.time_ms, "tray-a", who="a helper", corrects=record.number)
    rig.store.record(lambda _known: [gone])
    weigh(rig, 200, 220)
    again = watching(rig.store, begun=220)
    weigh(again, 220, 260)
    assert masses(again) == [(3050, "wardian")]
    assert [one.saturated_g for one in again.loop.observer.trays["tray-a"].plan.masses] == [3000]


def test_a_watering_before_a_restart_is_still_taken() -> None:
    rig = watching()
    weigh(rig, 0, 100)
    again = watching(rig.store, begun=100)
    weigh(again, 100, 200)
    assert masses(again) == [(3050, "wardian")]


def test_a_store_that_fails_meanwhile_gets_it_later_and_once() -> None:
    rig = watching()
    weigh(rig, 0, 120)
    failure: Any = StoreFailed("store", "the disk is full", may_heal=True)
    rig.store.failures = [failure] * 6
    weigh(rig, 120, 240)
    assert rig.store.failures == []
    assert masses(rig) == [(3050, "wardian")]
