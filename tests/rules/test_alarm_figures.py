"""What the alarm system asks of people: each figure on both sides of its edge, and all against a naive count."""

from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wardian.rules.alarm_figures import (
    ACKNOWLEDGED,
    CHATTERING_RAISES,
    DAY_MS,
    FLOOD_ABOVE,
    FLOOD_ENDS_BELOW,
    MINUTE_MS,
    STALE_AFTER_MS,
    TEN_MINUTES_MS,
    AlarmEvent,
    AlarmFigures,
    alarm_figures,
)
from wardian.rules.alarm_targets import FREQUENT_JUDGED_FROM, TARGETS, met
from wardian.rules.ports import Alarm
from wardian.rules.transitions import RAISED, RETURNED

SECOND_MS = 1000
HOUR_MS = 3_600_000
COLD = Alarm("tray-a", "medium_temperature", "low")
DRY = Alarm("tray-b", "relative_humidity", "low")


def event(time_ms: int, what: str = RAISED, alarm: Alarm = COLD, priority: str = "medium") -> AlarmEvent:
    return AlarmEvent(time_ms, alarm, what, alarm.condition, priority)


def raises(*times_ms: int, alarm: Alarm = COLD) -> list[AlarmEvent]:
    """Return an alarm that was raised at some times and returned a millisecond later."""
    return [event(at + later, what, alarm) for at in times_ms for later, what in ((0, RAISED), (1, RETURNED))]


def burst(count: int, from_ms: int = 0, apart_ms: int = SECOND_MS) -> list[AlarmEvent]:
    """Return raises of as many different alarms."""
    return [
        event(from_ms + n * apart_ms, alarm=Alarm(f"tray-{n}", "dew_point", "high")) for n in range(count)
    ]


def figures(
    events: Sequence[AlarmEvent], to_ms: int = DAY_MS, from_ms: int = 0, trays: int = 2
) -> AlarmFigures:
    return alarm_figures(events, (from_ms, to_ms), trays)


# --------------------------------------------------------------------------------------------- rates


def test_only_raises_count_and_only_those_of_the_period() -> None:
    told = [event(-1), event(0), event(1, RETURNED), event(999, alarm=DRY), event(1000, alarm=DRY)]
    assert figures(told, to_ms=1000).alarms == 2


def test_rates_are_of_the_whole_period() -> None:
    of_two_days = figures(raises(*(n * HOUR_MS for n in range(6))), to_ms=2 * DAY_MS)
    assert (of_two_days.days, of_two_days.alarms) == (2.0, 6)
    assert of_two_days.per_day == 3.0
    assert of_two_days.per_day_and_tray == 1.5
    assert of_two_days.per_ten_minutes == pytest.approx(6 / 288)


def test_a_quiet_period_has_rates_of_nothing_and_no_shares() -> None:
    quiet = figures([])
    assert (quiet.alarms, quiet.per_day, quiet.most_in_ten_minutes, quiet.flood_pct) == (0, 0.0, 0, 0.0)
    assert (quiet.low_pct, quiet.frequent_pct, quiet.median_answer_ms) == (None, None, None)
    assert {met(quiet, name) for name in ("low_pct", "frequent_pct", "median_answer_ms", "alarms")} == {None}


def test_shares_of_priorities_are_of_all_alarms() -> None:
    told = [event(n, priority=name) for n, name in enumerate(["low"] * 16 + ["medium"] * 3 + ["high"])]
    shares = figures(told)
    assert (shares.low_pct, shares.medium_pct, shares.high_pct) == (80.0, 15.0, 5.0)
    assert {met(shares, name) for name in ("low_pct", "medium_pct", "high_pct")} == {True}
    less = figures([*told, event(20, priority="high")])
    assert [met(less, name) for name in ("low_pct", "medium_pct", "high_pct")] == [False, True, False]


# ------------------------------------------------------------------------------ ten minutes and floods


@pytest.mark.parametrize(("last_ms", "most"), [(TEN_MINUTES_MS - 1, 2), (TEN_MINUTES_MS, 1)])
def test_the_worst_ten_minutes_lie_anywhere(last_ms: int, most: int) -> None:
    begin_ms = TEN_MINUTES_MS - 5
    assert figures(raises(begin_ms, begin_ms + last_ms)).most_in_ten_minutes == most


def test_the_worst_ten_minutes_do_not_reach_out_of_the_period() -> None:
    assert figures([*burst(5, -4000), *burst(2, 1000)]).most_in_ten_minutes == 3


@pytest.mark.parametrize(("count", "crowded"), [(10, 0), (11, 1)])
def test_a_period_of_ten_minutes_is_crowded_above_ten_alarms(count: int, crowded: int) -> None:
    one = figures(burst(count), to_ms=HOUR_MS)
    assert (one.crowded_periods, one.periods) == (crowded, 6)
    assert one.crowded_pct == pytest.approx(100 * crowded / 6)


def test_periods_of_ten_minutes_begin_with_the_period_and_the_last_may_be_short() -> None:
    begin_ms = 7 * MINUTE_MS
    told = burst(11, begin_ms + TEN_MINUTES_MS)
    assert figures(told, begin_ms + TEN_MINUTES_MS + 30_000, begin_ms).periods == 2
    assert figures(told, begin_ms + TEN_MINUTES_MS + 30_000, begin_ms).crowded_periods == 1
    assert figures(told, begin_ms + TEN_MINUTES_MS, begin_ms).periods == 1
    split = burst(11, begin_ms + TEN_MINUTES_MS - 5 * SECOND_MS)
    assert figures(split, from_ms=begin_ms).crowded_periods == 0
    assert figures(split, from_ms=begin_ms).most_in_ten_minutes == 11


@pytest.mark.parametrize(
    ("count", "floods"),
    # Begins with the eleventh, ends when the seventh leaves the ten minutes and four are left.
    [(10, ()), (11, ((10 * SECOND_MS, TEN_MINUTES_MS + 6 * SECOND_MS),))],
)
def test_a_flood_begins_above_ten_alarms_in_ten_minutes_and_ends_below_five(
    count: int, floods: tuple[tuple[int, int], ...]
) -> None:
    one = figures(burst(count))
    assert one.floods == floods
    lasts_ms = sum(to_ms - from_ms for from_ms, to_ms in floods)
    assert one.flood_pct == pytest.approx(100 * lasts_ms / DAY_MS)


def test_five_alarms_in_ten_minutes_keep_a_flood_going() -> None:
    begun = burst(11, apart_ms=0)
    trickle = [event(n * 2 * MINUTE_MS + 1, alarm=DRY) for n in range(30)]
    ((from_ms, to_ms),) = figures([*begun, *trickle]).floods
    assert (from_ms, to_ms) == (0, 29 * 2 * MINUTE_MS + 1 + TEN_MINUTES_MS - 8 * MINUTE_MS)
    slower = [event(n * 150 * SECOND_MS + 1, alarm=DRY) for n in range(30)]
    assert figures([*begun, *slower]).floods == ((0, TEN_MINUTES_MS),)


def test_a_flood_is_cut_to_the_period() -> None:
    told = burst(11, apart_ms=0)
    assert figures(told, from_ms=MINUTE_MS, to_ms=2 * MINUTE_MS).floods == ((MINUTE_MS, 2 * MINUTE_MS),)
    assert figures(told, from_ms=MINUTE_MS, to_ms=2 * MINUTE_MS).flood_pct == 100.0
    assert figures(told, from_ms=TEN_MINUTES_MS - 1).floods == ((TEN_MINUTES_MS - 1, TEN_MINUTES_MS),)
    assert figures(told, from_ms=TEN_MINUTES_MS).floods == ()
    assert figures(told, from_ms=-1, to_ms=0).floods == ()


# -------------------------------------------------------------------------------------- single alarms


def test_the_ten_most_frequent_are_told_apart_by_tray_quantity_and_limit() -> None:
    other_tray, other_limit = COLD._replace(tray="tray-c"), COLD._replace(condition="low_low")
    told = [*raises(0, 10, 20), *raises(5, alarm=other_tray), *raises(6, 7, alarm=other_limit)]
    assert [(one.alarm, one.raises) for one in figures(told).frequent] == [
        (COLD, 3),
        (other_limit, 2),
        (other_tray, 1),
    ]


def test_the_share_of_the_ten_most_frequent_is_of_all_raises() -> None:
    twelve = [*burst(12), *raises(*range(100, 160, 2), alarm=COLD)]
    one = figures(twelve)
    assert len(one.frequent) == 10
    assert len(one.raised) == 13
    assert one.frequent_pct == pytest.approx(100 * (30 + 9) / 42)


@pytest.mark.parametrize(("different", "verdict"), [(199, None), (200, True)])
def test_the_most_frequent_are_judged_only_where_the_target_can_be_met(
    different: int, verdict: bool | None
) -> None:
    assert 10 * 100 / TARGETS["frequent_pct"].limit == FREQUENT_JUDGED_FROM
    one = figures(burst(different))
    assert met(one, "frequent_pct") is verdict
    assert one.frequent_pct is not None
    assert (one.frequent_pct <= TARGETS["frequent_pct"].limit) == (verdict is True)


@pytest.mark.parametrize(("third_ms", "chattering"), [(MINUTE_MS - 1, [COLD]), (MINUTE_MS, [])])
def test_an_alarm_chatters_that_is_raised_three_times_in_a_minute(
    third_ms: int, chattering: list[Alarm]
) -> None:
    one = figures(raises(0, 30_000, third_ms))
    assert [chatters.alarm for chatters in one.chattering] == chattering
    assert one.chattering_alarms == len(chattering)


def test_three_alarms_in_a_minute_are_no_chattering_of_one() -> None:
    assert figures([*raises(0, 2000), *raises(1000, alarm=DRY)]).chattering == ()


@pytest.mark.parametrize(("lasts_ms", "stale"), [(DAY_MS, 0), (DAY_MS + 1, 1)])
def test_an_alarm_is_stale_that_stands_longer_than_a_day(lasts_ms: int, stale: int) -> None:
    one = figures([event(5), event(5 + lasts_ms, RETURNED)], to_ms=3 * DAY_MS)
    assert len(one.stale) == stale
    assert one.most_stale_in_a_day == stale


def test_an_alarm_that_still_stands_is_stale_when_the_period_ends_later_than_a_day() -> None:
    assert figures([event(0)], to_ms=DAY_MS).stale == ()
    (one,) = figures([event(0)], to_ms=DAY_MS + 1).stale
    assert (one.alarm, one.from_ms, one.to_ms) == (COLD, 0, DAY_MS + 1)


def test_an_alarm_raised_before_the_period_is_stale_as_long_as_it_stands_in_it() -> None:
    told = [event(-2 * DAY_MS), event(10, RETURNED)]
    assert len(figures(told, from_ms=9).stale) == 1
    assert figures(told, from_ms=10).stale == ()


def test_a_return_and_a_new_raise_at_one_instant_break_the_time_that_an_alarm_stood() -> None:
    """Whichever of the two the journal prints first; by itself such a pair leaves nothing standing."""
    at_once = [event(DAY_MS), event(DAY_MS, RETURNED)]
    for pair in (at_once, at_once[::-1]):
        assert figures([event(0), *pair], to_ms=2 * DAY_MS).stale == ()
        assert len(figures([event(0), *pair], to_ms=2 * DAY_MS + 1).stale) == 1
    assert figures(at_once, to_ms=9 * DAY_MS).stale == ()


@pytest.mark.parametrize(("gap_ms", "most"), [(DAY_MS - 1, 2), (DAY_MS, 1)])
def test_stale_alarms_of_one_day_need_not_stand_at_the_same_time(gap_ms: int, most: int) -> None:
    """The second turns stale some time after the first has returned."""
    ends_ms = 2 * DAY_MS
    told = [event(0), event(ends_ms, RETURNED), event(ends_ms - DAY_MS + gap_ms, alarm=DRY)]
    assert figures(told, to_ms=9 * DAY_MS).most_stale_in_a_day == most


# ---------------------------------------------------------------------------------------- answers


def test_the_time_to_acknowledge_is_from_the_last_raise() -> None:
    told = [
        event(0),
        event(1000, alarm=DRY),
        event(4000, RETURNED),
        event(6000, alarm=COLD),
        event(9000, ACKNOWLEDGED),
        event(9500, ACKNOWLEDGED),
        event(11_000, ACKNOWLEDGED, DRY),
    ]
    one = figures(told)
    assert one.answers_ms == (3000, 10_000)
    assert one.median_answer_ms == 6500


def test_only_what_was_raised_and_acknowledged_in_the_period_counts_as_answered() -> None:
    told = [event(0), event(5000, ACKNOWLEDGED)]
    assert figures(told, to_ms=5001).answers_ms == (5000,)
    assert figures(told, to_ms=5000).answers_ms == ()
    assert figures(told, from_ms=1).answers_ms == ()


def test_an_act_of_a_clock_that_was_set_back_took_no_time() -> None:
    assert figures([event(1000), event(400, ACKNOWLEDGED)]).answers_ms == (0,)


# ---------------------------------------------------------------------------------------- targets


def test_every_target_is_of_a_figure() -> None:
    assert [name for name in TARGETS if not hasattr(AlarmFigures, name)] == []


@pytest.mark.parametrize(("raised", "verdict"), [(144, True), (145, False)])
def test_one_alarm_in_ten_minutes_is_met_exactly(raised: int, verdict: bool) -> None:
    assert met(figures(raises(*range(0, raised * 1000, 1000))), "per_ten_minutes") is verdict


@pytest.mark.parametrize(("raised", "verdict"), [(1, True), (2, False)])
def test_one_alarm_a_day_and_tray_is_one_too_many(raised: int, verdict: bool) -> None:
    assert met(figures(raises(*range(0, raised * 10, 10)), trays=2), "per_day_and_tray") is verdict


@pytest.mark.parametrize(("days", "verdict"), [(30, True), (29, False)])
def test_figures_of_less_than_thirty_days_are_said_to_be_few(days: int, verdict: bool) -> None:
    assert met(figures([], to_ms=days * DAY_MS), "days") is verdict


# --------------------------------------------------------------------------------- against a naive count

#: Multiples of half a minute, so that windows are touched at their edges.
STEP_MS = 30_000
ALARMS = [Alarm(f"tray-{n}", "dew_point", "high") for n in range(12)]


@st.composite
def journals(draw: st.DrawFn) -> list[AlarmEvent]:
    """Alarms that are raised, returned and acknowledged, in bursts and with days between."""
    told: list[AlarmEvent] = []
    time_ms = 0
    standing: set[Alarm] = set()
    for _ in range(draw(st.integers(0, 4))):
        time_ms += draw(st.sampled_from([1, 18, 19, 20, 21, 1440, 2879, 2880, 2881])) * STEP_MS
        gaps = st.sampled_from(draw(st.sampled_from([(0,), (0, 1), (0, 0, 0, 1, 2), (1, 3)])))
        some = st.sampled_from(draw(st.sampled_from([ALARMS[:1], ALARMS[:3], ALARMS])))
        for alarm in draw(st.lists(some, min_size=draw(st.sampled_from([1, 20])), max_size=40)):
            time_ms += draw(gaps) * STEP_MS
            ends = [RETURNED, RETURNED, RETURNED, ACKNOWLEDGED]
            what = draw(st.sampled_from(ends)) if alarm in standing else RAISED
            if what != ACKNOWLEDGED:
                standing ^= {alarm}
            told.append(event(time_ms, what, alarm, draw(st.sampled_from(["low", "medium", "high"]))))
    return told


@st.composite
def periods(draw: st.DrawFn) -> tuple[list[AlarmEvent], tuple[int, int]]:
    """Return a journal and two instants, about where something happens in it or long before and after."""
    told = draw(journals())
    times = [*{one.time_ms for one in told}, 0]
    near, far = st.integers(-20, 20), st.sampled_from([-3000, -1, 0, 1, 3000])
    from_ms, to_ms = sorted(draw(st.sampled_from(times)) + draw(near | far) * STEP_MS for _ in range(2))
    return told, (from_ms, to_ms + STEP_MS)


def flood_by_walking(times_ms: Sequence[int], within: tuple[int, int]) -> int:
    """How long there was a flood, looking at every step of the grid on which all happens."""
    total_ms = 0
    is_flood = False
    first_ms = min([within[0], *times_ms])
    for now_ms in range(first_ms, within[1], STEP_MS):
        count = sum(now_ms - TEN_MINUTES_MS < one <= now_ms for one in times_ms)
        is_flood = count >= FLOOD_ENDS_BELOW if is_flood else count > FLOOD_ABOVE
        total_ms += STEP_MS * (is_flood and now_ms >= within[0])
    return total_ms


def stood(told: Sequence[AlarmEvent], alarm: Alarm, end_ms: int) -> list[tuple[int, int]]:
    times = [one.time_ms for one in told if one.alarm == alarm and one.event != ACKNOWLEDGED]
    if len(times) % 2:
        times.append(end_ms)
    return list(zip(times[::2], times[1::2], strict=True))


@given(periods())
@settings(max_examples=200, deadline=None)
def test_figures_are_those_of_a_naive_count(period: tuple[list[AlarmEvent], tuple[int, int]]) -> None:
    told, (from_ms, to_ms) = period
    ours = figures(told, to_ms, from_ms)
    before_end = [one for one in told if one.time_ms < to_ms]
    inside = [one for one in before_end if one.event == RAISED and one.time_ms >= from_ms]
    times = [one.time_ms for one in inside]
    assert ours.alarms == len(inside)
    assert dict(ours.by_priority) == Counter(one.priority for one in inside)
    assert ours.most_in_ten_minutes == max(
        (sum(0 <= one - first < TEN_MINUTES_MS for one in times) for first in times), default=0
    )
    grid = [*range(from_ms, to_ms, TEN_MINUTES_MS), to_ms]
    counts = [sum(begin <= one < end for one in times) for begin, end in pairwise(grid)]
    assert (ours.crowded_periods, ours.periods) == (sum(count > 10 for count in counts), len(counts))
    every = [one.time_ms for one in before_end if one.event == RAISED]
    assert sum(end - begin for begin, end in ours.floods) == flood_by_walking(every, (from_ms, to_ms))
    of_alarm = {alarm: [one.time_ms for one in inside if one.alarm == alarm] for alarm in ALARMS}
    assert {one.alarm: one.raises for one in ours.raised} == {
        alarm: len(of) for alarm, of in of_alarm.items() if of
    }
    assert [one.raises for one in ours.raised] == sorted(
        map(len, filter(None, of_alarm.values())), reverse=True
    )
    assert {one.alarm for one in ours.chattering} == {
        alarm
        for alarm, of in of_alarm.items()
        if any(sum(0 <= one - first < MINUTE_MS for one in of) >= CHATTERING_RAISES for first in of)
    }
    stale = [
        (alarm, *span)
        for alarm in ALARMS
        for span in stood(before_end, alarm, to_ms)
        if span[1] - span[0] > STALE_AFTER_MS and span[1] > from_ms
    ]
    assert {(one.alarm, one.from_ms, one.to_ms) for one in ours.stale} == set(stale)
    assert ours.most_stale_in_a_day == most_stale(stale, from_ms, to_ms)


def most_stale(stale: Sequence[tuple[Alarm, int, int]], from_ms: int, to_ms: int) -> int:
    """Count in every day that begins or ends where something changes."""
    parts = [(max(begin + STALE_AFTER_MS, from_ms), end) for _, begin, end in stale]
    lasts = {now_ms for part in parts for now_ms in (*part, part[1] + DAY_MS - 1)} | {to_ms}
    return max(
        (sum(begin <= last and end > last - DAY_MS for begin, end in parts) for last in lasts), default=0
    )
