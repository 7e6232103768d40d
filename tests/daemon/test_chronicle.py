"""What care does, and what only follows, is held back beside a journal that stays exact, and told if it lasts."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from math import isnan
from typing import Any, ClassVar

import pytest
from loop_rig import BEGIN_MS, MINUTE_MS, FakeTeller, name, plan

from wardian.daemon.chronicle import Chronicle, Entry
from wardian.daemon.lives import Lives
from wardian.rules import life
from wardian.rules.evidence import Evidence
from wardian.rules.observing.looks import LIFTED, MISTED, UNCHANGED, WATERED, Abnormal, Care, Look, Verdict
from wardian.rules.observing.observer import Observer
from wardian.rules.ports import Act, Alarm, JournalEntry
from wardian.rules.readings import Reading
from wardian.rules.transitions import RAISED, RETURNED, Transition

TOO_DRY = Alarm("tray-a", "relative_humidity", "low")
SETTLING_MS = {LIFTED: 45 * MINUTE_MS, MISTED: 45 * MINUTE_MS, WATERED: 90 * MINUTE_MS}


class CoverOff:
    """Stands while the air is above 30 °C: any condition would do."""

    name: ClassVar[str] = "cover-off"
    quantity = "air_temperature"
    every: ClassVar[int] = 1

    def judge(self, look: Look) -> Verdict:
        air_c = look.minutes.trace("air_temperature", 1).mean[-1]
        if isnan(air_c):
            return UNCHANGED
        return Abnormal(look.now_ms, Evidence("it is off")) if air_c > 30 else None


def change(minutes: float, event: str = RAISED, alarm: Alarm = TOO_DRY) -> Transition:
    time_ms = BEGIN_MS + round(minutes * MINUTE_MS)
    which = (time_ms, alarm.tray, alarm.quantity, alarm.condition, event, alarm.condition)
    return Transition(*which, None, None, None, time_ms)


class Bench:
    """A chronicle of one tray, written piece by piece."""

    def __init__(self, care: Iterable[Care] = (), last: Mapping[Alarm, JournalEntry] | None = None) -> None:
        one = replace(plan(), settling_ms=SETTLING_MS, figures={"cover-off": {}})
        self.observer = Observer([one], [CoverOff])
        for done in care:
            self.observer.record("tray-a", done)
        self.lives = Lives(last or {}, moment=str, names=name)
        teller: Any = FakeTeller()
        self.chronicle = Chronicle(teller, self.lives, self.observer, {"too-warm": ["cover-off"]})
        self.entries: list[Entry] = []

    def write(self, until_minutes: float, *transitions: Transition) -> list[tuple[float, str, bool]]:
        until_ms = BEGIN_MS + round(until_minutes * MINUTE_MS)
        written = list(self.chronicle.write(transitions, until_ms))
        self.entries += written
        return [((one.time_ms - BEGIN_MS) / MINUTE_MS, one.fields["event"], one.is_told) for one in written]

    def warm(self, minutes: int, celsius: float) -> None:
        self.observer.take([Reading(BEGIN_MS + minutes * MINUTE_MS, "tray-a", "air_temperature", celsius)])


def lifted(minutes: float = 0) -> Care:
    time_ms = BEGIN_MS + round(minutes * MINUTE_MS)
    return Care(LIFTED, time_ms, time_ms)


def test_what_care_does_is_held_back_and_never_told_when_it_is_over_in_time() -> None:
    bench = Bench([lifted()])
    assert bench.write(25, change(20)) == [(20, RAISED, False), (20, "suppressed", False)]
    assert bench.lives.of(TOO_DRY).state == life.SUPPRESSED
    assert bench.write(60, change(30, RETURNED)) == [(30, RETURNED, False), (45, "released", False)]
    assert bench.lives.of(TOO_DRY).state == life.NORMAL


def test_what_outlasts_the_care_is_told_when_its_time_is_over() -> None:
    bench = Bench([lifted()])
    assert bench.write(44.9, change(20))[-1] == (20, "suppressed", False)
    assert bench.write(45) == [(45, "released", True)]
    told = bench.entries[-1].fields["message"]
    assert told.startswith("Too warm, held back until now (the cover was lifted ")
    assert told.endswith("): raised.")
    assert bench.lives.of(TOO_DRY).state == life.UNACKNOWLEDGED
    assert bench.write(60, change(50, RETURNED)) == [(50, RETURNED, True)]


def test_the_journal_says_why_and_until_when() -> None:
    bench = Bench([lifted(2)])
    bench.write(30, change(20))
    fields = bench.entries[-1].fields
    assert (fields["who"], fields["until_ms"]) == ("wardian", BEGIN_MS + 47 * MINUTE_MS)
    assert fields["message"].startswith("Too warm: held back, because the cover was lifted ")
    assert bench.entries[0].fields["event"] == RAISED


def test_care_before_the_time_that_it_settles_in_holds_nothing_back() -> None:
    bench = Bench([lifted(-25)])
    assert bench.write(30, change(20)) == [(20, RAISED, True)]
    assert bench.write(31, change(31, RETURNED)) == [(31, RETURNED, True)]


def test_care_that_comes_later_does_not_draw_a_hold_out() -> None:
    bench = Bench([lifted()])
    bench.write(30, change(20))
    bench.observer.record("tray-a", lifted(31))
    assert bench.write(46) == [(45, "released", True)]


def test_what_only_follows_from_a_condition_is_held_back_as_long_as_that_stands() -> None:
    bench = Bench()
    bench.warm(0, 31.0)
    assert bench.write(10, change(5)) == [(1, RAISED, True), (5, RAISED, False), (5, "suppressed", False)]
    assert "it only follows from cover off" in bench.entries[-1].fields["message"]
    bench.warm(10, 20.0)
    assert bench.write(40) == [(11, RETURNED, True)]
    assert bench.write(42) == [(41, "released", True)]


def test_what_mends_soon_after_the_condition_that_it_follows_from_is_never_told() -> None:
    bench = Bench()
    bench.warm(0, 31.0)
    bench.write(10, change(5))
    bench.warm(10, 20.0)
    assert bench.write(50, change(20, RETURNED)) == [
        (11, RETURNED, True),
        (20, RETURNED, False),
        (41, "released", False),
    ]


def test_what_people_do_to_an_alarm_that_is_over_does_not_draw_a_hold_out() -> None:
    bench = Bench()
    bench.warm(0, 31.0)
    bench.write(10, change(5))
    bench.warm(10, 20.0)
    bench.write(12)
    cover_off = Alarm("tray-a", "air_temperature", "cover-off")
    bench.lives.do(Act(0, cover_off, life.ACKNOWLEDGE, "somebody", ""), BEGIN_MS + 30 * MINUTE_MS)
    assert bench.write(42) == [(41, "released", True)]


def test_a_condition_that_was_shelved_before_it_ever_stood_holds_nothing_back() -> None:
    bench = Bench()
    cover_off = Alarm("tray-a", "air_temperature", "cover-off")
    bench.lives.do(Act(0, cover_off, life.SHELVE, "somebody", "", BEGIN_MS + MINUTE_MS), BEGIN_MS)
    assert bench.lives.returned_ms("tray-a", "cover-off") is None
    assert bench.write(10, change(5)) == [(5, RAISED, True)]


def test_a_hold_goes_on_after_a_restart() -> None:
    bench = Bench([lifted()])
    bench.write(30, change(20))
    number, (time_ms, tray, fields, *_) = 7, bench.entries[-1]
    again = Bench(last={TOO_DRY: JournalEntry(number, time_ms, tray, fields)})
    assert again.write(44) == []
    assert again.write(46) == [(45, "released", True)]


def test_what_a_person_has_shelved_is_not_held_back_beside_it() -> None:
    bench = Bench([lifted()])
    bench.lives.do(Act(0, TOO_DRY, life.SHELVE, "somebody", "", BEGIN_MS + 90 * MINUTE_MS), BEGIN_MS)
    assert bench.write(30, change(20)) == [(20, RAISED, False)]
    assert bench.lives.of(TOO_DRY).state == life.SHELVED


@pytest.mark.parametrize("cut", range(0, 60, 7))
def test_the_pieces_in_which_it_is_written_change_nothing(cut: int) -> None:
    changes = [change(10), change(12, RETURNED), change(20), change(50, RETURNED), change(55)]
    whole, cut_up = Bench([lifted()]), Bench([lifted()])
    expected = whole.write(60, *changes)
    before = [one for one in changes if one.time_ms < BEGIN_MS + cut * MINUTE_MS]
    assert cut_up.write(cut, *before) + cut_up.write(60, *changes[len(before) :]) == expected
