"""Lamps that do not burn as they are meant to."""

from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from minute_by_minute import NOON_MS, TRAY, read_by
from tray_by_minutes import (
    AIR,
    DAY,
    LAMP_LX,
    LIGHT,
    Traces,
    events,
    healthy,
    is_lit,
    minute,
    plan_of,
    set_to,
    told_of,
)

from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.observing.observer import Observer
from wardian.rules.observing.schedule import meant, meant_on
from wardian.rules.plans import LampSchedule
from wardian.rules.readings import Series

OUT = minute(1, 14)


def out(begin: int, end: int, level: float = 50.0, *, cools: bool = True) -> Traces:
    traces = healthy(3)
    if cools:
        traces = set_to(traces, AIR, begin, end, traces[AIR][begin:end] - 1.6)
    return set_to(traces, LIGHT, begin, end, level)


def told(traces: Traces) -> list[tuple[str, str, int]]:
    return [one for one in events(told_of(traces)) if one[0].startswith("lamp")]


def test_a_lamp_that_goes_out_is_told_after_a_quarter_of_an_hour_and_returns_with_its_light() -> None:
    found = told(out(OUT, OUT + 120))
    assert [one[:2] for one in found] == [("lamp-not-on", "raised"), ("lamp-not-on", "returned")]
    assert 15 <= found[0][2] - OUT <= 30
    assert 0 <= found[1][2] - OUT - 120 <= 5


def test_a_hand_over_the_sensor_is_not_told() -> None:
    assert told(out(OUT, OUT + 10)) == []


def test_a_lamp_that_does_not_come_on_is_told_after_its_time_and_stands_through_the_night() -> None:
    found = told(out(minute(1, 5), minute(2, 8)))
    assert [one[:2] for one in found] == [("lamp-not-on", "raised"), ("lamp-not-on", "returned")]
    assert 15 <= found[0][2] - minute(1, 5) <= 45
    assert found[1][2] >= minute(2, 8)


@pytest.mark.parametrize(
    ("cools", "words"), [(True, "has cooled"), (False, "the light sensor may be at fault")]
)
def test_the_air_says_whether_it_is_the_lamp(cools: bool, words: str) -> None:
    evidence = told_of(out(OUT, OUT + 120, cools=cools))[0].evidence
    assert evidence is not None
    assert words in evidence.words
    assert evidence.words.count("{}") == len(evidence.figures)


def test_a_lamp_that_does_not_go_off_is_told_after_half_an_hour() -> None:
    begin = minute(1, 23)
    found = told(out(begin, minute(2, 5), LAMP_LX, cools=False))
    assert [one[:2] for one in found] == [("lamp-not-off", "raised"), ("lamp-not-off", "returned")]
    assert 30 <= found[0][2] - begin <= 40
    assert found[1][2] == minute(2, 23.5)


@pytest.mark.parametrize(("share", "is_told"), [(0.28, False), (0.32, True)])
def test_the_light_of_the_room_is_no_lamp(share: float, is_told: bool) -> None:
    assert bool(told(out(minute(1, 23), minute(2, 5), share * LAMP_LX))) is is_told


@pytest.mark.parametrize(("share", "is_told"), [(0.25, False), (0.32, True), (0.68, True), (0.72, False)])
def test_a_part_of_the_lamp_is_told_between_its_edges(share: float, is_told: bool) -> None:
    begin = minute(1, 12)
    found = told(out(begin, minute(1, 20), share * LAMP_LX))
    assert [one[:2] for one in found] == (
        [("lamp-weak", "raised"), ("lamp-weak", "returned")] if is_told else []
    )
    assert not found or 60 <= found[0][2] - begin <= 70


def test_nothing_is_said_of_light_that_changes_as_the_sun_does() -> None:
    traces = healthy(3)
    minutes = np.arange(3 * DAY, dtype=np.int64)
    sun = np.maximum(np.sin((minutes % DAY + 360) / DAY * 2 * np.pi), 0) * (1 + 0.4 * np.sin(minutes / 7))
    traces[LIGHT] = np.add(20_000 * sun, 1_500 * is_lit(minutes))
    assert told(set_to(traces, LIGHT, OUT, OUT + 200, 0.0)) == []


def test_nothing_is_said_where_nobody_said_when_the_lamp_is_on() -> None:
    traces = out(OUT, OUT + 300)
    observer = Observer([replace(plan_of(), schedule=None)])
    observer.feed({Series(TRAY, name): read_by(values) for name, values in traces.items()})
    found = observer.advance(NOON_MS + 3 * DAY * MINUTE_MS)
    assert [one for one in found if one.condition.startswith("lamp")] == []


def test_unknown_light_is_neither_on_nor_off() -> None:
    assert told(out(OUT, minute(2, 3), np.nan)) == []


BERLIN = LampSchedule(5 * 60, 23 * 60, ZoneInfo("Europe/Berlin"))
#: 2026-03-29T01:00Z, when clocks in Berlin go from 02:00 to 03:00; and 2026-10-25T01:00Z, when 03:00 becomes 02:00.
SPRING_MS, AUTUMN_MS = 1_774_746_000_000, 1_792_890_000_000
HOUR_MS = 60 * MINUTE_MS


@pytest.mark.parametrize(
    ("at_ms", "is_on", "since_ms"),
    [
        (SPRING_MS + 2 * HOUR_MS - MINUTE_MS, False, SPRING_MS - 3 * HOUR_MS),  # 04:59, off since 23:00
        (SPRING_MS + 2 * HOUR_MS, True, SPRING_MS + 2 * HOUR_MS),  # 05:00
        (AUTUMN_MS + 3 * HOUR_MS - MINUTE_MS, False, AUTUMN_MS - 4 * HOUR_MS),
        (AUTUMN_MS + 3 * HOUR_MS, True, AUTUMN_MS + 3 * HOUR_MS),
    ],
)
def test_the_clock_on_the_wall_decides_when_clocks_change(at_ms: int, is_on: bool, since_ms: int) -> None:
    assert meant(BERLIN, at_ms) == (is_on, since_ms)
    assert bool(meant_on(BERLIN, at_ms + MINUTE_MS, 1)[0]) is is_on


def test_an_hour_that_the_wall_shows_twice_is_not_judged() -> None:
    assert meant(BERLIN, AUTUMN_MS + HOUR_MS // 2) is None
