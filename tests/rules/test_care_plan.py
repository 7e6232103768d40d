"""The plan of care: what is due on which day and in which round, once each, whatever the clocks do that night."""

from collections import Counter
from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from typing import Any, Final
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wardian.rules.care_done import Tended
from wardian.rules.care_given import EVENTS, Given
from wardian.rules.care_plan import Task, rounds_of, tasks_of
from wardian.rules.crops import Aim, Crop, Stage, day_start_ms, stage_spans

ROUNDS: Final = (time(8), time(13), time(18, 30))
LISBON: Final = ZoneInfo("Europe/Lisbon")
#: Clocks that leap by an hour, at midnight, by half an hour, over a whole date, and never.
ZONES: Final = (
    "Europe/Lisbon",
    "America/New_York",
    "America/Santiago",
    "Australia/Lord_Howe",
    "Pacific/Apia",
    "Asia/Kolkata",
)
STUCK: Final = date(2026, 3, 2)
STAGES: Final = (Stage("callusing", 0), Stage("rooting", 8), Stage("toning", 15))
COLEUS: Final = Crop("coleus", STAGES)


def tended(crop: Crop = COLEUS, stuck: date = STUCK, zone: ZoneInfo = LISBON, **more: Any) -> Tended:
    return Tended(crop, stuck, zone, stage_spans(crop, stuck, zone), **more)


def at(day: int, clock: str, zone: ZoneInfo = LISBON, stuck: date = STUCK) -> int:
    local = datetime.combine(stuck + timedelta(days=day), time.fromisoformat(clock), tzinfo=zone)
    return (local - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(milliseconds=1)


def planned(tray: Tended, day: int) -> list[Task]:
    return tasks_of(tray, STUCK + timedelta(days=day), ROUNDS)


def named(tray: Tended, day: int) -> list[tuple[str, str]]:
    """Return the tasks of a day: the clock time at which each is due, and its name."""
    found = []
    for one in planned(tray, day):
        local = datetime.fromtimestamp(one.at_ms / 1000, LISBON)
        found.append((f"{local:%H:%M}", one.name))
    return found


def task(tray: Tended, day: int, name: str, number: int = 1) -> Task:
    return next(one for one in planned(tray, day) if (one.name, one.number) == (name, number))


def words(one: Task) -> str:
    evidence = one.advice.words
    return evidence.words.format(*(f"{figure.number:g}" for figure in evidence.figures))


# ---------------------------------------------------------------------------------------- by day


@pytest.mark.parametrize(
    ("day", "tasks"),
    [
        (-1, []),
        (0, [("08:00", "stick")]),
        (1, [("08:00", "mist"), ("08:00", "water"), ("13:00", "mist"), ("18:30", "mist")]),
        (9, [("08:00", "mist"), ("08:00", "water"), ("08:00", "feed"), ("08:00", "callus")]),
        (15, [("08:00", "tone"), ("08:00", "water"), ("08:00", "roots")]),
        (16, [("08:00", "tone"), ("08:00", "water")]),
        (22, [("08:00", "water"), ("08:00", "pot")]),
        (40, [("08:00", "pot")]),
    ],
)
def test_a_day_has_the_tasks_of_its_stage(day: int, tasks: list[tuple[str, str]]) -> None:
    """A rooting tray is misted twice and aired in the evening; toning is opened for longer and not misted."""
    crop = Crop("coleus", STAGES, due_day=15, roots_days=(10, 14))
    found = named(tended(crop), day)
    more = [("13:00", "mist"), ("18:30", "air")] if day == 9 else []
    assert sorted(found) == sorted([*tasks, *more])


def test_what_was_not_done_waits_and_is_told_under_its_first_day() -> None:
    tray = tended()
    assert {task(tray, day, "roots").key for day in (10, 11, 12)} == {"2026-03-12/roots/1"}
    assert task(tray, 13, "roots").key == "2026-03-15/roots/1"
    assert task(tray, 30, "pot").day == STUCK + timedelta(days=21)
    assert task(tray, 30, "pot").at_ms == at(30, "08:00")


def test_a_crop_says_how_often_it_is_misted_and_when_it_is_fed_and_looked_at() -> None:
    stages = (Stage("callusing", 0, mistings=Aim(1, 2), feed_mg_l=Aim(40, 75)), *STAGES[1:])
    crop = Crop("mint", stages, due_day=14, roots_days=(5, 10), pot_day=18, feed_day=5)
    tray = tended(crop)
    assert [name for _, name in named(tray, 4)] == ["mist", "water", "callus", "mist", "air"]
    assert [name for _, name in named(tray, 5)] == ["mist", "water", "feed", "roots", "mist", "air"]
    assert "40 to 75 mg/l nitrogen" in words(task(tray, 5, "water"))
    assert "plain water of pH 5.5 to 6" in words(task(tray, 4, "water"))
    assert "pot" in {one.name for one in planned(tray, 18)} - {one.name for one in planned(tray, 17)}


def test_a_stage_that_wants_no_feed_puts_the_first_feed_off() -> None:
    stages = (Stage("callusing", 0, feed_mg_l=Aim(0, 0)), Stage("rooting", 12), Stage("toning", 25))
    tray = tended(Crop("poinsettia", stages, due_day=24, roots_days=(12, 18), feed_day=10))
    assert "feed" not in {one.name for day in range(12) for one in planned(tray, day)}
    assert "plain water" in words(task(tray, 11, "water"))
    assert task(tray, 12, "feed").day == STUCK + timedelta(days=12)
    never = tended(Crop("basil", (Stage("callusing", 0, feed_mg_l=Aim(0, 0)),)))
    assert "feed" not in {one.name for day in range(40) for one in planned(never, day)}


def test_slow_crops_are_looked_at_less_often() -> None:
    tray = tended(Crop("lavender", STAGES, due_day=35, roots_days=(14, 28)))
    looks = {one.day for day in range(40) for one in planned(tray, day) if one.name == "roots"}
    assert [(day - STUCK).days for day in sorted(looks)] == [14, 19, 24, 29, 34]


def test_a_batch_that_is_on_record_was_stuck() -> None:
    assert task(tended(begun_ms=at(0, "10:00")), 0, "stick").done_ms == at(0, "10:00")


def test_what_the_water_should_be_and_how_dry_it_may_get_come_from_the_stage() -> None:
    aims = {"water_ph": Aim(5.8, 6.2), "water_ec": Aim(high=0.9), "water_lost": Aim(high=20)}
    stages = (Stage("callusing", 0, aims=aims), *STAGES[1:])
    said = words(task(tended(Crop("petunia", stages, feed_day=3)), 3, "water"))
    assert said == (
        "water when 20 % of its water is gone, with weak feed: 50 to 75 mg/l nitrogen, pH 5.8 to 6.2, "
        "EC at most 0.9 mS/cm"
    )


def test_a_crop_that_rots_when_wet_waits_longer_for_water() -> None:
    assert "when 33 %" in words(task(tended(), 2, "water"))
    assert "when 50 %" in words(task(tended(Crop("rosemary", STAGES, is_dry=True)), 2, "water"))


def test_toning_opens_the_cover_for_longer_over_a_week() -> None:
    said = [words(task(tended(), day, "tone")).partition(",")[0] for day in range(15, 22)]
    hours = ["1 h", "1 h", "3 h", "3 h", "half the day", "the whole day", "the whole day"]
    assert said == [f"leave the cover off for {one}" for one in hours]
    assert "tone" not in {one.name for one in planned(tended(), 22)}


def test_stages_that_were_moved_by_hand_move_their_tasks() -> None:
    early = stage_spans(Crop("coleus", (STAGES[0], Stage("toning", 4))), STUCK, LISBON)
    tray = Tended(COLEUS, STUCK, LISBON, early)
    assert "tone" in {one.name for one in planned(tray, 4)}
    assert "mist" not in {one.name for one in planned(tray, 4)}


def test_a_stage_of_an_unknown_name_goes_by_the_day() -> None:
    tray = tended(Crop("mint", (Stage("all", 0),)))
    assert [sum(one.name == "mist" for one in planned(tray, day)) for day in (1, 9, 16)] == [3, 2, 0]
    assert words(task(tray, 17, "tone")).startswith("leave the cover off for 3 h")


def test_the_full_tray_is_weighed_only_where_there_is_a_balance() -> None:
    assert "weigh" not in {one.name for one in planned(tended(), 0)}
    assert task(tended(has_balance=True), 0, "weigh").done_ms is None
    weighed = tended(has_balance=True, weighed_ms=at(0, "11:00"))
    assert task(weighed, 0, "weigh").done_ms == at(0, "11:00")


def test_a_crop_that_is_eaten_is_stuck_with_a_word_about_hormones() -> None:
    assert (
        "will be eaten" in task(tended(Crop("basil", STAGES, is_eaten=True)), 0, "stick").advice.caution.words
    )
    assert "will be eaten" not in task(tended(), 0, "stick").advice.caution.words
    assert "within 6 h" in words(task(tended(Crop("fuchsia", STAGES, stick_within_h=6)), 0, "stick"))


@pytest.mark.parametrize(
    "crop", [COLEUS, Crop("lavender", STAGES, due_day=35, roots_days=(14, 28), pot_day=40)]
)
def test_every_task_says_something_and_where_it_is_from(crop: Crop) -> None:
    for day in range(45):
        for one in planned(tended(crop, has_balance=True), day):
            assert words(one)
            assert one.advice.source


# ---------------------------------------------------------------------------------------- done


def given_at(day: int, clock: str, event: str, **more: Any) -> Given:
    return Given(event, at(day, clock), **more)


@pytest.mark.parametrize(
    ("clock", "number"),
    [("00:00", 1), ("06:00", 1), ("10:29", 1), ("10:30", 2), ("15:44", 2), ("15:45", 3), ("23:59", 3)],
)
def test_a_misting_counts_for_the_round_that_it_is_nearest_to(clock: str, number: int) -> None:
    tray = tended(given=(given_at(3, clock, "misted"),))
    done = [one.number for one in planned(tray, 3) if one.name == "mist" and one.done_ms is not None]
    assert done == [number]
    assert not any(one.done_ms for day in (2, 4) for one in planned(tray, day))


def test_a_lifted_cover_stands_for_a_mist_where_it_shows_and_for_airing_where_it_was_recorded() -> None:
    seen, said = given_at(3, "08:05", "lifted", is_recorded=False), given_at(3, "08:05", "lifted")
    assert task(tended(given=(seen,)), 3, "mist").done_ms == at(3, "08:05")
    assert task(tended(given=(said,)), 3, "mist").done_ms is None
    assert task(tended(given=(given_at(9, "18:35", "lifted"),)), 9, "air").done_ms == at(9, "18:35")


def test_what_is_done_once_is_on_the_day_it_was_done_and_then_no_more() -> None:
    tray = tended(given=(given_at(11, "09:00", "looked", looks=("no-roots",)),))
    assert task(tray, 10, "roots").done_ms == at(11, "09:00")
    assert task(tray, 11, "roots").done_ms == at(11, "09:00")
    assert "roots" not in {one.name for one in planned(tray, 12)}
    assert task(tray, 13, "roots").done_ms is None


def test_roots_that_were_found_are_not_looked_for_again() -> None:
    found = (given_at(10, "09:00", "looked", looks=("roots",)),)
    tray = tended(given=found, rooted_ms=at(10, "09:00"))
    assert all("roots" not in {one.name for one in planned(tray, day)} for day in range(11, 20))


def test_who_fed_early_is_not_asked_for_a_first_feed() -> None:
    tray = tended(given=(given_at(5, "09:00", "fed"),))
    assert all("feed" not in {one.name for one in planned(tray, day)} for day in range(12))


def test_a_tray_that_was_potted_on_has_no_tasks() -> None:
    """On the day itself there is what was done or left out before."""
    tray = tended(given=(given_at(12, "09:00", "watered"),), closed_ms=at(12, "12:00"))
    assert [(one.name, one.done_ms is not None) for one in planned(tray, 12)] == [
        ("mist", True),
        ("water", True),
    ]
    assert [one.name for one in planned(tended(closed_ms=at(12, "12:00")), 12)] == ["mist"]
    assert planned(tray, 13) == []


# ---------------------------------------------------------------------------------- every night


days = st.dates(date(2026, 1, 1), date(2027, 12, 31))


@given(st.sampled_from(ZONES), days, st.integers(0, 40))
def test_every_task_of_a_date_is_there_once_in_every_zone(zone: str, stuck: date, day: int) -> None:
    tray = tended(stuck=stuck, zone=ZoneInfo(zone))
    found = tasks_of(tray, stuck + timedelta(days=day), ROUNDS)
    assert not found or max(Counter(one.key for one in found).values()) == 1
    assert all(one.from_ms <= one.at_ms < one.to_ms for one in found)
    mistings = {0: 0, 1: 3, 2: 2, 3: 0}[0 if day == 0 else 1 if day < 8 else 2 if day < 15 else 3]
    assert sum(one.name == "mist" for one in found) == mistings
    assert sum(one.name == "water" for one in found) == (0 < day <= 35)


@given(st.sampled_from(ZONES), days, st.lists(st.integers(0, 5), min_size=1, max_size=6, unique=True))
def test_the_rounds_of_a_day_fill_it_without_a_gap(zone: str, day: date, hours: Sequence[int]) -> None:
    where = ZoneInfo(zone)
    found = rounds_of(day, [time(4 * hour) for hour in sorted(hours)], where)
    assert len(found) == len(hours)
    assert found[0].from_ms == day_start_ms(day, where)
    assert found[-1].to_ms == day_start_ms(day + timedelta(days=1), where)
    assert all(one.to_ms == other.from_ms for one, other in pairwise(found))


def test_a_date_that_a_zone_left_out_has_no_rounds_and_rounds_in_one_leap_are_one() -> None:
    apia = ZoneInfo("Pacific/Apia")
    assert rounds_of(date(2011, 12, 30), ROUNDS, apia) == []
    lisbon = rounds_of(date(2026, 3, 29), (time(1), time(1, 30), time(8)), LISBON)
    assert len(lisbon) == 2


@given(
    st.integers(0, 30),
    st.lists(st.tuples(st.integers(0, 30 * 1440), st.sampled_from(list(EVENTS)), st.booleans()), max_size=12),
)
def test_care_takes_tasks_away_and_never_adds_one(day: int, care: list[tuple[int, str, bool]]) -> None:
    begin_ms = day_start_ms(STUCK, LISBON)
    done = sorted(
        (Given(event, begin_ms + minute * 60_000, recorded) for minute, event, recorded in care),
        key=lambda one: one.from_ms,
    )
    before = {one.key: one for one in planned(tended(), day)}
    after = {one.key: one for one in planned(tended(given=tuple(done)), day)}
    assert after.keys() <= before.keys()
    times = {one.from_ms for one in done}
    assert all(one.done_ms is None or one.done_ms in times for one in after.values())
    daily = [key for key, one in before.items() if one.name in ("mist", "air", "water", "tone")]
    assert set(daily) <= after.keys()
