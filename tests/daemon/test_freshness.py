from dataclasses import replace

from fake_clock import NOON_MS, FakeClock
from outbox_fakes import FakeNotifier, FakeStore, alarm_fields

from wardian.daemon.lives import RELEASED
from wardian.daemon.outbox import Outbox
from wardian.rules.ports import Message
from wardian.rules.transitions import RAISED, RETURNED

RAISED_AT, RETURNED_AT, RAISED_AGAIN_AT = (f"2026-03-04T0{hour}:00:00.000Z" for hour in (5, 6, 7))
MINUTE_MS = 60_000


def raised(time: str = RAISED_AT, **more: str) -> Message:
    fields = alarm_fields(RAISED, time, **more)
    return Message(f"raised {time}", "tray-a: too dry", "Mist it.", fields)


def returned(time: str = RETURNED_AT) -> Message:
    fields = alarm_fields(RETURNED, time)
    return Message(f"returned {time}", "tray-a: fine", "All is well.", fields)


def keep(store: FakeStore, message: Message, minutes: int = 0) -> None:
    """Commit a change of an alarm with its message, as one round does."""
    now_ms = NOON_MS + minutes * MINUTE_MS
    store.enter(now_ms, dict(message.fields))
    store.write("mail", message, now_ms)


def sent(store: FakeStore, minutes: int = 0, outcomes: tuple[str, ...] = ()) -> list[Message]:
    mail = FakeNotifier("mail", list(outcomes))
    outbox = Outbox(store.as_store, [mail], FakeClock(), lambda time_ms: f"minute {_minute(time_ms)}")
    outbox.run_due(NOON_MS + minutes * MINUTE_MS)
    return mail.taken


def _minute(time_ms: int) -> int:
    return (time_ms - NOON_MS) // MINUTE_MS


def test_an_alarm_that_stands_is_told_as_it_was_written() -> None:
    store = FakeStore()
    keep(store, raised())
    assert sent(store) == [raised()]


def test_an_alarm_that_returned_meanwhile_says_so_and_its_return_is_told_after_it() -> None:
    store = FakeStore()
    keep(store, raised())
    keep(store, returned(), minutes=3)
    first, second = sent(store, minutes=4)
    assert first.key == raised().key
    assert first.subject == "returned since (minute 3): tray-a: too dry"
    assert first.body == "returned since (minute 3): Mist it."
    assert first.fields == {**raised().fields, "returned_since": RETURNED_AT}
    assert second == returned()


def test_an_alarm_that_returned_and_rose_again_tells_of_each_raise_what_is_true_of_it() -> None:
    store = FakeStore()
    keep(store, raised())
    keep(store, returned(), minutes=1)
    keep(store, raised(RAISED_AGAIN_AT), minutes=2)
    assert [message.body for message in sent(store, minutes=3)] == [
        "returned since (minute 1): Mist it.",
        "All is well.",
        "Mist it.",
    ]


def test_the_return_of_another_alarm_changes_nothing() -> None:
    store = FakeStore()
    keep(store, raised())
    for other in (
        alarm_fields(RETURNED, RETURNED_AT, "tray-b"),
        alarm_fields(RETURNED, RETURNED_AT, limit="high"),
    ):
        store.enter(NOON_MS, other)
    assert sent(store) == [raised()]


def test_what_was_let_go_and_returned_meanwhile_says_so() -> None:
    store = FakeStore()
    store.enter(NOON_MS, dict(raised().fields))
    let_go = Message("let go", "tray-a: too dry", "Mist it.", alarm_fields(RELEASED, RAISED_AGAIN_AT))
    keep(store, let_go, minutes=1)
    assert sent(store, minutes=1) == [let_go]
    keep(store, replace(let_go, key="another"), minutes=1)
    keep(store, returned("2026-03-04T08:00:00.000Z"), minutes=3)
    first, _ = sent(store, minutes=4)
    assert first.subject == "returned since (minute 3): tray-a: too dry"


def test_a_return_far_back_in_the_journal_is_found() -> None:
    store = FakeStore()
    keep(store, raised())
    keep(store, returned(), minutes=1)
    for number in range(6_000):
        store.enter(NOON_MS, alarm_fields(RAISED, str(number), f"tray {number}"))
    assert sent(store, minutes=2)[0].fields["returned_since"] == RETURNED_AT


def test_a_trial_that_is_in_no_journal_is_told_as_it_was_written() -> None:
    store = FakeStore()
    store.write("mail", raised())
    store.write("mail", replace(raised(), key="bare", fields={"event": RAISED}))
    assert [message.body for message in sent(store)] == ["Mist it.", "Mist it."]


def test_after_ten_minutes_a_message_says_that_it_is_delayed() -> None:
    for minutes, body in ((10, "Mist it."), (11, "(delayed, written at minute 0)\nMist it.")):
        store = FakeStore()
        keep(store, raised())
        assert [message.body for message in sent(store, minutes)] == [body]


def test_a_delayed_message_that_was_tried_before_says_since_when() -> None:
    store = FakeStore()
    keep(store, raised())
    assert sent(store, outcomes=("failed",)) == []
    keep(store, returned(), minutes=30)
    first, second = sent(store, minutes=61)
    assert first.body == "returned since (minute 30): (delayed, first tried at minute 0)\nMist it."
    assert second.body == "(delayed, written at minute 30)\nAll is well."


# ------------------------------------------------------------------------------ messages about several


def composed(*alarms: Message) -> Message:
    lead, *others = alarms
    also = [other.fields for other in others]
    return Message(
        "teacher/1",
        "2 troubles",
        "tray-a and tray-b.",
        {**lead.fields, "also": also, "person": "teacher"},
    )


def both_raised() -> tuple[FakeStore, Message]:
    store, a, b = FakeStore(), raised(), raised(tray="tray-b")
    for message in (a, b):
        store.enter(NOON_MS, dict(message.fields))
    store.write("mail", composed(a, b))
    return store, composed(a, b)


def test_a_message_about_several_alarms_that_stand_is_told_as_it_was_written() -> None:
    store, message = both_raised()
    assert sent(store) == [message]


def test_a_message_about_several_alarms_says_which_of_them_returned_meanwhile() -> None:
    for tray in ("tray-a", "tray-b"):
        store, message = both_raised()
        store.enter(NOON_MS + 3 * MINUTE_MS, alarm_fields(RETURNED, RETURNED_AT, tray=tray))
        (told,) = sent(store, minutes=4)
        assert told.body == f"(returned since: {tray} too dry (minute 3))\ntray-a and tray-b."
        assert (told.key, told.subject, told.fields) == (message.key, message.subject, message.fields)


def test_a_message_about_several_alarms_that_all_returned_says_so_first() -> None:
    store, _ = both_raised()
    for minute, tray in enumerate(("tray-b", "tray-a"), start=3):
        store.enter(NOON_MS + minute * MINUTE_MS, alarm_fields(RETURNED, RETURNED_AT, tray=tray))
    (told,) = sent(store, minutes=5)
    assert told.subject == "returned since (minute 4): 2 troubles"
    assert told.fields["returned_since"] == RETURNED_AT


def test_of_several_alarms_only_those_are_looked_for_that_the_message_says_were_raised() -> None:
    store, a = FakeStore(), raised()
    store.enter(NOON_MS, dict(a.fields))
    store.write("mail", composed(a, returned()))
    store.enter(NOON_MS + MINUTE_MS, alarm_fields(RETURNED, RETURNED_AT))
    (told,) = sent(store, minutes=2)
    assert told.body.startswith("(returned since: tray-a too dry (minute 1))\n")
