import os
import ssl
import stat
from pathlib import Path
from typing import Any

import pytest

from wardian.adapters.brokers import (
    BrokerSettings,
    _refuse_open_to_others,
    encryption,
    is_loopback,
    new_client,
    secret,
)
from wardian.rules.errors import AdapterError

CANARY = "canary-4711"


def private_file(folder: Path, content: str | bytes = CANARY + "\n", mode: int = 0o600) -> Path:
    file = folder / "secret"
    file.write_bytes(content if isinstance(content, bytes) else content.encode())
    file.chmod(mode)
    return file


def refusal_of(*arguments: Any) -> str:
    with pytest.raises(AdapterError) as caught:
        secret("mail", "password", *arguments)
    assert not caught.value.may_heal
    assert CANARY not in str(caught.value)
    assert CANARY not in repr(caught.value.__cause__)
    return caught.value.why


def test_a_secret_is_the_content_of_its_file_without_the_line_end(tmp_path: Path) -> None:
    assert secret("mail", "password", private_file(tmp_path)) == CANARY
    assert secret("mail", "password", private_file(tmp_path, " two words \r\n")) == " two words "


def test_a_secret_is_the_value_of_its_variable(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BENCH_SECRET", CANARY)
    assert secret("mail", "password", None, "BENCH_SECRET") == CANARY


def test_no_secret_is_needed_where_none_is_named() -> None:
    assert secret("mail", "password") is None


def test_a_file_and_a_variable_are_too_much(tmp_path: Path) -> None:
    assert "give one of them" in refusal_of(private_file(tmp_path), "BENCH_SECRET")


@pytest.mark.threat(8)
@pytest.mark.parametrize("mode", [0o640, 0o604, 0o610, 0o666, 0o660, 0o601])
def test_a_file_that_others_may_use_is_refused_and_the_cure_is_told(tmp_path: Path, mode: int) -> None:
    file = private_file(tmp_path, mode=mode)
    assert f"chmod 600 {file}" in refusal_of(file)


@pytest.mark.parametrize("mode", [0o600, 0o400, 0o700])
def test_a_file_of_our_own_is_accepted_in_every_private_mode(tmp_path: Path, mode: int) -> None:
    assert secret("mail", "password", private_file(tmp_path, mode=mode)) == CANARY


def found(mode: int, owner: int) -> os.stat_result:
    return os.stat_result((stat.S_IFREG | mode, 1, 1, 1, owner, owner, 8, 0, 0, 0))


def test_a_file_of_root_is_accepted_and_one_of_somebody_else_is_not() -> None:
    file = Path("/somewhere/secret")
    _refuse_open_to_others("mail", "password_file", file, found(0o600, 0))
    with pytest.raises(AdapterError, match="belongs to user 12345; it must be ours or root's"):
        _refuse_open_to_others("mail", "password_file", file, found(0o600, 12345))


def test_what_the_service_manager_hands_over_may_show_a_group_that_reads(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("CREDENTIALS_DIRECTORY", "/run/credentials/bench")
    handed_over = Path("/run/credentials/bench/mail")
    _refuse_open_to_others("mail", "password_file", handed_over, found(0o440, 0))
    for file, mode in ((handed_over, 0o444), (handed_over, 0o460), (Path("/etc/mail"), 0o440)):
        with pytest.raises(AdapterError, match="others may use it"):
            _refuse_open_to_others("mail", "password_file", file, found(mode, 0))


def test_only_a_regular_file_holds_a_secret(tmp_path: Path) -> None:
    assert "not a regular file" in refusal_of(tmp_path)
    os.mkfifo(tmp_path / "pipe", 0o600)
    assert "not a regular file" in refusal_of(tmp_path / "pipe")
    assert "cannot be read: No such file" in refusal_of(tmp_path / "missing")


def test_a_link_is_judged_by_the_file_it_leads_to(tmp_path: Path) -> None:
    link = tmp_path / "link"
    link.symlink_to(private_file(tmp_path, mode=0o644))
    assert "others may use it" in refusal_of(link)


def test_what_cannot_be_a_secret_is_refused_without_being_shown(tmp_path: Path) -> None:
    assert "holds nothing" in refusal_of(private_file(tmp_path, "\n"))
    assert "not text in UTF-8" in refusal_of(private_file(tmp_path, CANARY.encode() + b"\xff"))
    assert "is it the right file?" in refusal_of(private_file(tmp_path, CANARY * 10_000))
    assert "NO_SUCH_VARIABLE holds nothing" in refusal_of(None, "NO_SUCH_VARIABLE")


# ------------------------------------------------------------------------------------- clients


def settings(host: str = "127.0.0.1", **more: Any) -> BrokerSettings:
    return BrokerSettings(host=host, port=1883, client_id="bench", **more)


def why_not(broker: BrokerSettings) -> str:
    with pytest.raises(AdapterError) as caught:
        new_client("bench", broker, clean=True)
    assert not caught.value.may_heal
    return caught.value.why


@pytest.mark.threat(2)
def test_a_password_never_crosses_a_network_unencrypted_by_accident(tmp_path: Path) -> None:
    with_password = {"user": "bench", "password_file": private_file(tmp_path)}
    assert "greenhouse.example unencrypted" in why_not(settings("greenhouse.example", **with_password))
    new_client("bench", settings("127.0.0.1", **with_password), clean=True)
    new_client("bench", settings("greenhouse.example", tls=True, **with_password), clean=True)
    allowed = settings("greenhouse.example", allow_plain_password=True, **with_password)
    new_client("bench", allowed, clean=True)


def test_a_password_needs_a_user(tmp_path: Path) -> None:
    assert "without a user" in why_not(settings(password_file=private_file(tmp_path)))


def test_an_unknown_protocol_is_refused_with_those_that_are_known() -> None:
    assert why_not(settings(protocol="4")) == "protocol '4' is unknown; accepted: 3.1.1, 5"


def test_only_a_loopback_address_and_its_name_are_this_machine() -> None:
    assert all(is_loopback(host) for host in ("localhost", "LOCALHOST", "127.0.0.1", "127.9.9.9", "::1"))
    assert not any(is_loopback(host) for host in ("localhost.example", "128.0.0.1", "127.0.0.1.example", ""))


@pytest.mark.threat(2)
def test_encryption_is_at_least_tls_1_2_and_always_verifies() -> None:
    context = encryption("bench")
    assert context.minimum_version == ssl.TLSVersion.TLSv1_2
    assert context.verify_mode == ssl.CERT_REQUIRED
    assert context.check_hostname


def test_a_certificate_that_cannot_be_used_is_named(tmp_path: Path) -> None:
    missing, nonsense = tmp_path / "missing.pem", private_file(tmp_path, "nonsense")
    assert str(missing) in why_not(settings(ca_file=missing))
    assert str(nonsense) in why_not(settings(ca_file=nonsense))
    assert str(missing) in why_not(settings(tls=True, cert_file=missing))
    assert str(nonsense) in why_not(settings(tls=True, cert_file=nonsense, key_file=nonsense))
