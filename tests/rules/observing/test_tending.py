"""A round that was left out, and a look for roots that is due."""

import math
from dataclasses import replace

from case_terms import stage
from cases_of_conditions import observed, planned, told
from minute_by_minute import NOON_MS, TRAY, chunk_by, course

from wardian.rules.crops import StageSpan
from wardian.rules.observing.looks import ALCOHOL, LIFTED, Care
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.observing.observer import Observer

HOUR = 60
HUMIDITY = "relative_humidity"
STEADY = {HUMIDITY: course((30 * HOUR, 95))}


def lifted(minute: int) -> Care:
    return Care(LIFTED, NOON_MS + minute * MINUTE_MS, NOON_MS + (minute + 5) * MINUTE_MS)


def test_twenty_hours_after_the_last_round_nobody_has_tended_the_tray_until_somebody_does() -> None:
    care = [lifted(60), lifted(25 * HOUR)]
    found = observed(planned("not-tended"), STEADY, care[:1])
    assert told(found) == [(21 * HOUR + 10, "not-tended", "raised")]
    assert found[0].since_ms == care[0].to_ms
    assert told(observed(planned("not-tended"), STEADY, [lifted(60), lifted(20 * HOUR)])) == []


def test_alcohol_for_blades_is_no_round() -> None:
    care = [lifted(60), Care(ALCOHOL, NOON_MS + 20 * HOUR * MINUTE_MS, NOON_MS + 20 * HOUR * MINUTE_MS)]
    found = observed(planned("not-tended"), STEADY, care)
    assert told(found) == [(21 * HOUR + 10, "not-tended", "raised")]


def test_where_care_was_never_seen_it_may_never_be_visible() -> None:
    assert told(observed(planned("not-tended"), STEADY)) == []


def test_care_is_not_missed_while_humidity_is_unknown_or_once_there_are_roots() -> None:
    holes = {HUMIDITY: [*course((10 * HOUR, 95)), *[math.nan] * 4 * HOUR, *course((16 * HOUR, 95))]}
    assert told(observed(planned("not-tended"), holes, [lifted(60)])) == []
    rooted = (StageSpan(0, stage("callusing")), StageSpan(1, stage("rooting")))
    assert told(observed(planned("not-tended", spans=rooted), STEADY, [lifted(60)])) == []


def test_roots_are_past_due_from_the_midnight_after_their_day_for_good() -> None:
    due_ms = NOON_MS + 90 * MINUTE_MS
    found = observed(replace(planned("past-due"), due_ms=due_ms), STEADY)
    assert told(found) == [(90, "past-due", "raised")]
    assert (found[0].time_ms, found[0].since_ms) == (due_ms, due_ms)
    assert told(observed(planned("past-due"), STEADY)) == []
    assert told(observed(replace(planned("past-due"), due_ms=NOON_MS + 10**10), STEADY)) == []


def test_mould_that_was_seen_stands_until_the_plan_knows_it_gone() -> None:
    seen_ms = NOON_MS + 90 * MINUTE_MS
    of = replace(planned("mould-seen"), rot_seen_ms=seen_ms)
    found = observed(of, STEADY)
    assert told(found) == [(90, "mould-seen", "raised")]
    assert found[0].since_ms == seen_ms
    assert told(observed(planned("mould-seen"), STEADY)) == []
    observer = Observer([of])
    observer.feed(chunk_by(STEADY, 1))
    assert len(observer.advance(NOON_MS + 100 * MINUTE_MS)) == 1
    observer.trays[TRAY].plan = planned("mould-seen")
    assert told(observer.advance(NOON_MS + 110 * MINUTE_MS)) == [(101, "mould-seen", "returned")]


def test_a_stage_is_overdue_from_its_end_until_somebody_did_something_about_it() -> None:
    end_ms, acted_ms = NOON_MS + 30 * MINUTE_MS, NOON_MS + 75 * MINUTE_MS + 1
    by_now = replace(planned("stage-overdue"), overdue_ms=end_ms)
    found = observed(by_now, STEADY)
    assert told(found) == [(30, "stage-overdue", "raised")]
    assert (found[0].time_ms, found[0].since_ms) == (end_ms, end_ms)
    assert told(observed(planned("stage-overdue"), STEADY)) == []
    later_ms = NOON_MS + 600 * MINUTE_MS
    acted = replace(by_now, overdue_ms=later_ms, was_overdue=((end_ms, acted_ms),))
    assert told(observed(acted, STEADY)) == [
        (30, "stage-overdue", "raised"),
        (76, "stage-overdue", "returned"),
        (600, "stage-overdue", "raised"),
    ]
