"""Weeks of minutes worked by hand: what was found, how late, what was missed and what nobody needed."""

from collections.abc import Iterable, Sequence
from itertools import pairwise

import pytest
from case_terms import high, hours, low, minutes, plan, series, stage, urgent

from wardian.rules.engine import Engine
from wardian.rules.excursions import Excursion, excursions
from wardian.rules.plans import TrayPlan
from wardian.rules.readings import Reading, chunk_of
from wardian.rules.scores import FOUND, MISSED, STANDING, WITHIN, Finding, Lateness, Score, together
from wardian.rules.scoring import Watch, explained_by_care, score, why_of_other_readings
from wardian.rules.transitions import SENSOR_IMPLAUSIBLE, SENSOR_SILENT
from wardian.rules.truth import TrueCare, TrueFault, Truth

DAY_MIN = 1440
HUMID = low(90, 0, on_ms=minutes(10), off_ms=minutes(5))
MILD = (high(26, 0, on_ms=minutes(10)), low(20, 0, on_ms=minutes(10)))
BENCH = plan((0, stage("callusing", relative_humidity=HUMID, air_temperature=MILD)))


def every_minute(quantity: str, *changes: tuple[float, float], tray: str = "tray-a") -> list[Reading]:
    """A value a minute for a day; from each of the given minutes on, another."""
    ends = [*changes, (DAY_MIN, 0.0)]
    points = [
        (minutes(at), value)
        for (begin, value), (end, _) in pairwise(ends)
        for at in range(round(begin), round(end))
    ]
    return series(quantity, points, tray)


def fault(
    name: str, from_min: float, to_min: float, of: str | None = None, tray: str = "tray-a"
) -> TrueFault:
    return TrueFault(tray, name, minutes(from_min), minutes(to_min), of)


def truth(*faults: TrueFault, care: Iterable[TrueCare] = ()) -> Truth:
    return Truth(1, 0, minutes(DAY_MIN), faults, tuple(care))


def scored(
    true: Truth,
    readings: Sequence[Reading],
    *plans: TrayPlan,
    refused: Iterable[tuple[int, str, str]] = (),
) -> Score:
    plans = plans or (BENCH,)
    chunk, until_ms = chunk_of(readings), max(one.time_ms for one in readings) + 1
    engine = Engine(plans)
    engine.feed(chunk)
    for mark in refused:
        engine.refuse(*mark)
    watch = Watch({one.tray: one for one in plans}, {one.tray for one in chunk}, 0, until_ms)
    return score(true, engine.advance(until_ms), excursions(plans, chunk, until_ms), watch)


def only(result: Score) -> Finding:
    (finding,) = result.findings
    return finding


def late_min(finding: Finding) -> tuple[float | None, float | None]:
    both = finding.late_ms, finding.late_after_limit_ms
    first, second = (None if one is None else one / 60_000 for one in both)
    return first, second


# -------------------------------------------------------------------------------------- found


def test_a_fault_is_found_by_the_first_alarm_that_it_can_cause() -> None:
    dry = every_minute("relative_humidity", (0, 95), (62, 70), (120, 95))
    result = scored(truth(fault("cover left off", 60, 120)), dry)
    finding = only(result)
    assert finding.result == FOUND
    assert finding.alarm is not None
    assert (finding.alarm.quantity, finding.alarm.limit) == ("relative_humidity", "low")
    assert late_min(finding) == (12, 10)
    assert finding.on_delay_ms == minutes(10)
    assert finding.beyond_ms == minutes(58)
    assert finding.out_of_band
    assert result.unneeded == ()


def test_lateness_counts_from_the_first_reading_beyond_though_it_came_back() -> None:
    dry = every_minute("relative_humidity", (0, 95), (62, 70), (65, 95), (80, 70), (120, 95))
    assert late_min(only(scored(truth(fault("cover left off", 60, 120)), dry))) == (30, 28)


def test_lateness_counts_from_the_fault_where_the_limit_was_crossed_before_it() -> None:
    dry = every_minute("relative_humidity", (0, 95), (55, 70), (120, 95))
    assert late_min(only(scored(truth(fault("cover left off", 60, 120)), dry))) == (5, 5)


def test_lateness_does_not_count_what_care_explains() -> None:
    dry = every_minute("relative_humidity", (0, 95), (62, 70), (65, 95), (80, 70), (120, 95))
    lifted = TrueCare("tray-a", "lifted", minutes(61), minutes(62))
    assert late_min(only(scored(truth(fault("cover left off", 60, 120), care=[lifted]), dry))) == (30, 10)


def test_a_more_urgent_alarm_finds_a_fault_too() -> None:
    waits = low(90, 0, on_ms=hours(5))
    both = plan((0, stage("callusing", relative_humidity=(waits, urgent(low(80, 0, on_ms=minutes(3)))))))
    dry = every_minute("relative_humidity", (0, 95), (60, 70), (120, 95))
    finding = only(scored(truth(fault("cover left off", 60, 120)), dry, both))
    assert finding.alarm is not None
    assert finding.alarm.limit == "low_low"
    assert finding.on_delay_ms == minutes(3)
    assert late_min(finding) == (3, 3)


def test_the_delay_told_is_that_of_the_stage_in_which_the_alarm_was_raised() -> None:
    slower = plan(
        (0, stage("callusing", relative_humidity=HUMID)),
        (minutes(30), stage("striking", relative_humidity=low(90, 0, on_ms=minutes(40)))),
    )
    dry = every_minute("relative_humidity", (0, 95), (60, 70))
    assert only(scored(truth(fault("cover left off", 60, 120)), dry, slower)).on_delay_ms == minutes(40)


@pytest.mark.parametrize(("begin", "result"), [(119 + 360, FOUND), (120 + 360, WITHIN)])
def test_a_run_that_begins_while_a_fault_lingers_belongs_to_it(begin: int, result: str) -> None:
    """The medium comes back within six hours after a cover was left off."""
    dry = every_minute("relative_humidity", (0, 95), (begin, 70))
    told = scored(truth(fault("cover left off", 60, 120)), dry)
    assert only(told).result == result
    assert len(told.unneeded) == (result == WITHIN)


@pytest.mark.parametrize(("begin", "result"), [(50, FOUND), (49, STANDING)])
def test_an_alarm_raised_as_a_fault_begins_belongs_to_it(begin: int, result: str) -> None:
    dry = every_minute("relative_humidity", (0, 95), (begin, 70), (120, 95))
    told = scored(truth(fault("cover left off", 60, 120)), dry)
    assert only(told).result == result
    assert len(told.unneeded) == (result == STANDING)


def test_one_alarm_can_belong_to_two_faults() -> None:
    dry = every_minute("relative_humidity", (0, 95), (70, 70), (120, 95))
    told = scored(truth(fault("cover left off", 60, 120), fault("heater stuck on", 65, 120)), dry)
    assert [late_min(one) for one in told.findings] == [(20, 10), (15, 10)]
    assert told.unneeded == ()


def test_an_alarm_belongs_to_faults_of_its_own_tray_alone() -> None:
    both = [BENCH, plan((0, BENCH.spans[0].stage), tray="tray-b")]
    dry = every_minute("relative_humidity", (0, 95), (62, 70), (120, 95), tray="tray-b")
    told = scored(
        truth(fault("cover left off", 60, 120)), [*every_minute("relative_humidity", (0, 95)), *dry], *both
    )
    assert only(told).result == WITHIN
    assert [one.tray for one in told.unneeded] == ["tray-b"]
    assert (told.unneeded_of("tray-a"), told.unneeded_of("tray-b")) == (0, 1)


# ----------------------------------------------------------------------- missed, and nothing to find


def chatter(times: int, beyond_min: int) -> list[Reading]:
    changes = [
        (60 + 10 * time + step, value)
        for time in range(times)
        for step, value in ((0, 70.0), (beyond_min, 95.0))
    ]
    return every_minute("relative_humidity", (0, 95), *changes)


@pytest.mark.parametrize(("beyond_min", "result"), [(5, WITHIN), (6, MISSED)])
def test_chatter_longer_in_all_than_the_limit_waits_is_missed(beyond_min: int, result: str) -> None:
    finding = only(scored(truth(fault("cover left off", 60, 120)), chatter(2, beyond_min)))
    assert finding.result == result
    assert finding.beyond_ms == minutes(2 * beyond_min)
    assert finding.out_of_band == (result == MISSED)
    assert finding.alarm is None
    assert late_min(finding) == (None, None)


def test_what_care_explains_is_not_missed() -> None:
    aired = [TrueCare("tray-a", "lifted", minutes(at), minutes(at + 2)) for at in (60, 70)]
    finding = only(scored(truth(fault("cover left off", 60, 120), care=aired), chatter(2, 6)))
    assert (finding.result, finding.beyond_ms) == (WITHIN, 0)


def test_care_of_another_tray_explains_nothing() -> None:
    aired = [TrueCare("tray-b", "lifted", minutes(at), minutes(at + 2)) for at in (60, 70)]
    finding = only(scored(truth(fault("cover left off", 60, 120), care=aired), chatter(2, 6)))
    assert finding.result == MISSED


def test_a_limit_on_the_other_side_makes_no_fault_missed() -> None:
    warm = every_minute("air_temperature", (0, 24), (60, 28), (120, 24))
    told = scored(truth(fault("heater dead", 60, 120)), warm)
    assert only(told).result == WITHIN
    assert len(told.unneeded) == 1


def test_a_fault_whose_alarm_stands_already_is_neither_found_nor_missed() -> None:
    dry = every_minute("relative_humidity", (0, 95), (60, 70))
    told = scored(truth(fault("cover left off", 60, 120), fault("cover cracked", 90, 150)), dry)
    assert [one.result for one in told.findings] == [FOUND, STANDING]
    assert (told.found, told.missed, told.count(STANDING)) == (1, 0, 1)


def test_chatter_after_the_alarm_that_stood_returned_is_missed() -> None:
    dry = every_minute(
        "relative_humidity", (0, 95), (60, 70), (82, 95), (100, 70), (106, 95), (110, 70), (116, 95)
    )
    told = scored(truth(fault("medium left dry", 60, 75), fault("cover cracked", 80, 150)), dry)
    assert [one.result for one in told.findings] == [FOUND, MISSED]


def explained(from_ms: int, to_ms: int, event: str) -> bool:
    care = TrueCare("tray-a", event, hours(10), hours(11))
    return explained_by_care(Excursion("tray-a", "relative_humidity", "low", from_ms, to_ms), [care])


@pytest.mark.parametrize(("event", "settling"), [("lifted", 45), ("misted", 45), ("watered", 90)])
def test_care_explains_what_lies_wholly_within_it_and_its_settling(event: str, settling: int) -> None:
    end_ms = hours(11) + minutes(settling)
    assert explained(hours(10), end_ms, event)
    assert not explained(hours(10) - 1, end_ms, event)
    assert not explained(hours(10), end_ms + 1, event)


# ------------------------------------------------------------------------------------- sensors


LISTENING = plan(
    (0, stage("callusing", relative_humidity=HUMID)),
    silent={"relative_humidity": minutes(10), "air_temperature": minutes(10)},
)


def silent_between(begin: int, end: int) -> list[Reading]:
    humid = every_minute("relative_humidity", (0, 95))
    return [one for one in humid if not minutes(begin) <= one.time_ms < minutes(end)]


@pytest.mark.parametrize(("lasts", "result"), [(13, WITHIN), (14, FOUND), (60, FOUND)])
def test_a_silent_sensor_is_found_when_it_lasts(lasts: int, result: str) -> None:
    true = truth(fault("sensor silent", 60, 60 + lasts, "relative_humidity"))
    finding = only(scored(true, silent_between(60, 60 + lasts), LISTENING))
    assert finding.result == result
    if finding.alarm:
        assert finding.alarm.condition == SENSOR_SILENT
        assert late_min(finding) == (14, None)
        assert finding.on_delay_ms is None


def test_a_silent_sensor_that_nobody_listens_for_is_missed() -> None:
    true = truth(fault("sensor silent", 60, 90, "relative_humidity"))
    assert only(scored(true, silent_between(60, 90))).result == MISSED


def test_the_silence_of_another_sensor_does_not_find_it() -> None:
    true = truth(fault("sensor silent", 60, 90, "air_temperature"))
    told = scored(true, silent_between(60, 90), LISTENING)
    assert only(told).result == MISSED
    assert len(told.unneeded) == 1


def test_a_sensor_that_was_silent_already_cannot_be_found_again() -> None:
    faults = [fault("sensor silent", at, 120, "relative_humidity") for at in (60, 90)]
    told = scored(truth(*faults), silent_between(60, 120), LISTENING)
    assert [one.result for one in told.findings] == [FOUND, STANDING]


@pytest.mark.parametrize(("refused_min", "result"), [((65,), FOUND), ((), MISSED), ((59,), STANDING)])
def test_an_implausible_sensor_must_be_told(refused_min: Sequence[int], result: str) -> None:
    marks = [(minutes(at), "tray-a", "relative_humidity") for at in refused_min]
    true = truth(fault("sensor implausible", 60, 70, "relative_humidity"))
    finding = only(scored(true, every_minute("relative_humidity", (0, 95)), refused=marks))
    assert finding.result == result
    if finding.alarm:
        assert finding.alarm.condition == SENSOR_IMPLAUSIBLE
        assert late_min(finding) == (5, None)


def test_a_sensor_s_fault_shows_in_what_is_derived_from_it() -> None:
    dry = plan((0, stage("callusing", vapour_pressure_deficit=high(0.4, 0, on_ms=minutes(10)))))
    readings = [
        *every_minute("air_temperature", (0, 24)),
        *every_minute("relative_humidity", (0, 95), (60, 60), (120, 95)),
    ]
    found = scored(truth(fault("sensor drifting", 60, 120, "relative_humidity")), readings, dry)
    assert only(found).result == FOUND
    assert late_min(only(found)) == (10, 10)
    other = scored(truth(fault("sensor drifting", 60, 120, "medium_moisture")), readings, dry)
    assert only(other).result == WITHIN
    assert len(other.unneeded) == 1


# -------------------------------------------------------------------------- what is judged, totals


def test_faults_of_trays_that_nobody_watches_are_left_out() -> None:
    strange = fault("cover left off", 60, 120, tray="tray-x")
    told = scored(truth(strange), every_minute("relative_humidity", (0, 95)))
    assert (told.findings, told.not_judged) == ((), (strange,))


def test_faults_of_a_time_without_readings_are_left_out() -> None:
    late = fault("cover left off", DAY_MIN, DAY_MIN + 60)
    told = scored(truth(late), every_minute("relative_humidity", (0, 95)))
    assert (told.findings, told.not_judged) == ((), (late,))


def test_unneeded_alarms_are_counted_by_tray_and_week() -> None:
    dry = every_minute("relative_humidity", (0, 95), (60, 70), (120, 95), (200, 70))
    told = scored(truth(), dry)
    assert [one.time_ms for one in told.unneeded] == [minutes(70), minutes(210)]
    assert told.tray_weeks["tray-a"] == pytest.approx(1 / 7, rel=1e-3)
    assert told.unneeded_per_tray_week == pytest.approx(14, rel=1e-3)


def test_a_tray_without_readings_is_no_tray_week() -> None:
    told = scored(
        truth(),
        every_minute("relative_humidity", (0, 95)),
        BENCH,
        plan((0, stage("callusing")), tray="tray-b"),
    )
    assert set(told.tray_weeks) == {"tray-a"}


def test_lateness_is_told_in_the_median_and_at_worst() -> None:
    dry = every_minute("relative_humidity", (0, 95), (70, 70), (120, 95))
    told = scored(truth(fault("cover left off", 60, 120), fault("heater stuck on", 65, 120)), dry)
    assert told.after_beginning == Lateness(minutes(17.5), minutes(20))
    assert told.after_limit == Lateness(minutes(10), minutes(10))


def test_without_anything_found_there_is_no_lateness() -> None:
    told = scored(truth(), every_minute("relative_humidity", (0, 95)))
    assert (told.after_beginning, told.after_limit) == (None, None)


def test_scores_of_two_weeks_are_one_score() -> None:
    dry = every_minute("relative_humidity", (0, 95), (62, 70), (120, 95))
    one, other = scored(truth(fault("cover left off", 60, 120)), dry), scored(truth(), dry)
    both = together([one, other])
    assert (both.found, len(both.unneeded)) == (1, 1)
    assert both.tray_weeks["tray-a"] == one.tray_weeks["tray-a"] + other.tray_weeks["tray-a"]
    assert together([]).unneeded_per_tray_week == 0


# ------------------------------------------------------------------------------ other readings


def why(from_ms: int, until_ms: int, *trays: str, true: Truth | None = None) -> str:
    return why_of_other_readings(
        true or truth(fault("cover left off", 60, 120)), Watch({}, trays, from_ms, until_ms)
    )


def test_a_truth_is_about_readings_stamped_up_to_two_hours_outside_its_time() -> None:
    end_ms = minutes(DAY_MIN) + hours(2)
    assert why(-hours(2), end_ms + 1, "tray-a") == ""
    assert why(-hours(2) - 1, end_ms + 1, "tray-a") == "they begin before it does"
    assert why(-hours(2), end_ms + 2, "tray-a") == "they end after it does"


def test_a_truth_of_other_trays_is_not_about_these_readings() -> None:
    assert why(0, 1, "tray-b") == "it is about 'tray-a', they are of 'tray-b'"
    both = truth(fault("cover left off", 60, 120), fault("cover left off", 60, 120, tray="tray-b"))
    assert why(0, 1, "tray-b", true=both) == "they hold nothing of 'tray-a'"


def test_a_truth_that_names_no_tray_is_about_any() -> None:
    assert why(0, 1, "tray-b", true=truth()) == ""
