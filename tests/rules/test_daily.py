"""A time of the day comes once on each local date, through every change of clocks and every restart.

When zones change their clocks is that of the IANA time zone database (tzdata), read by zoneinfo.
"""

import random
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from wardian.rules.daily import day_before_first, day_due, first_instant_ms

DAYS = 3_650
FIRST = date(2018, 1, 1)
ZONES = [
    "America/New_York",
    "Europe/Lisbon",
    "Australia/Lord_Howe",  # half an hour
    "America/Santiago",  # at midnight
    "Asia/Beirut",  # at midnight
    "Asia/Kolkata",
]
TIMES = [time(7, 0), time(0, 0), time(2, 15), time(23, 30)]
HOUR_MS = 3_600_000


def ms(written: str) -> int:
    return (datetime.fromisoformat(written) - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(milliseconds=1)


@pytest.mark.parametrize(
    ("zone", "day", "at", "instant"),
    [
        # New York, 2026: clocks go on from 2:00 to 3:00 on 8 March, back from 2:00 to 1:00 on 1 November.
        ("America/New_York", "2026-03-08", time(2, 30), "2026-03-08T07:00:00+00:00"),
        ("America/New_York", "2026-03-08", time(7, 0), "2026-03-08T11:00:00+00:00"),
        ("America/New_York", "2026-11-01", time(1, 30), "2026-11-01T05:30:00+00:00"),
        ("America/New_York", "2026-11-01", time(7, 0), "2026-11-01T12:00:00+00:00"),
        # Beirut, 2026: midnight of 29 March is skipped.
        ("Asia/Beirut", "2026-03-29", time(0, 0), "2026-03-28T22:00:00+00:00"),
        ("Asia/Beirut", "2026-03-29", time(0, 59), "2026-03-28T22:00:00+00:00"),
        # Lord Howe, 2026: on by half an hour at 2:00 on 4 October.
        ("Australia/Lord_Howe", "2026-10-04", time(2, 10), "2026-10-03T15:30:00+00:00"),
        ("Asia/Kolkata", "2026-03-02", time(7, 0), "2026-03-02T01:30:00+00:00"),
        # Samoa left 30 December 2011 out.
        ("Pacific/Apia", "2011-12-30", time(7, 0), "2011-12-30T10:00:00+00:00"),
    ],
)
def test_a_time_on_the_wall_is_an_instant(zone: str, day: str, at: time, instant: str) -> None:
    assert first_instant_ms(date.fromisoformat(day), at, ZoneInfo(zone)) == ms(instant)


def seen_to(zone: ZoneInfo, at: time, rounds: list[int], chance: random.Random) -> list[tuple[int, date]]:
    """Return when which date was seen to; now and then the program begins anew, with what it kept."""
    kept: str | None = None
    last = day_before_first(rounds[0], at, zone)
    told = []
    for now_ms in rounds:
        if chance.random() < 0.2:
            last = date.fromisoformat(kept) if kept else day_before_first(now_ms, at, zone)
        day = day_due(now_ms, at, zone, last)
        if day is not None:
            told.append((now_ms, day))
            last = day
        kept = last.isoformat()
    return told


@pytest.mark.parametrize("at", TIMES, ids=str)
@pytest.mark.parametrize("name", ZONES)
def test_each_of_3650_days_is_seen_to_exactly_once(name: str, at: time) -> None:
    """Rounds are looked at just before and at each instant, and at odd times between."""
    zone, chance = ZoneInfo(name), random.Random(f"{name} {at}")
    instants = [first_instant_ms(FIRST + timedelta(days=n), at, zone) for n in range(DAYS + 1)]
    rounds = [instants[0] - HOUR_MS]
    for instant_ms in instants[1:]:
        between_ms = instant_ms - chance.randrange(2, 23 * HOUR_MS)
        rounds += [between_ms, instant_ms - 1, instant_ms]
    told = seen_to(zone, at, [rounds[0], instants[0], *rounds[1:]], chance)
    wanted = [FIRST + timedelta(days=n) for n in range(DAYS + 1)]
    assert [day for _, day in told] == wanted
    assert [now_ms for now_ms, _ in told] == instants


def test_a_day_whose_time_is_skipped_with_midnight_is_seen_to_just_after() -> None:
    """In Nuuk the clocks go from 23:00 on 30 March 2024 to midnight of the 31st (tzdata)."""
    zone, at = ZoneInfo("America/Nuuk"), time(23, 30)
    rounds = list(range(ms("2024-03-29T12:00:00+00:00"), ms("2024-04-02T12:00:00+00:00"), HOUR_MS // 2))
    told = seen_to(zone, at, rounds, random.Random(1))
    assert [day.isoformat() for _, day in told] == ["2024-03-29", "2024-03-30", "2024-03-31", "2024-04-01"]
    assert told[1][0] == ms("2024-03-31T01:00:00+00:00")


def test_a_date_that_was_never_on_the_calendar_is_not_seen_to() -> None:
    zone = ZoneInfo("Pacific/Apia")
    rounds = list(range(ms("2011-12-29T00:00:00+00:00"), ms("2012-01-01T06:00:00+00:00"), HOUR_MS))
    days = [day.isoformat() for _, day in seen_to(zone, time(7), rounds, random.Random(1))]
    assert days == ["2011-12-29", "2011-12-31", "2012-01-01"]


def test_who_is_back_on_the_same_date_makes_up_for_it_and_later_no_more() -> None:
    zone, at, last = ZoneInfo("Europe/Lisbon"), time(7), date(2026, 3, 1)
    assert day_due(ms("2026-03-02T06:59:59.999+00:00"), at, zone, last) is None
    assert day_due(ms("2026-03-02T23:59:59+00:00"), at, zone, last) == date(2026, 3, 2)
    assert day_due(ms("2026-03-03T00:00:00+00:00"), at, zone, last) is None
    assert day_due(ms("2026-03-03T07:00:00+00:00"), at, zone, last) == date(2026, 3, 3)


def test_a_clock_that_is_put_back_by_some_hours_makes_no_day_come_twice() -> None:
    zone, at = ZoneInfo("Europe/Lisbon"), time(7)
    assert day_due(ms("2026-03-02T00:10:00+00:00"), at, zone, date(2026, 3, 2)) is None
    assert day_due(ms("2026-03-01T22:00:00+00:00"), at, zone, date(2026, 3, 2)) is None


def test_a_clock_that_was_years_ahead_silences_nothing_once_it_is_right() -> None:
    zone, at = ZoneInfo("Europe/Lisbon"), time(7)
    assert day_due(ms("2026-03-02T07:00:00+00:00"), at, zone, date(2038, 1, 19)) == date(2026, 3, 2)


def test_who_begins_after_the_time_waits_for_the_next() -> None:
    zone, at = ZoneInfo("Europe/Lisbon"), time(7)
    assert day_before_first(ms("2026-03-02T06:00:00+00:00"), at, zone) == date(2026, 3, 1)
    assert day_before_first(ms("2026-03-02T08:00:00+00:00"), at, zone) == date(2026, 3, 2)
