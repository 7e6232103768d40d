"""Light day by day: what was seen, what was not, and how it adds up."""

from dataclasses import replace
from datetime import UTC, date
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from case_terms import hours, plan
from hypothesis import given
from hypothesis import strategies as st

from wardian.rules.light_days import LightDay, day_around_ms, light_days, lit_spans
from wardian.rules.plans import LampRule, TrayPlan
from wardian.rules.readings import Points, points

LUX = LampRule("illuminance", 1000, 900)
DAY_MS = hours(24)
TRAY = plan(lamp=LUX, hold_ms=hours(1))


def hourly(from_h: int, to_h: int, value: float) -> list[tuple[int, float]]:
    return [(hours(hour), value) for hour in range(from_h, to_h)]


def read(*some: list[tuple[int, float]]) -> Points:
    every = [one for piece in some for one in piece]
    return points((at_ms for at_ms, _ in every), (value for _, value in every))


def of_lux(read_: Points, tray: TrayPlan = TRAY, *, to_h: float = 24) -> list[LightDay]:
    return light_days({"illuminance": read_}, tray, (0, hours(to_h)), UTC)


def test_a_day_has_lit_dark_and_unknown_hours() -> None:
    (day,) = of_lux(read(hourly(0, 6, 0), hourly(6, 20, 5000)))
    assert (day.day, day.lit_h, day.dark_h, day.unknown_h) == (date(1970, 1, 1), 14, 6, 4)
    assert day.photons is None


def test_today_is_told_as_far_as_it_has_come() -> None:
    yesterday, today = of_lux(read(hourly(0, 30, 5000)), to_h=30)
    assert (yesterday.lit_h, today.lit_h, today.unknown_h) == (24, 6, 0)
    assert (today.from_ms, today.to_ms) == (DAY_MS, hours(30))


def test_what_stood_before_the_time_still_stands_in_it() -> None:
    (day,) = light_days({"illuminance": read(hourly(-1, 24, 5000))}, TRAY, (1, hours(24)), UTC)
    assert day.lit_h == pytest.approx(24)
    assert day.unknown_h == pytest.approx(0)


def test_the_lamp_stays_as_it_was_between_its_two_levels() -> None:
    (day,) = of_lux(read(hourly(0, 6, 950), hourly(6, 7, 1001), hourly(7, 20, 950), hourly(20, 24, 900)))
    assert (day.lit_h, day.dark_h) == (14, 10)


def test_photons_of_a_lamp_are_its_illuminance_by_its_factor() -> None:
    (day,) = of_lux(read(hourly(0, 18, 7400), hourly(18, 24, 0)), replace(TRAY, lux_per_umol=74.0))
    assert day.photons is not None
    assert day.photons.measured == pytest.approx(6.48)
    assert day.photons.may_add == 0


def test_with_a_factor_the_other_light_does_not_count() -> None:
    light = {"ppfd": read(hourly(0, 24, 100))}
    (day,) = light_days(light, replace(TRAY, lux_per_umol=74.0), (0, DAY_MS), UTC)
    assert day.photons is None
    (day,) = light_days(light, TRAY, (0, DAY_MS), UTC)
    assert day.photons is not None
    assert day.photons.measured == pytest.approx(8.64)
    assert (day.lit_h, day.dark_h, day.unknown_h) == (0, 0, 24)


def test_unknown_hours_may_add_as_much_as_the_brightest_of_that_day() -> None:
    one, other = of_lux(
        read(hourly(0, 20, 7000), hourly(24, 36, 3500)), replace(TRAY, lux_per_umol=70.0), to_h=48
    )
    assert one.photons is not None
    assert one.photons == pytest.approx((100 * 20 * 0.0036, 100 * 4 * 0.0036, 4))
    assert other.photons == pytest.approx((50 * 12 * 0.0036, 50 * 12 * 0.0036, 12))


def test_of_a_day_without_a_reading_nobody_knows_what_was_missed() -> None:
    *_, day = of_lux(read(hourly(0, 20, 7000)), replace(TRAY, lux_per_umol=70.0), to_h=48)
    assert day.unknown_h == 24
    assert day.photons == (0, None, 24)


def test_without_a_rule_for_the_lamp_and_without_time_there_is_no_day() -> None:
    assert of_lux(read(hourly(0, 24, 5000)), replace(TRAY, lamp=None)) == []
    assert of_lux(read(hourly(0, 24, 5000)), to_h=0) == []


def test_a_day_that_a_zone_left_out_is_not_told_of() -> None:
    """Samoa went from 29 to 31 December 2011: IANA time zone database, through zoneinfo."""
    apia = ZoneInfo("Pacific/Apia")
    from_ms = day_around_ms(1_325_224_800_000, apia)[0]
    days = light_days({}, TRAY, (from_ms, from_ms + 2 * DAY_MS), apia)
    assert [(one.day, one.unknown_h) for one in days] == [(date(2011, 12, 29), 24), (date(2011, 12, 31), 24)]


@given(
    st.lists(
        st.tuples(
            st.integers(-DAY_MS // 4, 3 * DAY_MS), st.sampled_from((0.0, 900.0, 950.0, 1001.0, 7000.0))
        ),
        max_size=40,
        unique_by=lambda one: one[0],
    ),
    st.integers(60_000, hours(9)),
    st.integers(1, 3 * DAY_MS),
    st.sampled_from(("UTC", "Asia/Kolkata", "America/New_York")),
)
def test_every_day_adds_up_whatever_was_read(
    some: list[tuple[int, float]], hold_ms: int, to_ms: int, zone: str
) -> None:
    tray = replace(TRAY, hold_ms=hold_ms, lux_per_umol=70.0)
    days = light_days({"illuminance": read(some)}, tray, (0, to_ms), ZoneInfo(zone))
    assert [days[0].from_ms, *(day.to_ms for day in days)] == [*(day.from_ms for day in days), to_ms]
    for day in days:
        length_h = (day.to_ms - day.from_ms) / hours(1)
        assert day.lit_h + day.dark_h + day.unknown_h == pytest.approx(length_h)
        assert min(day.lit_h, day.dark_h, day.unknown_h) >= 0
    lit_ms, known_ms, photons = by_hand(some, hold_ms, to_ms)
    assert sum(day.lit_h for day in days) == pytest.approx(lit_ms / hours(1))
    assert sum(day.unknown_h for day in days) == pytest.approx((to_ms - known_ms) / hours(1))
    assert sum(day.photons.measured for day in days if day.photons) == pytest.approx(photons)


def by_hand(some: list[tuple[int, float]], hold_ms: int, to_ms: int) -> tuple[int, int, float]:
    """Return the lit and the known time and the photons from 0 on."""
    is_lit, lit_ms, known_ms, photons = False, 0, 0, 0.0
    for (at_ms, value), (next_ms, _) in pairwise([*sorted(some), (2**60, 0.0)]):
        stood_ms = max(0, min(at_ms + hold_ms, next_ms, to_ms) - max(at_ms, 0))
        is_lit = value > LUX.lit_above or (is_lit and value > LUX.dark_at)
        lit_ms, known_ms = lit_ms + is_lit * stood_ms, known_ms + stood_ms
        photons += value / 70 * stood_ms / 1e9
    return lit_ms, known_ms, photons


def test_a_lamp_is_lit_from_its_first_bright_reading_to_its_first_dark_one() -> None:
    light = read(hourly(0, 5, 0), hourly(5, 9, 5000), hourly(9, 12, 0))
    assert lit_spans(light, TRAY, (0, DAY_MS)) == [(hours(5), hours(9))]
    assert lit_spans(light, TRAY, (hours(6), hours(8))) == [(hours(6), hours(8))]


def test_a_lamp_is_not_lit_while_nobody_reads_it() -> None:
    light = read(hourly(5, 7, 5000), hourly(9, 10, 5000))
    assert lit_spans(light, TRAY, (0, DAY_MS)) == [(hours(5), hours(7)), (hours(9), hours(10))]


def test_without_a_rule_no_lamp_is_lit() -> None:
    assert lit_spans(read(hourly(5, 7, 5000)), plan(hold_ms=hours(1)), (0, DAY_MS)) == []
