"""Who may see and change anything of the page."""

from typing import Any

import pytest
from fake_clock import FakeClock

from wardian.daemon.page.asked import Request
from wardian.daemon.page.guard import SESSION, Guard

HERE = "bench.example:8460"


def guard(password: str | None = None, *, is_open: bool = False, clock: FakeClock | None = None) -> Guard:
    return Guard(["bench.example"], password, clock or FakeClock(), is_open=is_open)


def status(of: Guard, method: str = "GET", token: str | None = None, **headers: str) -> int:
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    fields = {"token": of.token if token is None else token}
    refused = of.refusal(Request(method, "/", {"host": HERE, **named}, fields=fields))
    return 200 if refused is None else int(refused.status)


@pytest.mark.parametrize(
    "host",
    [
        "bench.example",
        "BENCH.example:80",
        "bench.example.:8460",
        "localhost:8460",
        "127.0.0.1:8460",
        "[::1]:8460",
    ],
)
def test_the_names_of_the_bench_and_of_this_machine_are_known(host: str) -> None:
    assert status(guard(), host=host) == 200


@pytest.mark.threat(5)
@pytest.mark.parametrize(
    "host",
    [
        "",
        "evil.example",
        "bench.example.evil.example",
        "evil.example:8460",
        "bench.example@evil.example",
        "bench.example/",
        "bench.example evil.example",
        "192.0.2.7:8460",
        "localhost.evil.example",
        "127.0.0.1.evil.example",
        "[::1",
        "bench.example:port",
        "xn--bnch-loa.example",
        "0.0.0.0",
    ],
)
def test_any_other_name_is_refused(host: str) -> None:
    assert status(guard(), host=host) == 421


def test_a_bare_address_is_known_where_other_machines_may_come() -> None:
    assert status(guard("password-of-it", is_open=True), host="192.0.2.7:8460") == 200
    assert status(guard("password-of-it", is_open=True), host="evil.example") == 421


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": f"http://{HERE}"},
        {"origin": f"https://{HERE}"},
        {"sec_fetch_site": "same-origin"},
        {"origin": f"http://{HERE}", "sec_fetch_site": "same-origin"},
    ],
)
def test_a_form_of_this_page_is_taken(headers: dict[str, Any]) -> None:
    assert status(guard(), "POST", **headers) == 200


@pytest.mark.threat(5)
@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"origin": "null"},
        {"origin": "http://evil.example"},
        {"origin": "http://bench.example"},
        {"origin": f"http://{HERE}.evil.example"},
        {"origin": f"http://{HERE}", "sec_fetch_site": "cross-site"},
        {"origin": f"http://{HERE}", "sec_fetch_site": "same-site"},
        {"sec_fetch_site": "none"},
        {"sec_fetch_site": "cross-site"},
        {"referer": f"http://{HERE}/"},
        {"origin": f"http://x@{HERE}"},
    ],
)
def test_a_form_from_anywhere_else_is_refused(headers: dict[str, Any]) -> None:
    assert status(guard(), "POST", **headers) == 403


@pytest.mark.threat(5)
@pytest.mark.parametrize("token", ["", "guessed", "é"])
def test_a_form_without_the_token_of_this_start_is_refused(token: str) -> None:
    assert status(guard(), "POST", token, origin=f"http://{HERE}") == 403


# ------------------------------------------------------------------------------------- signing in


def with_session(session: str | None) -> Request:
    return Request("GET", "/", {"host": HERE}, cookies={SESSION: session or ""})


def test_without_a_password_everybody_is_known() -> None:
    assert guard().knows(with_session(None))


def test_only_who_has_said_the_password_is_known() -> None:
    asked = guard("password-of-it")
    assert not asked.knows(with_session(None))
    assert asked.sign_in("password-of-I") is None
    session = asked.sign_in("password-of-it")
    assert asked.knows(with_session(session))
    assert not asked.knows(with_session("guessed"))
    asked.sign_out(with_session(session))
    assert not asked.knows(with_session(session))


def test_a_session_ends_after_a_month() -> None:
    clock = FakeClock()
    asked = guard("password-of-it", clock=clock)
    session = asked.sign_in("password-of-it")
    clock.step(30 * 86_400_000 - 1)
    assert asked.knows(with_session(session))
    clock.step(1)
    assert not asked.knows(with_session(session))


def test_after_ten_wrong_passwords_none_is_taken_for_a_minute() -> None:
    clock = FakeClock()
    asked = guard("password-of-it", clock=clock)
    assert [asked.sign_in(f"guess {number}") for number in range(10)] == [None] * 10
    assert asked.sign_in("password-of-it") is None
    clock.step(60_000)
    assert asked.sign_in("password-of-it") is not None
