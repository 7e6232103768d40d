"""Quiet hours: what passes, what waits for the morning, and that a night has one morning however clocks change."""

from datetime import time, timedelta, tzinfo
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from told_people import (
    COLD,
    COLD_MEDIUM,
    DIM,
    DRY,
    HOUR_MS,
    LISBON,
    LIT_LONG,
    MINUTE_MS,
    Bench,
    at,
    person,
    wall,
)

from wardian.daemon.quiet import Quiet
from wardian.rules import life

NIGHT = Quiet(time(22), time(6, 30), LISBON)


def sleeper(**more: Any) -> Bench:
    return Bench((person(quiet=NIGHT, **more),))


def test_what_was_due_before_the_night_and_not_told_is_due_in_the_morning() -> None:
    told = sleeper()
    told.is_away = True
    told.comes(COLD, at("03-02 21:30"))
    assert told.telling.next_ms() == at("03-02 21:31")
    assert told.telling.next_ms(at("03-02 22:30")) == at("03-03 06:30")
    assert told.telling.next_ms(at("03-03 08:00")) == at("03-03 08:00")


def test_a_night_with_quiet_hours_and_an_escalation() -> None:
    told = Bench(
        (
            person("teacher", quiet=NIGHT),
            person("helper", quiet=NIGHT, after_ms=HOUR_MS),
            person("caretaker", hears=2, after_ms=2 * HOUR_MS),
        )
    )
    told.comes(COLD, at("03-02 21:30"))
    told.comes(DIM, at("03-02 22:30"), tray="tray-b")
    told.comes(COLD, at("03-02 23:10"), tray="tray-c")
    told.goes(COLD, at("03-02 23:50"), tray="tray-c")
    told.comes(DRY, at("03-03 02:00"), tray="tray-d")
    told.do(life.ACKNOWLEDGE, DRY, at("03-03 04:10"), tray="tray-d")
    told.comes(DIM, at("03-03 03:00"), tray="tray-e")
    told.do(life.ACKNOWLEDGE, DIM, at("03-03 05:00"), tray="tray-e")
    told.goes(DIM, at("03-03 05:00"), tray="tray-b")
    told.do(life.ACKNOWLEDGE, DIM, at("03-03 05:30"), tray="tray-b")
    told.until(at("03-03 07:00"))
    assert told.of("teacher") == [
        "03-02 21:31 tray-a: air too cold",
        "03-03 02:00 tray-d: too dry",
        "03-03 02:30 reminder: tray-d: too dry",
        "03-03 03:00 reminder: tray-d: too dry",
        "03-03 03:30 reminder: tray-d: too dry",
        "03-03 04:00 reminder: tray-d: too dry",
        "03-03 06:30 reminder: tray-a: air too cold; 1 over",
    ]
    assert told.bodies("teacher")[-1].splitlines() == [
        "Held until now, in the quiet hours from 22:00 to 06:30.",
        "1 trouble on 1 tray, the most urgent first:",
        "tray-a (a reminder, medium): air-too-cold it is.",
        "tray-a first. To do soon: mend air too cold",
        "Came and went: tray-c: air too cold, from 03-02 23:10 to 03-02 23:50.",
    ]
    # Due at 22:31, in the quiet; what is urgent passes; what was acknowledged in time never comes.
    assert told.of("helper") == [
        "03-03 03:00 not acknowledged: tray-d: too dry",
        "03-03 03:30 reminder: tray-d: too dry",
        "03-03 04:00 reminder: tray-d: too dry",
        "03-03 06:30 not acknowledged: tray-a: air too cold",
    ]
    assert told.of("caretaker") == ["03-03 04:00 not acknowledged: tray-d: too dry"]


def test_what_the_night_held_and_stands_comes_as_one_message_in_the_morning() -> None:
    told = sleeper()
    for minute, tray in enumerate("abcde"):
        told.comes(COLD, at("03-02 23:00") + minute * HOUR_MS, tray=f"tray-{tray}")
    told.until(at("03-03 10:00"))
    assert told.of() == ["03-03 06:30 tray-a: air too cold, and 4 more (5 troubles on 5 trays)"]
    assert len([line for line in told.bodies()[0].splitlines() if line.startswith("tray-")]) == 6


def test_a_single_trouble_is_told_in_the_morning_in_full() -> None:
    told = sleeper()
    told.comes(COLD, at("03-02 23:00"))
    told.until(at("03-03 10:00"))
    assert told.of() == ["03-03 06:30 tray-a: air too cold"]
    assert told.bodies()[0].splitlines()[:2] == [
        "Held until now, in the quiet hours from 22:00 to 06:30.",
        "tray-a: coleus. Priority medium.",
    ]


def test_what_came_and_went_in_the_night_is_told_once_with_its_times() -> None:
    told = sleeper()
    for hour in range(6):
        told.comes(COLD, at("03-02 23:00") + hour * HOUR_MS)
        told.goes(COLD, at("03-02 23:10") + hour * HOUR_MS)
    told.until(at("03-04 10:00"))
    assert told.of() == ["03-03 06:30 over: tray-a: air too cold, and 5 more"]
    assert told.bodies()[0].splitlines()[1:] == [
        "Came and went: tray-a: air too cold, 6 times from 03-02 23:00 to 03-03 04:10."
    ]


def test_what_stands_in_the_evening_and_returns_in_the_night_is_told_in_the_morning() -> None:
    told = sleeper()
    told.comes(COLD, at("03-02 21:00"))
    told.goes(COLD, at("03-02 23:00"))
    told.until(at("03-04 10:00"))
    assert told.of() == [
        "03-02 21:01 tray-a: air too cold",
        "03-03 06:30 tray-a: air too cold, returned to normal",
    ]


def test_nothing_comes_in_the_morning_where_all_was_acknowledged() -> None:
    told = sleeper()
    told.comes(COLD, at("03-02 23:00"))
    told.comes(LIT_LONG, at("03-02 23:00"), tray="tray-b")
    told.do(life.ACKNOWLEDGE, COLD, at("03-03 01:00"))
    told.goes(LIT_LONG, at("03-03 02:00"), tray="tray-b")
    told.do(life.ACKNOWLEDGE, LIT_LONG, at("03-03 03:00"), tray="tray-b")
    told.until(at("03-04 10:00"))
    assert told.got == []


def test_the_time_until_the_next_is_told_does_not_run_while_the_first_is_asleep() -> None:
    told = Bench((person("first", quiet=NIGHT), person("second", after_ms=HOUR_MS)))
    told.comes(COLD, at("03-02 23:00"))
    told.until(at("03-03 10:00"))
    assert told.of("first") == ["03-03 06:30 tray-a: air too cold"]
    assert told.of("second") == ["03-03 07:30 not acknowledged: tray-a: air too cold"]


def test_a_daemon_that_was_down_in_the_morning_tells_it_when_it_starts() -> None:
    told = sleeper()
    told.comes(COLD, at("03-02 23:00"))
    told.comes(COLD_MEDIUM, at("03-03 01:00"), tray="tray-b")
    told.look(at("03-03 02:00"))
    told.cut()
    told.look(at("03-03 11:00"))
    told.until(at("03-03 12:00"))
    assert len(told.of()) == 1
    assert told.bodies()[0].startswith("Held until now")


# ------------------------------------------------------------------------------- clocks that change

#: Zone, the evening, and what the clock does in the night after it (tz database, from memory; held below).
NIGHTS = [
    ("Europe/Lisbon", "2026-03-28", 60),
    ("Europe/Lisbon", "2026-10-24", -60),
    ("America/New_York", "2026-03-07", 60),
    ("America/New_York", "2026-10-31", -60),
    ("Australia/Lord_Howe", "2026-10-03", 30),
    ("Australia/Lord_Howe", "2026-04-04", -30),
    ("America/Santiago", "2026-09-05", 60),
    ("America/Santiago", "2026-04-04", -60),
    ("Asia/Beirut", "2026-03-28", 60),
    ("Asia/Beirut", "2026-10-24", -60),
    ("Asia/Kolkata", "2026-03-28", 0),
]
STEP_MS = 5 * MINUTE_MS
SPANS = [
    (time(22), time(6, 30)),
    (time(0), time(5)),
    (time(23, 30), time(0, 30)),
    (time(21), time(2, 15)),
    (time(2), time(7)),
    (time(1, 30), time(1, 45)),
]


@pytest.mark.parametrize(("name", "evening", "leap_minutes"), NIGHTS)
def test_these_are_nights_in_which_the_clock_changes(name: str, evening: str, leap_minutes: int) -> None:
    zone = ZoneInfo(name)
    noon_ms = at(f"{evening} 12:00", zone)
    assert wall(noon_ms + 24 * HOUR_MS, zone)[6:] == f"{12 + leap_minutes // 60}:{leap_minutes % 60:02}"


@pytest.mark.parametrize(("begins", "ends"), SPANS)
@pytest.mark.parametrize(("name", "evening", "leap_minutes"), NIGHTS)
def test_a_night_has_one_beginning_and_one_end_however_the_clock_changes(
    name: str, evening: str, leap_minutes: int, begins: time, ends: time
) -> None:
    zone = ZoneInfo(name)
    quiet = Quiet(begins, ends, zone)
    noon_ms = at(f"{evening} 12:00", zone)
    minutes = range(noon_ms, noon_ms + 24 * HOUR_MS + leap_minutes * -MINUTE_MS, STEP_MS)
    is_quiet = [quiet.until_ms(minute) is not None for minute in minutes]
    changes = [place for place in range(1, len(is_quiet)) if is_quiet[place] != is_quiet[place - 1]]
    assert len(changes) in (0, 2)
    if changes:
        begin_ms, end_ms = (minutes[place] for place in changes)
        assert quiet.until_ms(begin_ms) == quiet.until_ms(end_ms - 1) == end_ms
        assert quiet.ended_ms(end_ms) == end_ms > quiet.ended_ms(end_ms - 1)
        assert wall(begin_ms, zone)[6:] >= f"{begins:%H:%M}"
        assert wall(begin_ms - STEP_MS, zone)[6:] < f"{begins:%H:%M}" or begins == time(0)
        assert wall(end_ms, zone)[6:] >= f"{ends:%H:%M}"
    else:
        # The clock leaps over all of it.
        assert (ends.hour - begins.hour, leap_minutes > 0) == (0, True)


@pytest.mark.parametrize(("name", "evening", "leap_minutes"), NIGHTS)
def test_what_a_night_of_changed_clocks_held_comes_once(name: str, evening: str, leap_minutes: int) -> None:
    zone: tzinfo = ZoneInfo(name)
    for begins, ends in SPANS:
        quiet = Quiet(begins, ends, zone)
        told = Bench((person(quiet=quiet, repeat_ms=(None, None, None)),), zone)
        noon_ms = at(f"{evening} 12:00", zone)
        for number in range(48):
            told.comes(COLD, noon_ms + number * HOUR_MS // 2, tray=f"tray-{number:02}")
        told.until(noon_ms + 26 * HOUR_MS)
        assert all(quiet.until_ms(got.time_ms) is None for got in told.got)
        trays = [
            fields["tray"] for got in told.got for fields in (got.message.fields, *got.message.fields["also"])
        ]
        assert sorted(trays) == [f"tray-{number:02}" for number in range(48)]
        mornings = [got for got in told.got if got.message.body.startswith("Held")]
        assert len(mornings) <= 1


@given(
    st.sampled_from(["Europe/Lisbon", "Australia/Lord_Howe", "Asia/Beirut", "Asia/Kolkata", "Pacific/Apia"]),
    st.times(),
    st.times(),
    st.integers(at("2009-01-01 00:00"), at("2030-01-01 00:00")),
)
def test_quiet_ends_after_any_instant_in_it_and_never_before_another(
    name: str, begins: time, ends: time, time_ms: int
) -> None:
    quiet = Quiet(
        begins.replace(second=0, microsecond=0), ends.replace(second=0, microsecond=0), ZoneInfo(name)
    )
    end_ms = quiet.until_ms(time_ms)
    assert quiet.ended_ms(time_ms) <= time_ms
    if end_ms is not None:
        assert time_ms < end_ms <= time_ms + timedelta(hours=25.5) // timedelta(milliseconds=1)
        assert quiet.until_ms(end_ms) in (None, end_ms + 24 * HOUR_MS) or begins == ends
        assert quiet.ended_ms(end_ms) == end_ms
