"""Care seen in traces written by hand, and in one pretended week."""

from collections.abc import Mapping
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from minute_by_minute import NOON_MS, TRAY, closing, course, ramp, read_by, with_noise
from pretended_weeks import example, pretended

from wardian.rules.observing.care_seen import CareSeen
from wardian.rules.observing.looks import LIFTED, MISTED, WATERED, Care
from wardian.rules.observing.minutes import MINUTE_MS, Minutes

HOLD_MS = 5 * MINUTE_MS
NAN = float("nan")
#: An airing of four minutes: quickly down, slowly back.
DIP = [84.0, 68.0, 62.0, 60.0, 66.0, 73.0, 79.0, *ramp(20, 82, 95)]


def seen(traces: Mapping[str, list[float]], every: int = 1) -> list[tuple[str, int, int]]:
    """What was seen at last: kind, and the minutes in which it began and ended."""
    care, minutes = CareSeen(), Minutes(HOLD_MS * (2 if every > 4 else 1))
    for _ in closing(minutes, traces, every):
        care.step(minutes)
    return [(one.event, minute(one.from_ms), minute(one.to_ms)) for one in care.events]


def minute(time_ms: int) -> int:
    return (time_ms - NOON_MS) // MINUTE_MS


def known_in(traces: Mapping[str, list[float]], event: str) -> int:
    """The minute in which the first such event was known."""
    care, minutes = CareSeen(), Minutes(HOLD_MS)
    for at in closing(minutes, traces):
        care.step(minutes)
        if any(one.event == event for one in care.events):
            return at
    raise AssertionError("it never was")


def weighed(off: int, brought: float = 0.0, before: int = 30, after: int = 30) -> list[float]:
    """The balance while a cover of 300 g is off for some minutes and water is brought."""
    return course((before, 3000), (off, 2700), (after, 3000 + brought))


def aired(dip: list[float] = DIP, before: int = 30, after: int = 60) -> list[float]:
    return [*with_noise(course((before, 95)), 0.3), *dip, *with_noise(course((after, 95)), 0.3)]


# A cover


def test_a_dip_of_humidity_is_a_lifted_cover() -> None:
    ((event, begins, ends),) = seen({"relative_humidity": aired()})
    assert (event, begins) == (LIFTED, 30)
    assert 33 <= ends <= 35


def test_a_lifted_cover_is_known_within_three_minutes() -> None:
    assert known_in({"relative_humidity": aired()}, LIFTED) <= 32
    assert known_in({"tray_mass": weighed(4)}, LIFTED) <= 31


def test_the_pulse_of_the_cover_on_the_balance_is_a_lifted_cover() -> None:
    assert seen({"tray_mass": weighed(4)}) == [(LIFTED, 30, 35)]


def test_balance_and_humidity_tell_of_one_lift() -> None:
    together = {"relative_humidity": aired(), "tray_mass": weighed(4, after=83)}
    assert [event for event, *_ in seen(together)] == [LIFTED]


def test_where_the_cover_rides_on_the_balance_a_dip_alone_is_no_lift() -> None:
    masses = [*weighed(4), *course((200, 3000))]
    airs = [*aired(after=70), *DIP, *course((100, 95))]
    assert [event for event, *_ in seen({"relative_humidity": airs, "tray_mass": masses})] == [LIFTED]


def test_without_a_balance_both_dips_are_lifts() -> None:
    assert [event for event, *_ in seen({"relative_humidity": [*aired(after=70), *DIP]})] == [LIFTED] * 2


@pytest.mark.parametrize(("depth", "count"), [(7.9, 0), (8.1, 1)])
def test_a_dip_counts_from_eight_per_cent_on(depth: float, count: int) -> None:
    assert len(seen({"relative_humidity": course((30, 90), (5, 90 - depth), (30, 90))})) == count


@pytest.mark.parametrize(("grams", "count"), [(99, 0), (101, 1), (599, 1), (601, 0)])
def test_a_cover_weighs_100_to_600_g(grams: float, count: int) -> None:
    masses = course((30, 3000), (5, 3000 - grams), (30, 3000))
    assert [event for event, *_ in seen({"tray_mass": masses})] == [LIFTED] * count


def test_a_fall_that_takes_an_hour_is_no_lift() -> None:
    assert seen({"relative_humidity": [*course((30, 95)), *ramp(60, 95, 55), *course((30, 55))]}) == []


def test_unrest_as_large_as_the_fall_is_no_lift() -> None:
    assert seen({"relative_humidity": with_noise(course((60, 90), (60, 80)), 6.0)}) == []


def test_two_probes_that_take_turns_lift_no_cover() -> None:
    assert seen({"relative_humidity": [95.0 - 12 * (place * 7 % 5 > 2) for place in range(300)]}) == []


@pytest.mark.parametrize("traces", [{"relative_humidity": [40.0]}, {"tray_mass": [2700.0]}])
def test_a_cover_that_stays_off_is_one_lift_of_45_minutes(traces: dict[str, list[float]]) -> None:
    ((quantity, (off,)),) = traces.items()
    usual = {"relative_humidity": 95.0, "tray_mass": 3000.0}[quantity]
    values = [*course((30, usual)), *with_noise(course((300, off)), 0.5), *course((60, usual))]
    assert seen({quantity: values}) == [(LIFTED, 30, 75)]


def test_the_end_of_a_lift_moves_on_while_the_cover_is_off() -> None:
    ends = [seen({"relative_humidity": course((30, 95), (off, 45))})[0][2] for off in (10, 20, 30)]
    assert ends == [40, 50, 60]


def test_a_probe_read_every_five_minutes_still_shows_a_lift() -> None:
    airs = course((40, 95), (10, 60), (60, 95))
    assert [event for event, *_ in seen({"relative_humidity": airs}, every=5)] == [LIFTED]


def test_unknown_humidity_is_no_dip() -> None:
    assert seen({"relative_humidity": course((30, 95), (60, NAN), (30, 60))}) == []


def test_somebody_who_leans_on_the_tray_does_nothing_to_it() -> None:
    care, minutes = CareSeen(), Minutes(HOLD_MS)
    minutes.feed("tray_mass", read_by(course((60, 3000))))
    minutes.feed("tray_mass", read_by([2500.0], from_ms=NOON_MS + 30 * MINUTE_MS + 20_000))
    minutes.feed("tray_mass", read_by([3400.0], from_ms=NOON_MS + 40 * MINUTE_MS + 20_000))
    for _ in closing(minutes, {"illuminance": course((60, 1))}):
        care.step(minutes)
    assert not care.events


# Water


@pytest.mark.parametrize(
    ("grams", "events"),
    [
        (0.5, {LIFTED}),
        (-3, {LIFTED}),
        (1.5, {LIFTED, MISTED}),
        (39, {LIFTED, MISTED}),
        (41, {LIFTED, WATERED}),
        (899, {LIFTED, WATERED}),
        (901, {LIFTED}),
    ],
)
def test_what_a_tray_gained_while_its_cover_was_off_was_brought(grams: float, events: set[str]) -> None:
    assert {event for event, *_ in seen({"tray_mass": weighed(4, grams)})} == events


@pytest.mark.parametrize(("grams", "events"), [(2.9, []), (3.1, [MISTED]), (41, [WATERED])])
def test_water_shows_with_the_cover_on_too(grams: float, events: list[str]) -> None:
    assert [event for event, *_ in seen({"tray_mass": course((30, 3000), (30, 3000 + grams))})] == events


def test_water_is_known_three_minutes_after_the_cover_is_back() -> None:
    assert known_in({"tray_mass": weighed(4, 10)}, MISTED) <= 37


def test_a_cover_put_back_after_hours_is_no_watering() -> None:
    assert [event for event, *_ in seen({"tray_mass": weighed(300)})] == [LIFTED]


def test_drying_is_no_care() -> None:
    assert seen({"tray_mass": ramp(600, 3200, 3150)}) == []


@pytest.mark.parametrize(("kelvin", "count"), [(0.7, 0), (0.9, 1)])
def test_without_a_balance_a_medium_that_cools_after_a_lift_was_watered(kelvin: float, count: int) -> None:
    medium = course((34, 24), (1, 24 - kelvin / 2), (80, 24 - kelvin))
    events = [event for event, *_ in seen({"relative_humidity": aired(), "medium_temperature": medium})]
    assert events.count(WATERED) == count


def test_a_medium_that_cools_without_a_lift_was_not_watered() -> None:
    assert seen({"medium_temperature": course((30, 24), (30, 22))}) == []


def test_without_a_balance_a_probe_that_is_hit_by_mist_tells_of_it() -> None:
    airs = course((30, 94), (2, 60), (8, 100), (60, 95))
    assert [event for event, *_ in seen({"relative_humidity": airs})] == [LIFTED, MISTED]


# What people record


def recorded(event: str, at: int) -> Care:
    return Care(event, NOON_MS + at * MINUTE_MS, NOON_MS + (at + 5) * MINUTE_MS)


def lifts(records_before: list[Care], records_after: list[Care]) -> list[Care]:
    care, minutes = CareSeen(), Minutes(HOLD_MS)
    for one in records_before:
        care.record(one)
    for _ in closing(minutes, {"tray_mass": weighed(4)}):
        care.step(minutes)
    for one in records_after:
        care.record(one)
    return list(care.events)


@pytest.mark.parametrize(("at", "count"), [(9, 2), (12, 1), (30, 1), (49, 1), (51, 2)])
def test_what_was_recorded_within_15_minutes_of_what_is_seen_is_the_same(at: int, count: int) -> None:
    for events in (lifts([recorded(LIFTED, at)], []), lifts([], [recorded(LIFTED, at)])):
        assert len(events) == count
        assert sum(one.is_recorded for one in events) == 1
        assert list(events) == sorted(events, key=lambda one: one.from_ms)


def test_another_kind_of_care_is_another_deed() -> None:
    assert {one.event for one in lifts([recorded(WATERED, 30)], [])} == {LIFTED, WATERED}


def test_care_is_forgotten_after_three_days() -> None:
    masses = {"tray_mass": course((30, 3000), (4, 2700), (3 * 1440 - 10, 3000))}
    assert seen(masses)
    assert seen({"tray_mass": [*masses["tray_mass"], *course((20, 3000))]}) == []


# However readings are cut, and over a week


@settings(max_examples=30, deadline=None)
@given(cuts=st.lists(st.integers(1, 200), max_size=6))
def test_the_same_care_is_seen_however_readings_are_cut(cuts: list[int]) -> None:
    traces = {"relative_humidity": aired(), "tray_mass": weighed(4, 20, after=83)}
    care, minutes = CareSeen(), Minutes(HOLD_MS)
    at = 0
    for cut in [*cuts, 200]:
        for quantity, values in traces.items():
            piece: Any = read_by(values[at : at + cut], from_ms=NOON_MS + at * MINUTE_MS)
            minutes.feed(quantity, piece)
        at += cut
        for _ in minutes.close(NOON_MS + min(at, 117) * MINUTE_MS):
            care.step(minutes)
    assert [(one.event, minute(one.from_ms), minute(one.to_ms)) for one in care.events] == seen(traces)


@pytest.mark.parametrize("has_balance", [True, False])
def test_every_airing_of_a_pretended_day_is_seen_and_nothing_else(has_balance: bool) -> None:
    day = pretended(11, ["half-the-lamp"], days=1.5)
    plans = {tray.name: tray.plan for tray in example().trays}
    care, minutes = CareSeen(), Minutes(plans[TRAY].hold_ms)
    for series, points in day.chunk.items():
        if series.tray == TRAY and (has_balance or series.quantity != "tray_mass"):
            minutes.feed(series.quantity, points)
    for _ in minutes.close(day.until_ms):
        care.step(minutes)
    true = [one.from_ms for one in day.truth.care if (one.tray, one.event) == (TRAY, LIFTED)]
    found = [one.from_ms for one in care.events if one.event == LIFTED]
    assert len(found) == len(true)
    assert all(abs(one - other) <= 2 * MINUTE_MS for one, other in zip(found, true, strict=True))
