import logging
from collections.abc import Callable
from datetime import UTC, datetime
from itertools import pairwise

import pytest
from fake_clock import NOON_MS, FakeClock
from hypothesis import given, settings
from hypothesis import strategies as st
from outbox_fakes import (
    CANARY,
    Crash,
    FakeNotifier,
    FakeStore,
    HangingNotifier,
    keys_of,
    plain,
)

from wardian.daemon.channel import FARTHEST_MS, FEWEST_ATTEMPTS, JITTER, LONGEST_PAUSE_MS, pause_ms
from wardian.daemon.outbox import Outbox, backlogs
from wardian.rules.errors import StoreFailed

DAY_MS = 86_400_000
WaitUntil = Callable[..., None]


def say_time(time_ms: int) -> str:
    return datetime.fromtimestamp(time_ms / 1000, UTC).strftime("%d %b %H:%M")


def outbox_of(store: FakeStore, clock: FakeClock, *notifiers: FakeNotifier) -> Outbox:
    return Outbox(store.as_store, notifiers, clock, say_time)


def run_until_nothing_waits(store: FakeStore, clock: FakeClock, *notifiers: FakeNotifier) -> None:
    """Let time go on from one try to the next, over crashes and failures of the store."""
    outbox = outbox_of(store, clock, *notifiers)
    while len(store.ended) < len(store.rows):
        try:
            outbox.run_due(clock.now_ms)
            due_ms = [due.due_ms for number, due in store.rows.items() if number not in store.ended]
            clock.step_to(max([clock.now_ms + 1, *due_ms[:1]]))
        except StoreFailed:
            clock.step(1)
        except Crash:
            outbox = outbox_of(store, clock, *notifiers)


# ------------------------------------------------------------------------------ order and retries


def test_messages_leave_in_the_order_they_were_written_each_through_its_channel() -> None:
    store, console, mail = FakeStore(), FakeNotifier("console"), FakeNotifier("mail")
    for key in ("1", "2", "3"):
        store.write("console", plain(key))
        store.write("mail", plain(key))
    outbox_of(store, FakeClock(), console, mail).run_due(NOON_MS)
    assert console.keys == mail.keys == ["1", "2", "3"]
    assert set(store.ended.values()) == {"delivered"}


def test_a_failed_message_is_tried_again_after_its_pause_and_nothing_overtakes_it() -> None:
    store, clock = FakeStore(), FakeClock()
    mail = FakeNotifier("mail", ["failed", "failed"])
    store.write("mail", plain("1"))
    store.write("mail", plain("2"))
    outbox = outbox_of(store, clock, mail)
    outbox.run_due(NOON_MS)
    assert (store.rows[1].attempts, store.rows[1].last_error) == (1, "no route")
    outbox.run_due(store.rows[1].due_ms - 1)
    assert mail.attempts == ["1"]
    outbox.run_due(store.rows[1].due_ms)
    assert mail.attempts == ["1", "1"]
    outbox.run_due(store.rows[1].due_ms)
    assert mail.keys == ["1", "2"]


def test_a_channel_that_fails_does_not_hold_up_another() -> None:
    store = FakeStore()
    mail, console = FakeNotifier("mail", ["failed"]), FakeNotifier("console")
    for channel in ("mail", "console", "console"):
        store.write(channel, plain(f"{channel} {len(store.rows)}"))
    outbox_of(store, FakeClock(), mail, console).run_due(NOON_MS)
    assert mail.keys == []
    assert console.keys == ["console 1", "console 2"]


def test_a_message_written_while_another_is_postponed_waits_its_turn_without_a_look() -> None:
    store, mail = FakeStore(), FakeNotifier("mail", ["failed"])
    store.write("mail", plain("1"))
    outbox = outbox_of(store, FakeClock(), mail)
    outbox.run_due(NOON_MS)
    store.write("mail", plain("2"))
    looks = store.looks
    outbox.run_due(NOON_MS + 1)
    assert store.looks == looks
    outbox.run_due(store.rows[1].due_ms)
    assert mail.keys == ["1", "2"]


def test_pauses_grow_from_five_seconds_to_100_and_are_drawn_out_by_a_fifth_at_most() -> None:
    seconds = [5, 10, 20, 40, 80, 100, 100, 100]
    for key in ("tray-a/1", "tray-b/2", "苔"):
        pauses = [pause_ms(key, attempts) for attempts in range(len(seconds))]
        assert all(s * 1000 <= p <= s * 1200 for s, p in zip(seconds, pauses, strict=True))
    assert pause_ms("k", 10_000) <= 1.2 * LONGEST_PAUSE_MS


def test_pauses_of_many_messages_spread_over_the_whole_fifth() -> None:
    shares = sorted(pause_ms(f"tray-{number}", 20) / LONGEST_PAUSE_MS for number in range(200))
    assert shares[0] < 1.01
    assert shares[-1] > 1.19
    assert max(later - earlier for earlier, later in pairwise(shares)) < 0.02


@pytest.mark.parametrize("jitter", [0.0, JITTER])
def test_a_message_is_given_up_after_seven_days_and_not_before(
    jitter: float, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("wardian.daemon.channel.JITTER", jitter)
    store, clock = FakeStore(), FakeClock()
    mail = FakeNotifier("mail", ["failed"] * 10_000)
    store.write("mail", plain("1"))
    run_until_nothing_waits(store, clock, mail)
    assert 7 * DAY_MS <= clock.now_ms - NOON_MS <= 8.5 * DAY_MS
    assert store.ended == {1: "given up: no route"}
    (error,) = [record for record in caplog.records if record.levelno == logging.ERROR]
    assert error.getMessage() == "message given up"
    assert vars(error)["key"] == "1"
    assert len(caplog.records) < 200, "a log that says the same each two minutes for a week hides the rest"


def test_a_clock_that_leaps_over_a_week_gives_nothing_up() -> None:
    store, mail = FakeStore(), FakeNotifier("mail", ["failed"] * (FEWEST_ATTEMPTS - 1))
    store.write("mail", plain("1"), now_ms=0)
    outbox = outbox_of(store, FakeClock(), mail)
    outbox.run_due(NOON_MS)
    outbox.run_due(NOON_MS + 30 * DAY_MS)
    assert store.ended == {}


def test_a_clock_that_is_put_back_does_not_silence_a_channel() -> None:
    store, mail = FakeStore(), FakeNotifier("mail", ["failed"])
    store.write("mail", plain("1"))
    outbox = outbox_of(store, FakeClock(), mail)
    outbox.run_due(NOON_MS)
    for restarted in (outbox, outbox_of(store, FakeClock(), mail)):
        restarted.run_due(NOON_MS - FARTHEST_MS)
    assert mail.keys == ["1"]


def test_a_refused_message_is_given_up_and_the_next_goes_on(caplog: pytest.LogCaptureFixture) -> None:
    store, mail = FakeStore(), FakeNotifier("mail", ["refused"])
    store.write("mail", plain("1"))
    store.write("mail", plain("2"))
    outbox_of(store, FakeClock(), mail).run_due(NOON_MS)
    assert store.ended == {1: "given up: nobody there", 2: "delivered"}
    assert [r.getMessage() for r in caplog.records if r.levelno == logging.ERROR] == ["message given up"]


def test_a_slip_in_a_channel_is_a_failure_whose_words_are_not_told(
    caplog: pytest.LogCaptureFixture,
) -> None:
    store, mail = FakeStore(), FakeNotifier("mail", ["slip"])
    store.write("mail", plain("1"))
    with caplog.at_level(logging.DEBUG):
        outbox_of(store, FakeClock(), mail).run_due(NOON_MS)
    assert store.rows[1].last_error == "unexpected KeyError"
    told = "".join(str(vars(record)) for record in caplog.records) + caplog.text
    assert CANARY not in told + str(store)


# ------------------------------------------------------------------------------- nothing is lost


def test_a_crash_after_a_message_was_taken_repeats_it_with_the_same_key() -> None:
    store, clock, mail = FakeStore(), FakeClock(), FakeNotifier("mail", ["crash"])
    store.write("mail", plain("1"))
    store.write("mail", plain("2"))
    with pytest.raises(Crash):
        outbox_of(store, clock, mail).run_due(NOON_MS)
    assert store.ended == {}
    outbox_of(store, clock, mail).run_due(NOON_MS)
    assert mail.keys == ["1", "1", "2"]


def test_a_message_that_was_taken_but_not_marked_is_marked_next_time_and_not_sent_again() -> None:
    store, mail = FakeStore(failing_marks=2), FakeNotifier("mail")
    store.write("mail", plain("1"))
    outbox = outbox_of(store, FakeClock(), mail)
    for _ in range(2):
        with pytest.raises(StoreFailed):
            outbox.run_due(NOON_MS)
    outbox.run_due(NOON_MS)
    assert store.ended == {1: "delivered"}
    assert mail.keys == ["1"]


def test_a_message_of_a_channel_that_is_not_configured_stays_and_is_told(
    caplog: pytest.LogCaptureFixture,
) -> None:
    store = FakeStore()
    store.write("old mail", plain("1"))
    outbox = outbox_of(store, FakeClock(), FakeNotifier("mail"))
    outbox.start()
    outbox.stop()
    assert store.ended == {}
    assert "messages wait for a channel that is not configured" in caplog.text


OUTCOMES = st.lists(st.sampled_from(["taken", "failed", "slip", "crash"]), max_size=25)
TROUBLES = st.integers(0, 5)


@settings(max_examples=200, deadline=None)
@given(OUTCOMES, OUTCOMES, TROUBLES, TROUBLES, st.lists(st.booleans(), min_size=1, max_size=8))
def test_any_sequence_of_failures_ends_with_everything_delivered_in_order(
    first: list[str], second: list[str], marks: int, looks: int, written: list[bool]
) -> None:
    store = FakeStore(failing_marks=marks, failing_looks=looks)
    channels = [FakeNotifier("mail", first), FakeNotifier("hook", second)]
    for number, is_mail in enumerate(written):
        store.write("mail" if is_mail else "hook", plain(str(number)))
    run_until_nothing_waits(store, FakeClock(), *channels)
    assert set(store.ended.values()) == {"delivered"}
    for channel in channels:
        expected = [due.message.key for due in store.rows.values() if due.channel == channel.name]
        assert keys_of(channel.taken) == expected
        # What could not be marked before a crash comes once more, each in its order.
        assert marks or channel.keys == sorted(channel.keys, key=int)


# -------------------------------------------------------------------------------------- threads


def test_a_channel_that_hangs_holds_up_neither_another_nor_the_end(wait_until: WaitUntil) -> None:
    store, console, mail = FakeStore(), FakeNotifier("console"), HangingNotifier("mail")
    store.write("mail", plain("1"))
    store.write("console", plain("2"))
    outbox = outbox_of(store, FakeClock(), mail, console)
    outbox.start()
    wait_until(mail.entered.is_set, "the mail to hang")
    wait_until(lambda: console.keys == ["2"], "the console to be told")
    store.write("console", plain("3"))
    outbox.nudge()
    wait_until(lambda: console.keys == ["2", "3"], "the console to be told again")
    assert outbox.is_working()
    outbox.stop(within_s=0.0)
    assert (console.closed, mail.closed) == (1, 1)
    assert 1 not in store.ended
    mail.let_go.set()


def test_what_an_earlier_run_left_is_sent_at_the_start_and_the_rest_after_a_nudge(
    wait_until: WaitUntil,
) -> None:
    store, console = FakeStore(), FakeNotifier("console")
    store.write("console", plain("1"))
    outbox = outbox_of(store, FakeClock(), console)
    outbox.start()
    wait_until(lambda: len(store.ended) == 1, "what was left")
    for number in range(2, 50):
        store.write("console", plain(str(number)))
        outbox.nudge()
    wait_until(lambda: len(store.ended) == 49, "the rest")
    outbox.stop()
    assert not outbox.is_working()
    assert console.keys == [str(number) for number in range(1, 50)]


def test_a_failed_message_is_tried_again_without_a_nudge(
    wait_until: WaitUntil, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("wardian.daemon.channel.FIRST_PAUSE_MS", 10)
    store, console = FakeStore(), FakeNotifier("console", ["failed"])
    store.write("console", plain("1"))
    clock = FakeClock()
    outbox = outbox_of(store, clock, console)
    outbox.start()
    wait_until(lambda: store.rows[1].attempts == 1, "the failure")
    clock.step(1000)
    wait_until(lambda: store.ended == {1: "delivered"}, "the second try")
    outbox.stop()


def test_a_store_that_fails_for_a_while_silences_no_channel(
    wait_until: WaitUntil, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("wardian.daemon.outbox.STORE_PAUSE_MS", 10)
    store, console = FakeStore(), FakeNotifier("console")
    outbox = outbox_of(store, FakeClock(), console)
    outbox.start()
    wait_until(lambda: store.looks == 2, "the first looks of the outbox and of its channel")
    store.failing_looks = 3
    store.write("console", plain("1"))
    outbox.nudge()
    wait_until(lambda: console.keys == ["1"], "the message")
    outbox.stop()
    assert caplog.text.count("outbox cannot use the store") == 1
    assert "Traceback" not in caplog.text


# --------------------------------------------------------------------------------------- status


def test_the_status_says_how_much_waits_by_channel_since_when_and_why() -> None:
    store, clock = FakeStore(), FakeClock()
    mail, hook = FakeNotifier("mail", ["failed"]), FakeNotifier("hook")
    outbox = outbox_of(store, clock, mail, hook)
    assert outbox.waiting_words() == {}
    for minutes in range(3):
        store.write("mail", plain(str(minutes)), NOON_MS + minutes * 60_000)
    store.write("hook", plain("hook"), NOON_MS + 60_000)
    outbox.run_due(NOON_MS)
    assert outbox.waiting_words() == {
        "mail": "3 messages not delivered yet, since 02 Mar 12:00: no route",
        "hook": "1 message not delivered yet, since 02 Mar 12:01",
    }
    outbox.run_due(NOON_MS + DAY_MS)
    assert backlogs(store.waiting()) == []
