"""What every store promises about the journal, the outbox, the states and what was refused."""

from concurrent.futures import ThreadPoolExecutor

from store_rounds import HOUR_MS, NOON_MS, change, journal, to_tell

from wardian.rules.ports import Refused, Round, Store
from wardian.rules.readings import Reading

# ------------------------------------------------------------------------------------- journal


def test_the_journal_keeps_the_order_of_writing_and_numbers_it(store: Store) -> None:
    store.keep(journal(change("raised"), change("returned")))
    store.keep(Round(NOON_MS, journal=[(NOON_MS - HOUR_MS, "tray-a", change("raised", value=26.5))]))
    entries = store.journal()
    assert [entry.number for entry in entries] == [1, 2, 3]
    assert [entry.time_ms - NOON_MS for entry in entries] == [0, 1, -HOUR_MS]
    assert entries[2].fields == change("raised", value=26.5)
    assert store.journal(last=2) == entries[1:]
    assert store.journal(last=99) == entries
    assert store.journal(last=0) == []


def test_standing_are_the_raised_alarms_that_no_later_entry_returned(store: Store) -> None:
    store.keep(journal(change("raised"), change("raised", "low"), change("raised", tray="tray-b")))
    store.keep(journal(change("returned", "low"), change("raised", None), change("raised", "low_low")))
    store.keep(journal(change("returned", tray="tray-b"), change("raised", tray="tray-b")))
    standing = [(entry.number, entry.tray, entry.fields["limit"]) for entry in store.standing()]
    assert standing == [
        (1, "tray-a", "high"),
        (5, "tray-a", None),
        (6, "tray-a", "low_low"),
        (8, "tray-b", "high"),
    ]


def test_an_entry_that_neither_raises_nor_returns_leaves_an_alarm_standing(store: Store) -> None:
    store.keep(journal(change("raised"), change("acknowledged")))
    assert [entry.number for entry in store.standing()] == [1]


# -------------------------------------------------------------------------------------- outbox


def test_messages_fall_due_in_the_order_they_were_written(store: Store) -> None:
    store.keep(
        Round(NOON_MS, due=[to_tell("mail", "one"), to_tell("console", "one"), to_tell("mail", "two")])
    )
    assert [(due.channel, due.message.key) for due in store.due(NOON_MS)] == [
        ("mail", "one"),
        ("console", "one"),
        ("mail", "two"),
    ]
    assert [due.number for due in store.due(NOON_MS, limit=2)] == [1, 2]
    assert store.due(NOON_MS - 1) == []


def test_a_message_is_written_once_for_each_channel(store: Store) -> None:
    store.keep(Round(NOON_MS, due=[to_tell("mail", "one"), to_tell("mail", "one")]))
    store.keep(Round(NOON_MS + 5, due=[to_tell("mail", "one"), to_tell("console", "one")]))
    assert [(due.channel, due.created_ms) for due in store.waiting()] == [
        ("mail", NOON_MS),
        ("console", NOON_MS + 5),
    ]
    store.delivered(store.waiting()[0].number, NOON_MS)
    store.keep(Round(NOON_MS, due=[to_tell("mail", "one")]))
    assert [due.channel for due in store.waiting()] == ["console"]


def test_a_postponed_message_waits_with_its_error_until_its_time(store: Store) -> None:
    store.keep(Round(NOON_MS, due=[to_tell("mail", "one"), to_tell("mail", "two")]))
    store.postponed(1, NOON_MS + 60_000, "no answer")
    store.postponed(1, NOON_MS + 120_000, "refused for now")
    assert [due.number for due in store.due(NOON_MS + 119_999)] == [2]
    again = store.due(NOON_MS + 120_000)
    assert [due.number for due in again] == [1, 2]
    assert (again[0].attempts, again[0].last_error, again[0].due_ms) == (
        2,
        "refused for now",
        NOON_MS + 120_000,
    )
    assert again[0].created_ms == NOON_MS


def test_what_is_delivered_or_given_up_is_over(store: Store) -> None:
    store.keep(Round(NOON_MS, due=[to_tell("mail", "one"), to_tell("mail", "two"), to_tell("mail", "three")]))
    store.delivered(1, NOON_MS + 1)
    store.given_up(2, NOON_MS + 2, "no such address")
    store.postponed(1, NOON_MS, "too late to fail")
    store.delivered(2, NOON_MS + 3)
    store.delivered(99, NOON_MS)
    assert [due.number for due in store.waiting()] == [3]
    counts = store.counts()
    assert (counts["due"], counts["sent"]) == (1, 1)


def test_messages_given_up_are_counted_by_channel_and_time(store: Store) -> None:
    due = [
        to_tell("mail", "one"),
        to_tell("mail", "two"),
        to_tell("console", "one"),
        to_tell("mail", "three"),
    ]
    store.keep(Round(NOON_MS, due=due))
    assert store.lost(0, NOON_MS + 10) == {}
    for number, at_ms in ((1, NOON_MS), (2, NOON_MS + 4), (3, NOON_MS + 9)):
        store.given_up(number, at_ms, "no such address")
    store.delivered(4, NOON_MS + 5)
    assert store.lost(NOON_MS, NOON_MS + 10) == {"mail": 2, "console": 1}
    assert store.lost(NOON_MS + 1, NOON_MS + 9) == {"mail": 1}


# ------------------------------------------------------------------- states, notes and refused


def test_of_states_and_notes_the_last_counts(store: Store) -> None:
    store.keep(
        Round(NOON_MS, states={"tray-a": {"n": 1}, "tray-b": {"n": 1}}, notes={"a": 1, "b": [1, None]})
    )
    store.keep(Round(NOON_MS, states={"tray-b": {"n": 2.5}}, notes={"a": {"x": "°C"}}))
    assert store.states() == {"tray-a": {"n": 1}, "tray-b": {"n": 2.5}}
    assert store.notes() == {"a": {"x": "°C"}, "b": [1, None]}


def test_a_state_comes_back_to_the_last_bit(store: Store) -> None:
    state = {"value": 0.1 + 0.2, "time_ms": 2**62 + 1, "rows": [[1e-320, -0.0], []], "none": None}
    store.keep(Round(NOON_MS, states={"tray-a": state}))
    assert repr(store.states()["tray-a"]) == repr(state)


def test_whatever_arrived_can_be_kept_as_refused_but_not_at_any_length(store: Store) -> None:
    wild = Refused("bench", "no JSON", "\udcff\x00" + "x" * 1_000_000, 10**30, None, "\ud800" * 300)
    store.keep(Round(NOON_MS, refused=[wild]))
    ((_, kept),) = store.refused()
    assert kept.raw.startswith("\\udcff\x00xx")
    assert (len(kept.raw), len(kept.quantity or ""), kept.time_ms) == (200, 200, None)


def test_only_the_newest_of_the_refused_are_kept_and_all_are_counted(store: Store) -> None:
    many = [Refused("bench", "no number", str(place)) for place in range(10_050)]
    store.keep(Round(NOON_MS, refused=many[:100]))
    store.keep(Round(NOON_MS + 1, refused=many[100:]))
    kept = [one.raw for _, one in store.refused(last=20_000)]
    assert kept == [str(place) for place in range(50, 10_050)]
    assert store.refused(last=2) == [(NOON_MS + 1, many[-2]), (NOON_MS + 1, many[-1])]
    assert store.counts()["refused"] == 10_050


# ------------------------------------------------------------------------------------- threads


def test_messages_are_marked_by_other_threads_while_rounds_are_kept(store: Store) -> None:
    store.keep(Round(NOON_MS, due=[to_tell("mail", str(key)) for key in range(100)]))

    def keep() -> None:
        for place in range(100):
            store.keep(
                Round(
                    NOON_MS,
                    readings=[Reading(NOON_MS + place, "tray-a", "ppfd", 90.0)],
                    notes={"round": place},
                )
            )

    def deliver(first: int) -> None:
        for number in range(first, 101, 2):
            store.delivered(number, NOON_MS)
            store.due(NOON_MS)

    with ThreadPoolExecutor(3) as pool:
        for job in [pool.submit(keep), pool.submit(deliver, 1), pool.submit(deliver, 2)]:
            job.result(timeout=30)
    counts = store.counts()
    assert (counts["readings"], counts["sent"], counts["due"]) == (100, 100, 0)


def test_close_may_be_called_twice(store: Store) -> None:
    store.keep(journal(change("raised")))
    store.close()
    store.close()
