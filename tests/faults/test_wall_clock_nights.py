"""Nights in which the clock on the wall is changed, leap days and year ends: light hours and stage days stay right.

When zones change is that of the IANA time zone database 2026f, written down here as instants and offsets; all else
is worked out from these by plain arithmetic, without any library of zones or calendars.
"""

from collections.abc import Iterator
from datetime import date, time, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

import pytest

from wardian.rules.crops import Band, Crop, Limit, Stage, day_of, day_start_ms, stage_spans
from wardian.rules.daily import day_due, first_instant_ms
from wardian.rules.engine import Engine
from wardian.rules.light_days import light_days
from wardian.rules.plans import LampRule, TrayPlan
from wardian.rules.readings import Points, Series, points
from wardian.rules.transitions import RAISED

MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS
DAY_MS = 24 * HOUR_MS
LUX = "illuminance"
AIR = "air_temperature"


class Night(NamedTuple):
    """A zone, the date and the UTC time of day [h] of a change, and its offsets before and after [min]."""

    zone: str
    year: int
    month: int
    day: int
    hour: float
    before: int
    after: int

    @property
    def at_ms(self) -> int:
        return days_since_1970(self.year, self.month, self.day) * DAY_MS + round(self.hour * HOUR_MS)


NIGHTS = [
    Night("America/New_York", 2026, 3, 8, 7, -300, -240),
    Night("America/New_York", 2026, 11, 1, 6, -240, -300),
    Night("Europe/Lisbon", 2026, 3, 29, 1, 0, 60),
    Night("Europe/Lisbon", 2026, 10, 25, 1, 60, 0),
    Night("Australia/Lord_Howe", 2026, 4, 4, 15, 660, 630),
    Night("Australia/Lord_Howe", 2026, 10, 3, 15.5, 630, 660),
    Night("Asia/Beirut", 2026, 3, 28, 22, 120, 180),
    Night("Asia/Beirut", 2026, 10, 24, 21, 180, 120),
    Night("Asia/Kolkata", 2026, 3, 8, 20, 330, 330),
    Night("Asia/Kolkata", 2026, 11, 1, 20, 330, 330),
]


def days_since_1970(year: int, month: int, day: int) -> int:
    """Return the number of a day: years begin in March, so that a leap day is the last of its year."""
    year -= month <= 2
    of_year = (153 * (month + (-3 if month > 2 else 9)) + 2) // 5 + day - 1
    return year * 365 + year // 4 - year // 100 + year // 400 + of_year - 719_468


def number_of(day: date) -> int:
    return days_since_1970(day.year, day.month, day.day)


def starts_ms(day: date, night: Night) -> int:
    """Return when a local date begins: at the midnight of the offset in force then, or where midnight was leapt over."""
    midnight_ms = number_of(day) * DAY_MS
    before_ms, after_ms = midnight_ms - night.before * MINUTE_MS, midnight_ms - night.after * MINUTE_MS
    if before_ms < night.at_ms:
        return before_ms
    return max(after_ms, night.at_ms)


def local_date(night: Night) -> date:
    """Return the date on the wall just before the change."""
    days = (night.at_ms - 1 + night.before * MINUTE_MS) // DAY_MS
    return date(1970, 1, 1) + timedelta(days=days)


def lit_ms(span: tuple[int, int]) -> int:
    """Return how long a lamp is lit in a time, whose timer has no clock to change: from 4 to 22 h UTC."""
    first = span[0] // DAY_MS * DAY_MS
    nights = range(first, span[1], DAY_MS)
    return sum(max(0, min(span[1], n + 22 * HOUR_MS) - max(span[0], n + 4 * HOUR_MS)) for n in nights)


def lamp(span: tuple[int, int]) -> Points:
    minutes = range(*span, MINUTE_MS)
    return points(minutes, [5000.0 if 4 <= at % DAY_MS / HOUR_MS < 22 else 0.0 for at in minutes])


def plan(night: Night, stuck: date, weaned_on_day: int) -> TrayPlan:
    light = Band("light_hours", (Limit("low", 18.0, 18.0, 0, 0), Limit("high", 18.0, 18.0, 0, 0)))
    air = Band(AIR, (Limit("high", 20.0, 19.5, 0, 0),))
    crop = Crop(
        "coleus", (Stage("callusing", 0, {"light_hours": light}), Stage("weaning", weaned_on_day, {AIR: air}))
    )
    spans = stage_spans(crop, stuck, ZoneInfo(night.zone))
    return TrayPlan("tray-a", spans, 5 * MINUTE_MS, lamp=LampRule(LUX, 1000.0, 900.0))


@pytest.mark.fault(20)
@pytest.mark.parametrize("night", NIGHTS, ids=lambda night: f"{night.zone} {night.month}")
@pytest.mark.parametrize("later", [0, 1, 2])
def test_light_hours_and_the_day_of_a_stage_are_exact_through_the_night(night: Night, later: int) -> None:
    """Exactly 18 h are neither too few nor too many in any 24 h; weaning begins with its date, to the millisecond."""
    stuck = local_date(night) - timedelta(days=2)
    begin_ms, end_ms = starts_ms(stuck, night) - 2 * DAY_MS, starts_ms(stuck, night) + 6 * DAY_MS
    engine = Engine([plan(night, stuck, 2 + later)])
    warm = points(range(begin_ms, end_ms, MINUTE_MS), [25.0] * ((end_ms - begin_ms) // MINUTE_MS))
    engine.feed({Series("tray-a", LUX): lamp((begin_ms, end_ms)), Series("tray-a", AIR): warm})
    told = [(one.event, one.quantity, one.time_ms) for one in engine.advance(end_ms)]
    assert told == [(RAISED, AIR, starts_ms(stuck + timedelta(days=2 + later), night))]


@pytest.mark.fault(20)
@pytest.mark.parametrize("night", NIGHTS, ids=lambda night: f"{night.zone} {night.month}")
def test_the_days_around_the_night_have_the_light_of_their_23_to_25_hours(night: Night) -> None:
    first = local_date(night) - timedelta(days=1)
    days = [first + timedelta(days=n) for n in range(4)]
    starts = [starts_ms(day, night) for day in days]
    read = {LUX: lamp((starts[0] - HOUR_MS, starts[-1]))}
    found = light_days(read, plan(night, first, 9), (starts[0], starts[-1]), ZoneInfo(night.zone))
    assert [one.day for one in found] == days[:-1]
    for one, begin_ms, end_ms in zip(found, starts, starts[1:], strict=False):
        assert (one.from_ms, one.to_ms) == (begin_ms, end_ms)
        assert one.lit_h * HOUR_MS == lit_ms((begin_ms, end_ms))
        assert one.lit_h + one.dark_h == (end_ms - begin_ms) / HOUR_MS
        assert one.unknown_h == 0


@pytest.mark.fault(20)
@pytest.mark.parametrize("night", NIGHTS, ids=lambda night: f"{night.zone} {night.month}")
def test_each_date_around_the_night_is_summed_up_once(night: Night) -> None:
    zone, last, told = ZoneInfo(night.zone), local_date(night) - timedelta(days=2), []
    for at_ms in range(night.at_ms - DAY_MS, night.at_ms + 2 * DAY_MS, 5 * MINUTE_MS):
        day = day_due(at_ms, time(7), zone, last)
        if day:
            told.append(day)
            last = day
    assert told == [told[0] + timedelta(days=n) for n in range(3)]


def years(first: int, last: int) -> Iterator[date]:
    day = date(first, 1, 1)
    while day.year <= last:
        yield day
        day += timedelta(days=1)


#: A day before a leap day and on it, the ends of years, and of those that have 53 weeks by ISO 8601 (2026, 2032).
STUCK = [date(2026, 1, 1), date(2026, 12, 31), date(2028, 2, 28), date(2028, 2, 29), date(2032, 12, 27)]


@pytest.mark.fault(21)
@pytest.mark.parametrize("zone", ["UTC", "Europe/Lisbon", "Asia/Kolkata", "America/New_York"])
@pytest.mark.parametrize("stuck", STUCK, ids=str)
def test_the_day_of_a_tray_is_counted_right_from_2026_to_2033(stuck: date, zone: str) -> None:
    where = ZoneInfo(zone)
    for day in years(2026, 2033):
        noon_ms = number_of(day) * DAY_MS + 16 * HOUR_MS  # day on the wall in each of these zones
        expected = number_of(day) - number_of(stuck)
        assert day_of(stuck, where, noon_ms) == expected
        start_ms = day_start_ms(day, where)
        assert (day_of(stuck, where, start_ms), day_of(stuck, where, start_ms - 1)) == (
            expected,
            expected - 1,
        )


@pytest.mark.fault(21)
def test_every_date_from_2026_to_2033_comes_once_for_the_daily_summary() -> None:
    zone, last = ZoneInfo("Europe/Lisbon"), date(2025, 12, 31)
    for day in years(2026, 2033):
        at_ms = first_instant_ms(day, time(7), zone)
        assert day_due(at_ms - 1, time(7), zone, last) is None
        assert day_due(at_ms, time(7), zone, last) == day
        last = day
