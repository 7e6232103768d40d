"""A broker or an office that shows a certificate which cannot be trusted hears nothing from us, least of all a secret."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID
from fake_clock import FakeClock
from receivers import http_receiver

from wardian.adapters.brokers import BrokerSettings
from wardian.adapters.notifiers.webhook import WebhookNotifier, WebhookSettings
from wardian.adapters.payloads import NumberForm, Target
from wardian.adapters.sensors.mqtt import MqttSensor, MqttSettings, Subscription
from wardian.rules.errors import DeliveryFailed
from wardian.rules.ports import Message

pytestmark = [
    pytest.mark.threat(2),
    # paho leaves a socket whose handshake failed to the garbage collector.
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]

WaitUntil = Callable[..., None]
NUMBERS = Subscription("bench/{tray}/{quantity}", NumberForm(Target()))


def write_certificate(folder: Path, *, days: tuple[int, int]) -> None:
    """Write a certificate of 127.0.0.1 that nobody else signed, valid from and to so many days from now."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "broker")])
    now = datetime.now(UTC)  # noqa: TID251 - a certificate is valid by the machine's own clock
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now + timedelta(days=days[0]))
        .not_valid_after(now + timedelta(days=days[1]))
        .add_extension(x509.SubjectAlternativeName([x509.IPAddress(ip_address("127.0.0.1"))]), critical=False)
        .sign(key, hashes.SHA256())
    )
    (folder / "server.pem").write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
    private = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    (folder / "server.key").write_bytes(private)


#: Days from and to, whether its own certificate is named as the authority, and what is said.
CASES = [
    pytest.param((-9, -2), True, "expired", id="expired"),
    pytest.param((2, 9), True, "not yet valid", id="not valid yet"),
    pytest.param((-2, 9), False, "self-signed", id="self-signed"),
]


@pytest.mark.needs_broker
@pytest.mark.parametrize(("days", "is_named", "why"), CASES)
def test_a_broker_with_a_bad_certificate_is_refused_with_the_reason(
    broker: Any, wait_until: WaitUntil, days: tuple[int, int], is_named: bool, why: str
) -> None:
    broker.kill()
    write_certificate(broker.folder, days=days)
    files = [
        f"{kind} {broker.folder / name}"
        for kind, name in (("certfile", "server.pem"), ("keyfile", "server.key"))
    ]
    broker.lines = (*files, "allow_anonymous true")
    broker.start()
    trusted = {"ca_file": broker.folder / "server.pem"} if is_named else {"tls": True}
    settings = BrokerSettings("127.0.0.1", broker.port, "bench", **trusted)
    sensor = MqttSensor(MqttSettings("wire", settings, (NUMBERS,)), {"tray-a"}, FakeClock(0))
    sensor.start(lambda _: True)
    try:
        wait_until(lambda: "certificate is not accepted" in sensor.health().words, "the refusal")
        assert why in sensor.health().words
    finally:
        sensor.stop()
    assert "PUBLISH" not in broker.log


@pytest.mark.parametrize(("days", "is_named", "why"), CASES)
def test_an_office_with_a_bad_certificate_gets_no_alarm_and_no_token(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, days: tuple[int, int], is_named: bool, why: str
) -> None:
    write_certificate(tmp_path, days=days)
    monkeypatch.setenv("BENCH_SECRET", "moss")
    with http_receiver(tmp_path) as office:
        address = office.address.replace("http:", "https:")
        ca_file = tmp_path / "server.pem" if is_named else None
        channel = WebhookNotifier(
            WebhookSettings("office", address, token_env="BENCH_SECRET", ca_file=ca_file)
        )
        with pytest.raises(DeliveryFailed, match=why):
            channel.send(Message("k", "subject", "body", {}))
        assert office.requests == []
