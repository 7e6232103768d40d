"""A mail server that is away for hours, slow, refuses or takes half: nothing is lost, and all leaves in order."""

import socket
from collections.abc import Iterator
from itertools import product
from pathlib import Path
from typing import Any

import pytest
from bad_mail_server import STEPS, BadMailServer, bad_mail_server
from fake_clock import FakeClock
from outbox_fakes import FakeNotifier, FakeStore, plain

from wardian.adapters.notifiers.apprise import AppriseSettings, open_apprise
from wardian.daemon.channel import JITTER, LONGEST_PAUSE_MS
from wardian.daemon.outbox import Outbox
from wardian.rules.ports import Notifier

pytestmark = pytest.mark.fault(29)

CANARY = "canary4711"
SHORT_S = 0.3
HOUR_MS = 3_600_000
TROUBLES = [
    *product(("stall", "drop"), STEPS),
    *product(("4xx", "5xx"), ("CONNECT", "RCPT", "MESSAGE")),
]


@pytest.fixture
def server() -> Iterator[BadMailServer]:
    with bad_mail_server() as running:
        yield running


def mail(folder: Path, port: int, scheme: str = "mailto") -> Notifier:
    urls = folder / "urls"
    more = f"&user=bench&pass={CANARY}" if scheme == "mailtos" else ""
    address = f"{scheme}://127.0.0.1:{port}?from=bench@example.org&to=teacher@example.org{more}"
    urls.write_text(address + "\n", encoding="utf-8")
    urls.chmod(0o600)
    (channel,) = open_apprise(AppriseSettings("mail", urls_file=urls, timeout_s=SHORT_S))
    vars(channel)["_target"][0].request_rate_per_sec = 0  # else the library waits between two mails
    return channel


class Sending:
    """An outbox with two messages for one channel, on a clock that a test steps."""

    def __init__(self, channel: Notifier) -> None:
        self.clock, self.store = FakeClock(), FakeStore()
        for key in ("1", "2"):
            self.store.write(channel.name, plain(key))
        self.outbox = Outbox(self.store.as_store, [channel], self.clock, str)

    def go(self) -> None:
        self.outbox.run_due(self.clock.now_ms)
        self.clock.step(int(LONGEST_PAUSE_MS * (1 + JITTER)))

    def go_until_all_is_taken(self) -> None:
        for _ in range(20):
            self.go()
            if len(self.store.ended) == len(self.store.rows):
                return
        pytest.fail(f"not taken: {self.store.rows}")


@pytest.mark.parametrize(("manner", "step"), TROUBLES)
def test_whatever_a_mail_server_does_at_whatever_step_all_leaves_in_order_once_it_behaves(
    manner: str, step: str, server: BadMailServer, tmp_path: Path
) -> None:
    sending = Sending(mail(tmp_path, server.port))
    server.behave(manner, step)
    sending.go()
    sending.go()
    assert sending.store.ended == {}
    assert sending.store.rows[1].attempts == 2
    assert sending.store.rows[2].attempts == 0, "nothing overtakes"
    assert sending.store.rows[1].last_error.startswith("mailto://127.0.0.1 ")
    server.behave("polite")
    sending.go_until_all_is_taken()
    subjects = [line for one in server.mails for line in one.splitlines() if line.startswith(b"Subject:")]
    assert subjects[-2:] == [b"Subject: subject 1", b"Subject: subject 2"]
    assert set(sending.store.ended.values()) == {"delivered"}


def test_a_mail_that_was_taken_without_an_answer_comes_again_with_its_key(
    server: BadMailServer, tmp_path: Path
) -> None:
    sending = Sending(mail(tmp_path, server.port))
    server.behave("drop", "MESSAGE")
    sending.go()
    server.behave("polite")
    sending.go_until_all_is_taken()
    assert b"(message 1)" in server.half_taken[0]
    assert [b"(message 1)" in one for one in server.mails] == [True, False]


def test_a_server_that_is_not_there_is_tried_again(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as nobody:
        port = nobody.getsockname()[1]
    sending = Sending(mail(tmp_path, port))
    sending.go()
    assert sending.store.rows[1].last_error == "mailto://127.0.0.1 did not take it"


@pytest.mark.needs_broker
@pytest.mark.parametrize("is_encrypted", [True, False])
def test_a_certificate_nobody_vouches_for_and_a_server_without_encryption_get_no_password(
    is_encrypted: bool, tmp_path: Path, broker_with_tls: Any
) -> None:
    certificates = broker_with_tls.folder  # the broker itself has no part here
    with bad_mail_server(certificates if is_encrypted else None) as server:
        sending = Sending(mail(tmp_path, server.port, "mailtos"))
        sending.go()
        assert sending.store.rows[1].attempts == 1
        assert sending.store.ended == {}
        assert CANARY not in str(sending.store)
        assert server.mails == []


def test_after_six_hours_without_a_server_all_50_messages_leave_in_order_and_the_first_within_two_minutes() -> (
    None
):
    clock, store = FakeClock(), FakeStore()
    hook = FakeNotifier("hook")
    outbox = Outbox(store.as_store, [hook], clock, str)
    begin_ms, back_ms = clock.now_ms, clock.now_ms + 6 * HOUR_MS
    hook.outcomes = ["failed"] * 10_000
    written = 0
    first_ms = None
    while first_ms is None:
        while written < 50 and clock.now_ms >= begin_ms + written * 7 * 60_000:
            store.write("hook", plain(str(written)), clock.now_ms)
            written += 1
        if clock.now_ms >= back_ms:
            hook.outcomes.clear()
        elif clock.now_ms >= back_ms - 1_000:
            assert outbox.waiting_words()["hook"].startswith("50 messages not delivered yet, since ")
        outbox.run_due(clock.now_ms)
        first_ms = clock.now_ms if hook.taken else None
        clock.step(1_000)
    assert first_ms - back_ms <= 120_000
    assert hook.keys == [str(number) for number in range(50)]
    assert len(hook.attempts) <= 6 * 36 + 60, "a server that is away is not pestered"
