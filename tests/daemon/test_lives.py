"""The lives of alarms: what is told and what is not, what people did, and that the journal alone remembers it."""

from collections.abc import Mapping
from typing import Any, Final

import pytest
from fake_clock import NOON_MS
from hypothesis import given
from hypothesis import strategies as st
from led_lives import HOUR_MS, NAMES, SILENT, TOO_DRY, TOO_WARM, Journal, asked, fields_of

from wardian.daemon.lives import LONGEST_SHELF_MS, Lives, announcements
from wardian.daemon.tongue import utc_text
from wardian.rules import life
from wardian.rules.life import Impossible
from wardian.rules.ports import Act, Alarm, JournalEntry

# ---------------------------------------------------------------------- as the condition comes and goes


def test_an_alarm_that_comes_and_goes_is_told_both_times_and_waits_to_be_seen() -> None:
    journal = Journal()
    assert journal.comes()
    assert journal.state() == life.UNACKNOWLEDGED
    assert journal.goes()
    assert journal.state() == life.RETURNED_UNACKNOWLEDGED
    assert journal.comes()
    assert journal.state() == life.UNACKNOWLEDGED
    assert [entry.fields["life"] for entry in journal.entries] == [
        life.UNACKNOWLEDGED,
        life.RETURNED_UNACKNOWLEDGED,
        life.UNACKNOWLEDGED,
    ]


def test_what_was_seen_is_over_when_its_condition_goes_and_that_is_told() -> None:
    journal = Journal()
    journal.comes()
    journal.do(life.ACKNOWLEDGE)
    assert journal.goes()
    assert journal.state() == life.NORMAL
    assert journal.lives.listed() == []


def test_alarms_do_not_meet() -> None:
    journal = Journal()
    assert [journal.comes(alarm) for alarm in NAMES] == [True] * 3
    journal.do(life.ACKNOWLEDGE, TOO_DRY)
    journal.goes(SILENT)
    assert {alarm: journal.state(alarm) for alarm in NAMES} == {
        TOO_WARM: life.UNACKNOWLEDGED,
        TOO_DRY: life.ACKNOWLEDGED,
        SILENT: life.RETURNED_UNACKNOWLEDGED,
    }


@pytest.mark.parametrize(
    ("aside", "back", "state"),
    [(life.SHELVE, life.UNSHELVE, life.SHELVED), (life.REMOVE, life.RESTORE, life.OUT_OF_SERVICE)],
)
class TestSetAside:
    """Whatever sets an alarm aside, people hear nothing of it until it is back."""

    def test_nothing_is_told_and_all_is_written(self, aside: str, back: str, state: str) -> None:
        journal = Journal()
        journal.do(aside)
        assert [journal.comes(), journal.goes(), journal.comes()] == [False] * 3
        assert journal.state() == state
        assert [entry.fields["life"] for entry in journal.entries] == [state] * 4
        assert [entry.fields["abnormal"] for entry in journal.entries] == [False, True, False, True]

    def test_every_entry_says_who_set_it_aside_and_why(self, aside: str, back: str, state: str) -> None:
        journal = Journal()
        journal.do(aside, who="the teacher", why="misting")
        journal.comes()
        (listed,) = journal.lives.listed()
        assert (listed["who"], listed["why"], listed["life"]) == ("the teacher", "misting", state)
        journal.do(back, who="a helper")
        assert journal.lives.listed()[0]["who"] == "a helper"

    def test_the_return_of_a_raise_that_was_told_is_told_once_it_is_back(
        self, aside: str, back: str, state: str
    ) -> None:
        journal = Journal()
        assert journal.comes()
        journal.do(aside)
        journal.do(back)
        assert journal.state() == life.UNACKNOWLEDGED
        assert journal.goes()

    def test_the_return_of_a_raise_that_nobody_heard_of_is_not_told(
        self, aside: str, back: str, state: str
    ) -> None:
        journal = Journal()
        journal.do(aside)
        journal.comes()
        journal.do(back)
        assert not journal.goes()
        assert journal.comes()

    def test_it_comes_back_as_its_condition_is(self, aside: str, back: str, state: str) -> None:
        journal = Journal()
        journal.comes()
        journal.do(aside)
        journal.goes()
        journal.do(back)
        assert journal.state() == life.NORMAL
        assert journal.comes()


# ------------------------------------------------------------------------------------ what people do


def test_an_act_is_written_with_who_when_and_why() -> None:
    journal = Journal()
    journal.comes()
    journal.now_ms += 90_000
    entry = journal.do(life.ACKNOWLEDGE, who="the teacher", why="the cover was off")
    assert entry == {
        **fields_of(TOO_WARM, "acknowledged", NOON_MS + 90_000),
        "message": "Air too warm: acknowledged by the teacher: the cover was off.",
        "life": life.ACKNOWLEDGED,
        "abnormal": True,
        "told": True,
        "sent": True,
        "who": "the teacher",
        "why": "the cover was off",
        "until": None,
        "until_ms": None,
    }


def test_a_shelf_is_written_with_its_end() -> None:
    journal = Journal()
    entry = journal.do(life.SHELVE, TOO_DRY, NOON_MS + 2 * HOUR_MS)
    assert entry["message"] == "Too dry: shelved by a helper until +2 h."
    assert (entry["event"], entry["life"]) == ("shelved", life.SHELVED)
    assert (entry["until"], entry["until_ms"]) == (utc_text(NOON_MS + 2 * HOUR_MS), NOON_MS + 2 * HOUR_MS)
    off = journal.do(life.UNSHELVE, TOO_DRY, NOON_MS + 2 * HOUR_MS)
    assert (off["until"], off["until_ms"]) == (None, None)


def test_each_act_has_its_word_in_the_journal() -> None:
    journal = Journal()
    journal.comes()
    acts = (life.ACKNOWLEDGE, life.SHELVE, life.UNSHELVE, life.REMOVE, life.RESTORE)
    assert [journal.do(act)["event"] for act in acts] == [
        "acknowledged",
        "shelved",
        "unshelved",
        "out of service",
        "back in service",
    ]


@pytest.mark.parametrize(
    ("lasts_ms", "is_taken"),
    [
        (None, False),
        (-1, False),
        (0, False),
        (1, True),
        (LONGEST_SHELF_MS, True),
        (LONGEST_SHELF_MS + 1, False),
    ],
)
def test_a_shelf_ends_within_seven_days_from_now(lasts_ms: int | None, is_taken: bool) -> None:
    journal = Journal()
    act = Act(
        NOON_MS, TOO_WARM, life.SHELVE, "a helper", "", None if lasts_ms is None else NOON_MS + lasts_ms
    )
    if is_taken:
        journal.lives.would(act, NOON_MS)
        journal.lives.do(act, NOON_MS)
        return
    with pytest.raises(Impossible, match="within seven days"):
        journal.lives.would(act, NOON_MS)
    with pytest.raises(Impossible, match="within seven days"):
        journal.lives.do(act, NOON_MS)
    assert journal.state() == life.NORMAL


def test_an_act_without_a_place_changes_nothing() -> None:
    journal = Journal()
    journal.comes()
    before = journal.lives.of(TOO_WARM)
    for event in (life.UNSHELVE, life.RESTORE):
        with pytest.raises(Impossible, match="the alarm is unacknowledged"):
            journal.do(event)
    assert journal.lives.of(TOO_WARM) == before


def test_asking_whether_something_can_be_done_does_nothing() -> None:
    journal = Journal()
    journal.lives.would(asked(life.REMOVE), NOON_MS)
    with pytest.raises(Impossible):
        journal.lives.would(asked(life.ACKNOWLEDGE), NOON_MS)
    assert (journal.state(), journal.lives.listed()) == (life.NORMAL, [])


def test_an_act_about_an_alarm_that_nobody_can_name_is_impossible() -> None:
    def nobody(alarm: Alarm) -> Mapping[str, Any]:
        raise Impossible(f"{alarm.tray} is not watched")

    lives = Lives({}, names=nobody)
    with pytest.raises(Impossible, match="tray-a is not watched"):
        lives.do(asked(life.REMOVE), NOON_MS)
    assert lives.of(TOO_WARM).state == life.NORMAL


# ------------------------------------------------------------------------------------ off the shelf


@pytest.mark.parametrize("is_there", [True, False])
def test_the_end_of_a_shelf_is_told_once_at_the_first_look_at_or_after_it(is_there: bool) -> None:
    journal = Journal()
    journal.do(life.SHELVE, until_ms=NOON_MS + HOUR_MS)
    if is_there:
        journal.comes()
    journal.now_ms = NOON_MS + HOUR_MS - 1
    assert journal.off_the_shelf() == []
    journal.now_ms = NOON_MS + HOUR_MS
    (entry,) = journal.off_the_shelf()
    assert journal.off_the_shelf() == []
    stands = "it stands" if is_there else "it does not stand"
    assert entry["message"] == f"Air too warm: no longer shelved, and {stands} now."
    assert (entry["event"], entry["time"]) == ("shelf ended", utc_text(journal.now_ms))
    assert entry["life"] == journal.state() == (life.UNACKNOWLEDGED if is_there else life.NORMAL)
    assert (entry["who"], entry["why"], entry["until"], entry["until_ms"]) == (None, None, None, None)


def test_a_shelf_that_ended_while_nobody_looked_ends_at_the_next_look() -> None:
    journal = Journal()
    journal.do(life.SHELVE, until_ms=NOON_MS + HOUR_MS)
    journal.lives = journal.reread()
    journal.now_ms = NOON_MS + 50 * HOUR_MS
    assert [entry["event"] for entry in journal.off_the_shelf()] == ["shelf ended"]
    journal.lives = journal.reread()
    assert journal.off_the_shelf() == []


def test_what_stands_as_its_shelf_ends_counts_as_told_and_so_does_its_return() -> None:
    journal = Journal()
    journal.do(life.SHELVE, until_ms=NOON_MS + HOUR_MS)
    journal.comes()
    journal.now_ms += HOUR_MS
    journal.off_the_shelf()
    journal.lives = journal.reread()
    assert journal.goes()
    assert not journal.entries[-1].fields["told"]


def test_only_a_shelf_ends_by_itself_and_one_taken_off_by_hand_ends_once() -> None:
    journal = Journal()
    journal.do(life.REMOVE, TOO_DRY)
    journal.do(life.SHELVE)
    journal.do(life.UNSHELVE)
    journal.now_ms += 10 * HOUR_MS
    assert journal.off_the_shelf() == []
    assert journal.state(TOO_DRY) == life.OUT_OF_SERVICE


def test_the_end_of_a_shelf_goes_out_by_every_channel_under_a_key_of_its_own() -> None:
    journal = Journal()
    keys = set()
    for _ in range(2):
        journal.do(life.SHELVE, until_ms=journal.now_ms + HOUR_MS)
        journal.now_ms += HOUR_MS
        (entry,) = journal.off_the_shelf()
        due = announcements(entry, ["mail", "bell"])
        assert [one.channel for one in due] == ["mail", "bell"]
        assert due[0].message == due[1].message
        assert due[0].message.subject == "tray-a: air too warm, no longer shelved"
        assert due[0].message.body == f"tray-a: {entry['message']}"
        keys.add(due[0].message.key)
    assert len(keys) == 2


# -------------------------------------------------------------------------------- from the journal


def test_a_journal_of_before_there_were_lives_is_read_as_told_and_not_yet_seen() -> None:
    raised, returned = fields_of(TOO_WARM, life.RAISED), fields_of(TOO_DRY, life.RETURNED)
    last = {
        TOO_WARM: JournalEntry(1, NOON_MS, "tray-a", raised),
        TOO_DRY: JournalEntry(2, NOON_MS, "tray-a", returned),
    }
    lives = Lives(last)
    assert lives.of(TOO_WARM).state == life.UNACKNOWLEDGED
    assert lives.of(TOO_DRY).state == life.NORMAL
    assert lives.listed() == [{**raised, "life": life.UNACKNOWLEDGED}]
    assert lives.follow(fields_of(TOO_WARM, life.RETURNED))
    assert lives.of(TOO_WARM).state == life.RETURNED_UNACKNOWLEDGED


def test_listed_is_what_somebody_has_yet_to_deal_with_or_has_set_aside() -> None:
    journal = Journal()
    journal.comes(TOO_WARM)
    journal.goes(TOO_WARM)
    journal.do(life.REMOVE, TOO_DRY)
    journal.comes(SILENT)
    journal.do(life.ACKNOWLEDGE, SILENT)
    lives = {fields["alarm"]: fields["life"] for fields in journal.lives.listed()}
    assert lives == {
        "air-too-warm": life.RETURNED_UNACKNOWLEDGED,
        "too-dry": life.OUT_OF_SERVICE,
        "sensor-silent": life.ACKNOWLEDGED,
    }
    journal.do(life.ACKNOWLEDGE, TOO_WARM)
    journal.do(life.RESTORE, TOO_DRY)
    journal.goes(SILENT)
    assert journal.lives.listed() == []


TURN: Final = "its condition comes or goes"
SOME_TIME: Final = "some time goes by"
WHAT_HAPPENS: Final = st.tuples(
    st.sampled_from([TOO_WARM, SILENT]),
    st.sampled_from(
        [TURN, TURN, SOME_TIME, life.ACKNOWLEDGE, life.SHELVE, life.UNSHELVE, life.REMOVE, life.RESTORE]
    ),
    st.integers(1, 3).map(lambda hours: hours * HOUR_MS),
)


@given(st.lists(WHAT_HAPPENS, min_size=15, max_size=60))
def test_lives_read_from_the_journal_are_the_lives_that_were_led(
    happenings: list[tuple[Alarm, str, int]],
) -> None:
    journal = Journal()
    heard = dict.fromkeys(NAMES, False)
    stands = dict.fromkeys(NAMES, False)
    for alarm, what, some_ms in happenings:
        is_aside = journal.lives.of(alarm).is_set_aside
        if what == TURN:
            stands[alarm] = not stands[alarm]
            is_told = journal.comes(alarm) if stands[alarm] else journal.goes(alarm)
            assert is_told == (not is_aside and (stands[alarm] or heard[alarm]))
            heard[alarm] = is_told if stands[alarm] else heard[alarm] and is_aside
        elif what == SOME_TIME:
            journal.now_ms += some_ms
            for entry in journal.off_the_shelf():
                ended = Alarm("tray-a", entry["quantity"], entry["condition"])
                heard[ended] = stands[ended]
        else:
            try:
                journal.do(what, alarm, journal.now_ms + some_ms)
            except Impossible:
                continue
        again = journal.reread()
        assert {one: again.of(one) for one in NAMES} == {one: journal.lives.of(one) for one in NAMES}
        assert {one: again.of(one).is_abnormal for one in NAMES} == stands
        assert {one: again.of(one).is_told for one in NAMES} == heard
        # As a restart would go on.
        journal.lives = again
