"""Ticks by the clock on the wall, also on the days on which it is changed, and axes that hold all there is."""

from datetime import date
from zoneinfo import ZoneInfo

import pytest
from pictured import DAY_MS, SPAN, ZONE, day, pictured, with_value

from wardian.daemon.picture_scale import reach, ticks, unit_of
from wardian.daemon.tongue import Tongue
from wardian.rules.crops import day_start_ms

HOUR_MS = 3_600_000


def words_of(span: tuple[int, int], zone: ZoneInfo = ZONE, width: float = 900) -> list[str]:
    return [tick.words for tick in ticks(span, zone, width)]


def test_a_day_has_its_date_and_every_third_hour() -> None:
    assert words_of(SPAN) == ["Tue 3 Mar", "03:00", "06:00", "09:00", "12:00", "15:00", "18:00", "21:00"]


@pytest.mark.parametrize(("changed", "hours"), [(date(2026, 3, 29), 23), (date(2026, 10, 25), 25)])
def test_hours_are_those_of_the_clock_where_it_is_set_forward_or_back(changed: date, hours: int) -> None:
    from_ms = day_start_ms(changed, ZONE)
    found = ticks((from_ms, from_ms + hours * HOUR_MS), ZONE, 900)
    assert [tick.words for tick in found if tick.is_midnight] == [f"{changed:%a} {changed.day} {changed:%b}"]
    assert [tick.words for tick in found][-1] == "21:00"
    assert found[-1].time_ms == from_ms + (hours - 3) * HOUR_MS


def test_a_zone_with_a_quarter_hour_has_full_hours_of_its_own() -> None:
    kathmandu = ZoneInfo("Asia/Kathmandu")
    from_ms = day_start_ms(date(2026, 3, 3), kathmandu)
    assert words_of((from_ms, from_ms + 6 * HOUR_MS), kathmandu)[:3] == ["Tue 3 Mar", "01:00", "02:00"]


def test_of_many_days_so_many_are_named_as_there_is_room_for() -> None:
    every = ticks((SPAN[0], SPAN[0] + 20 * DAY_MS), ZONE, 620)
    assert len(every) == 20
    assert [place for place, tick in enumerate(every) if tick.words] == list(range(0, 20, 2))


def test_an_axis_holds_every_reading_and_every_inner_limit_in_the_unit_of_the_site() -> None:
    panel = pictured(with_value(day(), "air_temperature", 700, 35.0), fahrenheit=True).panels[0]
    low, high = reach(Tongue(ZONE, fahrenheit=True), panel)
    assert low < 75
    assert high > 95
    assert unit_of(Tongue(ZONE, fahrenheit=True), "air_temperature") == "°F"
    assert unit_of(Tongue(ZONE), "air_temperature") == "°C"


def test_nearly_saturated_air_has_an_axis_up_to_saturation() -> None:
    panel = next(one for one in pictured(day(relative_humidity=90.0)).panels if one.name == "humidity")
    assert reach(Tongue(ZONE), panel)[1] > 100
