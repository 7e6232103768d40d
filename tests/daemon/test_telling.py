"""What people are told of troubles: once, with what belongs to it, worse, again, and that it is over."""

from typing import Any

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
    at,
    message_of,
    person,
)

from wardian.daemon.people import HIGH, MEDIUM
from wardian.daemon.telling import Telling
from wardian.rules import life

NOON = at("03-02 12:00")


def bench(**more: Any) -> Bench:
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


def test_what_returned_unseen_keeps_no_old_time_running_once_what_stands_was_acknowledged() -> None:
    told = chain()
    told.comes(COLD, NOON)
    told.comes(COLD_MEDIUM, NOON)
    told.goes(COLD_MEDIUM, NOON + 20 * MINUTE_MS)
    told.do(life.ACKNOWLEDGE, COLD, NOON + 40 * MINUTE_MS)
    told.comes(COLD_MEDIUM, NOON + 45 * MINUTE_MS)
    told.until(NOON + 150 * MINUTE_MS)
    assert told.of("second") == ["03-02 13:45 not acknowledged: tray-a: medium too cold, and 1 more"]


def test_who_is_told_after_a_time_hears_nothing_of_what_is_over() -> None:
    told = chain()
    told.is_away = True
    told.comes(COLD, NOON)
    told.goes(COLD, NOON + 5 * HOUR_MS)
    told.look(NOON + 8 * HOUR_MS)
    assert [len(told.of(name)) for name in ("first", "second", "third")] == [1, 0, 0]


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
