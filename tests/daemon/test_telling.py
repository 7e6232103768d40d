"""What people are told of troubles: once, with what belongs to it, worse, again, and that it is over."""

import pytest
from told_people import (
    COLD,
    COLD_MEDIUM,
    DIM,
    DRY,
    FAR_COLD,
    HOUR_MS,
    LIT_LONG,
    MINUTE_MS,
    SILENT,
    Bench,
    Kind,
    at,
    message_of,
    person,
)

from wardian.daemon.people import HIGH, MEDIUM
from wardian.daemon.telling import Telling
from wardian.rules import life

NOON = at("03-02 12:00")


def bench(**more: object) -> Bench:
    return Bench((person(**more),))


# ----------------------------------------------------------------------------- one trouble, one message


def test_what_is_urgent_is_told_in_the_same_round_and_what_is_not_a_minute_later() -> None:
    told = bench()
    told.comes(DRY, NOON)
    told.comes(COLD, NOON, tray="tray-b")
    told.until(NOON + HOUR_MS // 4)
    assert told.of() == ["03-02 12:00 tray-a: too dry", "03-02 12:01 tray-b: air too cold"]


def test_a_single_alarm_is_told_in_the_very_words_of_a_direct_channel() -> None:
    told = bench()
    told.comes(COLD, NOON)
    told.until(NOON + HOUR_MS)
    (got,) = told.got
    (direct,) = [part for trouble in told.telling._troubles for part in trouble.parts.values()]
    assert (got.message.subject, got.message.body) == (direct.subject, direct.body)
    assert got.message.fields == {**direct.fields, "also": [], "person": "teacher"}


def test_alarms_of_one_tray_that_go_the_same_way_are_one_message_led_by_the_most_urgent() -> None:
    told = bench()
    told.comes(COLD, NOON)
    told.comes(COLD_MEDIUM, NOON + 20_000)
    told.comes(FAR_COLD, NOON + 40_000)
    told.until(NOON + HOUR_MS // 4)
    assert told.of() == ["03-02 12:00:40 tray-a: air far too cold, and 2 more"]
    body = told.bodies()[0].splitlines()
    assert body[0] == "tray-a: coleus. Priority high."
    assert [line for line in body if line.startswith("To do")] == ["To do soon: mend air far too cold"]
    assert body[-2:] == ["Also: air-too-cold it is.", "Also: medium-too-cold it is."]
    fields = told.got[0].message.fields
    assert [fields["alarm"], *(one["alarm"] for one in fields["also"])] == [
        "air-far-too-cold",
        "air-too-cold",
        "medium-too-cold",
    ]


def test_alarms_of_one_cause_are_one_message_though_they_go_different_ways() -> None:
    told = bench()
    for kind in (DIM, COLD_MEDIUM):
        told.comes(kind, NOON, cause={"name": "mains lost"})
    told.until(NOON + HOUR_MS)
    assert told.of() == ["03-02 12:01 tray-a: light too dim, and 1 more"]


def test_two_troubles_of_one_tray_at_once_come_in_one_message_with_one_thing_to_do() -> None:
    told = bench()
    told.comes(DIM, NOON)
    told.comes(COLD, NOON + 30_000)
    told.until(NOON + HOUR_MS)
    assert told.of() == ["03-02 12:01 tray-a: light too dim, and 1 more (2 troubles on 1 tray)"]
    assert told.bodies()[0].splitlines() == [
        "2 troubles on 1 tray, the most urgent first:",
        "tray-a (medium): light-too-dim it is.",
        "tray-a (medium): air-too-cold it is.",
        "tray-a first. To do soon: mend light too dim",
    ]


def test_what_joins_a_trouble_that_was_told_is_folded_into_it_unless_it_is_more_urgent() -> None:
    told = bench()
    told.comes(COLD, NOON)
    told.comes(COLD_MEDIUM, NOON + 5 * MINUTE_MS)
    told.until(NOON + 2 * HOUR_MS)
    assert told.of() == ["03-02 12:01 tray-a: air too cold"]
    told.comes(FAR_COLD, NOON + 2 * HOUR_MS)
    told.until(NOON + 2 * HOUR_MS + 29 * MINUTE_MS)
    assert told.of()[1:] == ["03-02 14:00 worse: tray-a: air far too cold, and 2 more"]
    assert told.bodies()[1].startswith("It has become worse than what you were told of this tray.\n")


def test_nobody_hears_of_what_is_less_urgent_than_they_want_to_hear() -> None:
    told = Bench((person("caller", hears=HIGH), person("teacher", hears=MEDIUM)))
    told.comes(LIT_LONG, NOON)
    told.comes(COLD, NOON)
    told.comes(DRY, NOON, tray="tray-b")
    told.until(NOON + HOUR_MS // 4)
    assert told.of("caller") == ["03-02 12:00 tray-b: too dry"]
    assert told.of("teacher") == ["03-02 12:00 tray-b: too dry", "03-02 12:01 tray-a: air too cold"]


def test_a_tray_is_spoken_of_once_in_a_quarter_of_an_hour_unless_it_becomes_more_urgent() -> None:
    told = bench()
    told.comes(COLD, NOON)
    told.comes(DIM, NOON + 2 * MINUTE_MS)
    told.comes(SILENT, NOON + 3 * MINUTE_MS)
    told.comes(DRY, NOON + 4 * MINUTE_MS)
    told.until(NOON + 25 * MINUTE_MS)
    assert told.of() == [
        "03-02 12:01 tray-a: air too cold",
        "03-02 12:04 tray-a: too dry, and 2 more (3 troubles on 1 tray)",
    ]


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


# ---------------------------------------------------------------------------------------- reminders


def test_people_are_reminded_until_somebody_acknowledges_or_it_is_over() -> None:
    told = bench(repeat_ms=(None, HOUR_MS, HOUR_MS // 2))
    told.comes(COLD, NOON)
    told.comes(COLD_MEDIUM, NOON + MINUTE_MS // 2)
    told.do(life.ACKNOWLEDGE, COLD, NOON + 90 * MINUTE_MS)
    told.do(life.ACKNOWLEDGE, COLD_MEDIUM, NOON + 150 * MINUTE_MS)
    told.until(NOON + 9 * HOUR_MS)
    assert told.of() == [
        "03-02 12:01 tray-a: air too cold, and 1 more",
        "03-02 13:01 reminder: tray-a: air too cold, and 1 more",
        "03-02 14:01 reminder: tray-a: medium too cold, and 1 more",
    ]
    assert told.bodies()[1].splitlines() == [
        "tray-a, a reminder: it stands since 03-02 12:00 (61 min), and nobody has acknowledged it.",
        "air-too-cold it is.",
        "Also: medium-too-cold it is.",
        "To do soon: mend air too cold",
    ]
    assert len({got.message.key for got in told.got}) == 3


def test_nobody_is_reminded_of_what_is_low_nor_where_reminders_are_off() -> None:
    told = Bench((person(), person("calm", repeat_ms=(None, None, None))))
    told.comes(LIT_LONG, NOON)
    told.comes(DRY, NOON, tray="tray-b")
    told.do(life.ACKNOWLEDGE, DRY, NOON + 100 * MINUTE_MS, tray="tray-b")
    told.until(NOON + 48 * HOUR_MS)
    assert len(told.of("calm")) == 2
    assert [text.split(" ", 2)[1] for text in told.of()] == ["12:00", "12:01", "12:30", "13:00", "13:30"]


# -------------------------------------------------------------------------------------- escalation


def chain() -> Bench:
    return Bench((person("first"), person("second", after_ms=HOUR_MS), person("third", after_ms=3 * HOUR_MS)))


def test_what_nobody_acknowledges_goes_on_to_the_next_who_hear_since_when() -> None:
    told = chain()
    told.comes(COLD, NOON)
    told.until(NOON + 3 * HOUR_MS + 30 * MINUTE_MS)
    assert told.of("first") == ["03-02 12:01 tray-a: air too cold"]
    assert told.of("second") == ["03-02 13:01 not acknowledged: tray-a: air too cold"]
    assert told.of("third") == ["03-02 15:01 not acknowledged: tray-a: air too cold"]
    assert told.bodies("third")[0].startswith(
        "Nobody has acknowledged this since 03-02 12:01, when first was told.\n"
    )
    told.goes(COLD, NOON + 4 * HOUR_MS)
    told.until(NOON + 8 * HOUR_MS)
    assert told.of("third")[-1] == "03-02 16:30 tray-a: air too cold, returned to normal"


def test_who_is_told_after_a_time_hears_nothing_of_what_was_acknowledged_in_time() -> None:
    told = chain()
    told.comes(COLD, NOON)
    told.do(life.ACKNOWLEDGE, COLD, NOON + 60 * MINUTE_MS)
    told.goes(COLD, NOON + 4 * HOUR_MS)
    told.until(NOON + 8 * HOUR_MS)
    assert (told.of("second"), told.of("third")) == ([], [])
    assert len(told.of("first")) == 2


def test_what_joins_after_all_was_acknowledged_begins_a_time_of_its_own() -> None:
    told = chain()
    told.comes(COLD, NOON)
    told.do(life.ACKNOWLEDGE, COLD, NOON + 50 * MINUTE_MS)
    told.comes(COLD_MEDIUM, NOON + 55 * MINUTE_MS)
    told.until(NOON + 150 * MINUTE_MS)
    assert told.of("second") == ["03-02 13:55 not acknowledged: tray-a: medium too cold, and 1 more"]


def test_where_nobody_is_told_at_once_the_time_runs_from_the_raise() -> None:
    told = Bench((person("caller", hears=HIGH), person("second", after_ms=HOUR_MS)))
    told.comes(COLD, NOON)
    told.until(NOON + 2 * HOUR_MS)
    assert told.of("second") == ["03-02 13:00 tray-a: air too cold"]


# --------------------------------------------------------------------------------------- set aside


def test_what_is_set_aside_is_told_to_nobody_and_told_anew_when_it_comes_back() -> None:
    told = bench()
    told.comes(COLD, NOON)
    told.comes(COLD_MEDIUM, NOON)
    told.do(life.SHELVE, COLD, NOON + 10 * MINUTE_MS, until_ms=NOON + 10 * HOUR_MS)
    told.do(life.ACKNOWLEDGE, COLD_MEDIUM, NOON + 11 * MINUTE_MS)
    told.until(NOON + 10 * HOUR_MS - 1)
    assert told.of() == ["03-02 12:01 tray-a: air too cold, and 1 more"]
    told.end_shelves(NOON + 10 * HOUR_MS)
    told.until(NOON + 12 * HOUR_MS)
    assert told.of()[1:] == ["03-02 22:01 tray-a: air too cold, and 1 more"]
    assert "no longer shelved, and it stands now." in told.bodies()[1]


def test_a_trouble_set_aside_as_a_whole_is_over_without_a_word() -> None:
    told = bench()
    told.comes(COLD, NOON)
    told.do(life.REMOVE, COLD, NOON + 10 * MINUTE_MS)
    told.goes(COLD, NOON + HOUR_MS)
    told.comes(COLD, NOON + 2 * HOUR_MS)
    told.until(NOON + 3 * HOUR_MS)
    assert len(told.of()) == 1
    told.do(life.RESTORE, COLD, NOON + 3 * HOUR_MS)
    told.until(NOON + 4 * HOUR_MS)
    assert told.of()[1:] == ["03-02 15:01 tray-a: air too cold"]


# ----------------------------------------------------------------------------------------- clocks


def test_what_is_overdue_after_a_long_absence_is_told_once() -> None:
    told = chain()
    told.comes(COLD, NOON)
    told.until(NOON + 30 * MINUTE_MS)
    told.look(NOON + 50 * HOUR_MS)
    assert [len(told.of(name)) for name in ("first", "second", "third")] == [2, 1, 1]
    told.look(NOON + 50 * HOUR_MS + 1000)
    assert len(told.got) == 4


def test_what_came_and_went_while_nobody_watched_is_told_when_it_is_heard_of() -> None:
    told = bench()
    told.is_away = True
    told.comes(DRY, NOON)
    told.goes(DRY, NOON + 2 * HOUR_MS)
    told.look(NOON + 5 * HOUR_MS)
    assert told.of() == ["03-02 17:00 tray-a: too dry, came and went"]
    assert told.bodies() == ["Came and went: tray-a: too dry, from 03-02 12:00 to 03-02 14:00."]


def test_a_clock_that_is_put_back_neither_repeats_nor_silences() -> None:
    told = bench()
    told.comes(COLD, NOON)
    told.until(NOON + HOUR_MS)
    told.look(NOON - 240 * HOUR_MS)
    told.comes(DRY, NOON - 239 * HOUR_MS, tray="tray-b")
    told.until(NOON - 235 * HOUR_MS)
    assert [text for text in told.of() if "tray-a" in text] == [
        "03-02 12:01 tray-a: air too cold",
        "02-20 16:00 reminder: tray-a: air too cold",
    ]
    assert "02-20 13:00 tray-b: too dry" in told.of()


def test_hearing_an_entry_twice_is_hearing_it_once() -> None:
    told = bench()
    told.comes(COLD, NOON)
    before = told.telling.state()
    fields = told.telling._troubles[0].parts["air_temperature/low"].fields
    told.telling.hear(fields, message_of(fields))
    assert told.telling.state() == before


def test_who_comes_new_is_told_of_what_stands() -> None:
    told = bench()
    told.comes(COLD, NOON)
    told.until(NOON + HOUR_MS)
    state = told.telling.state()
    told.telling = Telling((person(), person("new")), str, state=state)
    told.look(NOON + HOUR_MS)
    assert told.of("new") == ["03-02 13:00 tray-a: air too cold"]
    assert len(told.of()) == 1
