from pathlib import Path
from typing import Any

import pytest
from fake_clock import FakeClock

from wardian.adapters.brokers import BrokerSettings
from wardian.adapters.json_payloads import JsonForm
from wardian.adapters.payloads import NumberForm, Target
from wardian.adapters.senml import SenmlForm
from wardian.adapters.sensors.mqtt import MqttSensor, MqttSettings, Subscription
from wardian.rules.errors import AdapterError
from wardian.rules.readings import Series

TRAYS = frozenset({"tray-a", "tray-b"})
NUMBERS = Subscription("bench/{tray}/{quantity}", NumberForm(Target()))


def sensor_of(*subscriptions: Subscription, expiry_s: int = 3600, **broker: Any) -> MqttSensor:
    settings = BrokerSettings(**{"host": "127.0.0.1", "port": 1, "client_id": "bench-12", **broker})
    return MqttSensor(
        MqttSettings("wire", settings, subscriptions or (NUMBERS,), expiry_s), TRAYS, FakeClock()
    )


def why_unusable(*subscriptions: Subscription, expiry_s: int = 3600, **broker: Any) -> str:
    with pytest.raises(AdapterError) as caught:
        sensor_of(*subscriptions, expiry_s=expiry_s, **broker)
    assert not caught.value.may_heal
    return str(caught.value)


def test_a_password_does_not_cross_a_network_unencrypted_unless_that_is_wished(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("BENCH_PASSWORD", "moss")
    secret: dict[str, Any] = {"user": "bench", "password_env": "BENCH_PASSWORD", "host": "bench.example"}
    assert "unencrypted" in why_unusable(**secret)
    assert sensor_of(**secret, allow_plain_password=True).name == "wire"
    assert sensor_of(**secret, tls=True).name == "wire"


def test_a_password_file_that_others_may_read_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "password"
    file.write_text("moss")
    file.chmod(0o640)
    reason = why_unusable(user="bench", password_file=file)
    assert "chmod 600" in reason
    assert "moss" not in reason


@pytest.mark.parametrize(
    ("more", "reason"),
    [
        ({"client_id": ""}, "client_id is empty"),
        ({"protocol": "3.1"}, "accepted: 3.1.1, 5"),
        ({"expiry_s": 0}, "session_expiry_s"),
        ({"expiry_s": 2**32}, "session_expiry_s"),
    ],
)
def test_settings_that_can_never_work_are_refused(more: dict[str, Any], reason: str) -> None:
    assert reason in why_unusable(**more)


def test_a_tray_that_is_not_configured_is_refused() -> None:
    wrong = Subscription("t", NumberForm(Target("ppfd")), tray="tray-z")
    assert "unknown tray 'tray-z'; known: tray-a, tray-b" in why_unusable(wrong)
    assert "unknown tray 'tray-y'" in why_unusable(Subscription("t", NumberForm(Target("ppfd", "tray-y"))))


@pytest.mark.parametrize(
    ("topic", "form", "more", "reason"),
    [
        ("bench/#/x", NumberForm(Target("ppfd", "tray-a")), {}, "alone in the last level"),
        ("", NumberForm(Target("ppfd", "tray-a")), {}, "at least one character"),
        ("bench/+", NumberForm(Target("ppfd")), {}, "nothing tells the tray"),
        ("bench/+", NumberForm(Target(tray="tray-a")), {}, "nothing tells the quantity"),
        ("bench/{tray}", NumberForm(Target("ppfd")), {"tray": "tray-a"}, "tells the tray"),
        ("bench/{tray}", NumberForm(Target("ppfd")), {"qos": 2}, "0 or 1"),
        ("bench", JsonForm({"/t": Target("ppfd")}), {}, "'/t': nothing tells the tray"),
        ("bench", SenmlForm({"{quantity}": Target()}), {}, "nothing tells the tray"),
    ],
)
def test_a_subscription_that_leaves_something_open_is_refused(
    topic: str, form: Any, more: dict[str, Any], reason: str
) -> None:
    with pytest.raises(ValueError, match=reason):
        Subscription(topic, form, **more)


def test_expected_series_are_those_that_the_settings_name() -> None:
    sensor = sensor_of(
        Subscription("bench/{tray}/{quantity}", NumberForm(Target())),
        Subscription("light/{tray}", NumberForm(Target("ppfd"))),
        Subscription(
            "scale", JsonForm({"/m": Target("tray_mass"), "/t": Target("ppfd", "tray-b")}), tray="tray-a"
        ),
        Subscription("packs", SenmlForm({"x:{tray}:rh": Target("relative_humidity"), "x:volts": None})),
    )
    assert sensor.expected == {
        Series("tray-a", "ppfd"),
        Series("tray-b", "ppfd"),
        Series("tray-a", "tray_mass"),
        Series("tray-a", "relative_humidity"),
        Series("tray-b", "relative_humidity"),
    }
    assert sensor.poll_every_s is None


def test_expected_series_may_be_said_outright() -> None:
    said = frozenset({Series("tray-a", "ppfd")})
    broker = BrokerSettings("127.0.0.1", 1, "bench-12")
    assert (
        MqttSensor(MqttSettings("wire", broker, (NUMBERS,), expect=said), TRAYS, FakeClock()).expected == said
    )
