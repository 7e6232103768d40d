"""Many at once, and one again and again: a storm is one message, what flaps is one trouble."""

from typing import Any

import pytest
from told_people import COLD, DRY, FAR_COLD, HOUR_MS, LIT_LONG, MINUTE_MS, Bench, Kind, at, person

from wardian.daemon.people import HIGH
from wardian.rules import life

NOON = at("03-02 12:00")


def bench(**more: Any) -> Bench:
    return Bench((person(**more),))


# ----------------------------------------------------------------------------------------- storms


def test_200_sensors_crossing_at_once_give_one_message_a_person() -> None:
    told = Bench((person("a"), person("b"), person("c", hears=HIGH)))
    for number in range(200):
        told.comes(FAR_COLD if number % 2 else COLD, NOON, tray=f"tray-{number:03}")
    told.until(NOON + 29 * MINUTE_MS)
    assert [len(told.of(name)) for name in "abc"] == [1, 1, 1]
    assert told.of("a") == [
        "03-02 12:00 tray-001: air far too cold, and 199 more (200 troubles on 200 trays)"
    ]
    counted, far, near, to_do = told.bodies("a")[0].splitlines()
    assert counted == "200 troubles on 200 trays, the most urgent first:"
    assert far.startswith("Air far too cold (high): tray-001, tray-003, ")
    assert near.startswith("Air too cold (medium): tray-000, tray-002, ")
    assert (len(far.split(",")), len(near.split(","))) == (100, 100)
    assert to_do == "tray-001 first. To do soon: mend air far too cold"
    assert len(told.got[0].message.fields["also"]) == 199
    assert len(told.bodies("c")[0].splitlines()) == 3


def test_200_sensors_crossing_within_a_minute_give_one_message_for_what_is_not_urgent() -> None:
    told = bench()
    for number in range(200):
        told.comes(COLD, NOON + number * 300, tray=f"tray-{number:03}")
    told.until(NOON + 3 * HOUR_MS)
    assert len(told.of()) == 1


def test_after_three_troubles_the_rest_of_a_quarter_of_an_hour_is_one_message() -> None:
    told = bench()
    for minute in range(12):
        told.comes(COLD, NOON + minute * MINUTE_MS, tray=f"tray-{minute:02}")
    told.until(NOON + HOUR_MS)
    assert told.of() == [
        "03-02 12:01 tray-00: air too cold",
        "03-02 12:02 tray-01: air too cold",
        "03-02 12:03 tray-02: air too cold",
        "03-02 12:16 tray-03: air too cold, and 8 more (9 troubles on 9 trays)",
    ]


def test_the_rest_is_one_message_though_it_is_only_two() -> None:
    told = bench()
    for minute in range(5):
        told.comes(COLD, NOON + minute * MINUTE_MS, tray=f"tray-{minute:02}")
    told.until(NOON + HOUR_MS)
    assert told.of()[3:] == ["03-02 12:16 tray-03: air too cold, and 1 more (2 troubles on 2 trays)"]


def test_what_is_urgent_waits_a_minute_at_most_in_a_storm() -> None:
    told = bench()
    for second in range(0, 300, 10):
        told.comes(DRY, NOON + second * 1000, tray=f"tray-{second:03}")
    told.until(NOON + 10 * MINUTE_MS)
    assert len(told.of()) <= 3 + 5
    told_at: dict[str, int] = {}
    for got in told.got:
        for fields in (got.message.fields, *got.message.fields["also"]):
            told_at.setdefault(fields["tray"], got.time_ms)
    waits_s = [(told_at[f"tray-{second:03}"] - NOON) // 1000 - second for second in range(0, 300, 10)]
    assert max(waits_s) <= 60


# ---------------------------------------------------------------------------------- over and flapping


def test_a_return_is_told_when_it_has_settled_to_those_alone_who_were_told_of_the_raise() -> None:
    told = Bench((person("teacher"), person("caller", hears=HIGH)))
    told.comes(COLD, NOON)
    told.goes(COLD, NOON + HOUR_MS)
    told.until(NOON + 5 * HOUR_MS)
    assert told.of() == [
        "03-02 12:01 tray-a: air too cold",
        "03-02 13:30 tray-a: air too cold, returned to normal",
    ]
    assert told.bodies()[1].splitlines()[-1] == ("Returned 03-02 13:00; nothing of it came again for 30 min.")
    assert told.of("caller") == []
    told.look(NOON + 5 * HOUR_MS)
    assert told.telling.state()["troubles"] == []


def test_what_is_over_before_it_could_be_told_is_told_to_nobody() -> None:
    told = bench()
    told.comes(COLD, NOON)
    told.goes(COLD, NOON + 30_000)
    told.until(NOON + 5 * HOUR_MS)
    assert told.got == []


def test_what_comes_again_before_it_has_settled_is_the_same_trouble() -> None:
    told = bench()
    for minutes in (0, 40, 80):
        told.comes(COLD, NOON + minutes * MINUTE_MS)
        told.goes(COLD, NOON + (minutes + 15) * MINUTE_MS)
    told.until(NOON + 3 * HOUR_MS)
    assert told.of() == [
        "03-02 12:01 tray-a: air too cold",
        "03-02 14:05 tray-a: air too cold, returned to normal",
    ]
    assert told.bodies()[1].endswith("It came and went 3 times since 03-02 12:00.")


@pytest.mark.parametrize(("kind", "most"), [(LIT_LONG, 2), (COLD, 8)])
def test_a_value_that_flaps_around_a_limit_for_a_day_is_a_handful_of_messages(kind: Kind, most: int) -> None:
    """72 times a day: 1 message, the reminders of every 4 hours where it is medium, and that it is over."""
    told = bench()
    for minutes in range(0, 24 * 60, 20):
        told.comes(kind, NOON + minutes * MINUTE_MS)
        told.goes(kind, NOON + (minutes + 10) * MINUTE_MS)
    told.until(NOON + 30 * HOUR_MS)
    assert 2 <= len(told.of()) <= most
    assert "It came and went 72 times" in told.bodies()[-1]


def test_once_acknowledged_a_value_that_flaps_for_a_day_is_told_twice() -> None:
    told = bench()
    for minutes in range(0, 24 * 60, 20):
        told.comes(COLD, NOON + minutes * MINUTE_MS)
        told.do(life.ACKNOWLEDGE, COLD, NOON + (minutes + 5) * MINUTE_MS)
        told.goes(COLD, NOON + (minutes + 10) * MINUTE_MS)
    told.until(NOON + 30 * HOUR_MS)
    assert len(told.of()) == 2
