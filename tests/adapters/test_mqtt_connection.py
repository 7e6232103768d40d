import logging
import signal
import socket
import threading
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from fake_clock import FakeClock
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from wardian.adapters.brokers import BrokerSettings
from wardian.adapters.payloads import NumberForm, Target
from wardian.adapters.sensors.mqtt import MqttSensor, MqttSettings, Subscription

NOW_MS = 1_767_225_600_000
TRAYS = frozenset({"tray-a", "tray-b"})
NUMBERS = Subscription("bench/{tray}/{quantity}", NumberForm(Target()))
SINCE = "since 2026-01-01T00:00:00.000Z"
BOTH = pytest.mark.parametrize("protocol", ["3.1.1", "5"])
#: paho leaves a socket whose handshake failed, and those of a thread that ended, to the garbage collector.
LEAVES_SOCKETS = pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
WaitUntil = Callable[..., None]


def sensor_of(*subscriptions: Subscription, **broker: Any) -> MqttSensor:
    settings = BrokerSettings(**{"host": "127.0.0.1", "port": 1, "client_id": "bench-12", **broker})
    return MqttSensor(MqttSettings("wire", settings, subscriptions or (NUMBERS,)), TRAYS, FakeClock(NOW_MS))


Started = Callable[..., MqttSensor]


@pytest.fixture
def started() -> Iterator[Started]:
    """Return what makes a sensor and starts it; all are stopped at the end."""
    sensors: list[MqttSensor] = []

    def start(*subscriptions: Subscription, **broker: Any) -> MqttSensor:
        sensors.append(sensor_of(*subscriptions, **broker))
        sensors[-1].start(lambda _: True)
        return sensors[-1]

    yield start
    for sensor in sensors:
        sensor.stop()


# ---------------------------------------------------------------------------------- connection


@pytest.mark.needs_broker
@BOTH
def test_a_broker_that_comes_late_goes_and_comes_back_is_met_each_time_and_health_says_so(
    broker: Any, started: Started, protocol: str, wait_until: WaitUntil
) -> None:
    broker.stop()
    sensor = started(port=broker.port, protocol=protocol)
    place = f"broker 127.0.0.1:{broker.port} {SINCE}"
    refused = (False, f"no connection to {place}: Connection refused")
    wait_until(lambda: sensor.health() == refused, "the refusal in words")
    broker.start()
    wait_until(lambda: sensor.health() == (True, f"connected to {place}"), "the connection")
    broker.kill()
    wait_until(lambda: not sensor.health().works, "the loss")
    assert sensor.health().words == f"no connection to {place}: the connection broke"
    broker.start()
    wait_until(lambda: sensor.health().works, "the second connection")


@pytest.mark.needs_broker
def test_a_broker_that_answers_no_more_is_noticed_within_two_keepalives(
    broker: Any, started: Started, wait_until: WaitUntil
) -> None:
    sensor = started(port=broker.port, keepalive_s=1)
    wait_until(lambda: sensor.health().works, "the connection")
    broker.process.send_signal(signal.SIGSTOP)
    wait_until(lambda: "Keep alive timeout" in sensor.health().words, "the silence to be noticed")
    broker.process.send_signal(signal.SIGCONT)
    wait_until(lambda: sensor.health().works, "the second connection")


@pytest.mark.needs_broker
def test_each_loss_is_logged_once_with_its_reason(
    broker: Any, started: Started, caplog: pytest.LogCaptureFixture, wait_until: WaitUntil
) -> None:
    broker.stop()
    sensor = started(port=broker.port)
    wait_until(lambda: "Connection refused" in sensor.health().words, "the first refusal")
    sensor._session._on_connect_fail(sensor._session._client, None)
    (record,) = (one for one in caplog.records if "refused" in getattr(one, "why", ""))
    assert (record.message, record.levelno) == ("broker not connected", logging.WARNING)
    assert getattr(record, "broker", "") == f"127.0.0.1:{broker.port}"


@pytest.mark.needs_broker
def test_a_stopped_sensor_leaves_the_broker_and_may_be_stopped_again(
    broker: Any, started: Started, wait_until: WaitUntil
) -> None:
    sensor = started(port=broker.port)
    wait_until(lambda: sensor.health().works, "the connection")
    sensor.stop()
    wait_until(lambda: "Received DISCONNECT from bench-12" in broker.log, "the goodbye")
    sensor.stop()
    assert not sensor.health().works


def test_a_sensor_is_stopped_at_once_while_its_broker_is_away(started: Started) -> None:
    before = set(threading.enumerate())
    started().stop()
    assert set(threading.enumerate()) <= before


def test_a_broker_that_tells_of_another_client_with_our_id_is_left_to_it_for_a_while(
    started: Started, wait_until: WaitUntil
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        sensor = started(port=server.getsockname()[1])
        connection, _ = server.accept()
        with connection:
            assert connection.recv(1000)[0] == 0x10  # CONNECT
            connection.sendall(bytes.fromhex("2003000000"))  # CONNACK
            assert connection.recv(1000)[0] == 0x82  # SUBSCRIBE
            connection.sendall(bytes.fromhex("e0028e00"))  # DISCONNECT, session taken over
            wait_until(lambda: sensor.counts == {"taken over": 1}, "the takeover")
    assert "another client came with our client id 'bench-12'" in sensor.health().words
    assert sensor._session._client._reconnect_min_delay >= 30


@pytest.mark.needs_broker
@BOTH
def test_a_second_client_with_our_id_is_suspected_when_connections_end_time_and_again(
    broker: Any, started: Started, protocol: str, wait_until: WaitUntil
) -> None:
    sensor = started(port=broker.port, protocol=protocol)
    for _ in range(3):
        wait_until(lambda: sensor.health().works, "the connection")
        other = Client(CallbackAPIVersion.VERSION2, client_id="bench-12")
        other.connect("127.0.0.1", broker.port)
        wait_until(lambda: not sensor.health().works, "its end")
        other.disconnect()
    assert "time and again; is there another client with the id 'bench-12'?" in sensor.health().words


@pytest.mark.needs_broker
@BOTH
def test_a_refused_subscription_is_no_working_wire(
    broker: Any, started: Started, protocol: str, wait_until: WaitUntil
) -> None:
    broker.stop()
    rights = broker.folder / "rights.json"
    rights.write_text('{"defaultACLAccess": {"publishClientSend": true, "subscribe": false}}')
    plugin = "/usr/lib/x86_64-linux-gnu/mosquitto_dynamic_security.so"
    broker.lines = ("allow_anonymous true", f"plugin {plugin}", f"plugin_opt_config_file {rights}")
    broker.start()
    sensor = started(port=broker.port, protocol=protocol)
    wait_until(lambda: "refuses the subscription" in sensor.health().words, "the refusal")
    assert not sensor.health().works
    assert "'bench/+/+' (" in sensor.health().words


@pytest.mark.needs_broker
def test_a_subscription_granted_at_a_lower_quality_is_said(
    broker: Any, started: Started, wait_until: WaitUntil
) -> None:
    broker.stop()
    broker.lines = ("allow_anonymous true", "max_qos 0")
    broker.start()
    sensor = started(port=broker.port)
    wait_until(lambda: sensor.health().works, "the subscription")
    assert "it may lose messages of 'bench/+/+' while we are away" in sensor.health().words


@pytest.mark.needs_broker
@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")  # it is the point
@LEAVES_SOCKETS
def test_a_network_thread_that_ended_is_seen_and_started_again(
    *,
    broker: Any,
    started: Started,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
    wait_until: WaitUntil,
) -> None:
    sensor = started(port=broker.port)
    wait_until(lambda: sensor.health().works, "the connection")
    thread = sensor._session._thread
    assert thread is not None

    def broken() -> None:
        raise ZeroDivisionError

    with monkeypatch.context() as patched:
        patched.setattr(sensor._session._client, "_handle_publish", broken)
        broker.publish("bench/tray-a/ppfd", "60")
        wait_until(lambda: not thread.is_alive(), "the end of the thread")
    assert sensor._session._client.is_connected()
    wait_until(lambda: sensor.health().works and sensor.counts, "the second connection")
    assert "its network thread ended and is started again" in [vars(one).get("why") for one in caplog.records]
    assert sensor.counts["network thread ended"] == 1


# ------------------------------------------------------------------------- secrets, encryption


@pytest.mark.needs_broker
@BOTH
@pytest.mark.parametrize("place", ["file", "environment"])
def test_the_right_password_opens_the_broker_and_is_never_shown(
    *,
    broker_with_passwords: Any,
    started: Started,
    protocol: str,
    place: str,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
    wait_until: WaitUntil,
) -> None:
    caplog.set_level(logging.DEBUG)
    broker = broker_with_passwords
    monkeypatch.setenv("BENCH_PASSWORD", broker.password)
    secret: dict[str, Any] = (
        {"password_file": broker.password_file} if place == "file" else {"password_env": "BENCH_PASSWORD"}
    )
    sensor = started(port=broker.port, protocol=protocol, user=broker.user, **secret)
    wait_until(lambda: sensor.health().works, "the connection")
    shown = f"{caplog.text}{[vars(record) for record in caplog.records]}{vars(sensor)}{sensor.health()}"
    assert broker.password not in shown


@pytest.mark.needs_broker
@BOTH
def test_a_wrong_password_is_said_and_never_shown(
    *,
    broker_with_passwords: Any,
    started: Started,
    protocol: str,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
    wait_until: WaitUntil,
) -> None:
    monkeypatch.setenv("BENCH_PASSWORD", "perlite and moss")
    port, user = broker_with_passwords.port, broker_with_passwords.user
    sensor = started(port=port, protocol=protocol, user=user, password_env="BENCH_PASSWORD")
    wait_until(lambda: "it refuses us: " in sensor.health().words, "the refusal")
    assert any(word in sensor.health().words for word in ("Not authorized", "Bad user name or password"))
    assert "perlite and moss" not in f"{caplog.text}{[vars(record) for record in caplog.records]}"


@pytest.mark.needs_broker
@BOTH
def test_an_encrypted_broker_is_met_with_a_client_certificate(
    broker_with_tls: Any, started: Started, protocol: str, wait_until: WaitUntil
) -> None:
    files = {name: getattr(broker_with_tls, name) for name in ("ca_file", "cert_file", "key_file")}
    sensor = started(port=broker_with_tls.port, protocol=protocol, **files)
    wait_until(lambda: sensor.health().works, "the connection")
    sensor._session._hang_up(socket.SHUT_RDWR)
    wait_until(lambda: not sensor.health().works, "its end")
    wait_until(lambda: sensor.health().works, "the second connection")


@pytest.mark.threat(2)
@pytest.mark.needs_broker
@LEAVES_SOCKETS
def test_a_certificate_of_an_unknown_authority_is_refused(
    broker_with_tls: Any, started: Started, wait_until: WaitUntil
) -> None:
    sensor = started(port=broker_with_tls.port, tls=True)
    wait_until(lambda: "its certificate is not accepted" in sensor.health().words, "the refusal")
    assert not sensor.health().works


@pytest.mark.threat(2)
@pytest.mark.needs_broker
@LEAVES_SOCKETS
def test_a_certificate_for_another_name_is_refused(
    broker_with_tls: Any, started: Started, wait_until: WaitUntil
) -> None:
    broker_with_tls.stop()
    broker_with_tls.address = "127.0.0.2"
    broker_with_tls.start()
    files = {name: getattr(broker_with_tls, name) for name in ("ca_file", "cert_file", "key_file")}
    sensor = started(host="127.0.0.2", port=broker_with_tls.port, **files)
    wait_until(lambda: "its certificate is not accepted" in sensor.health().words, "the refusal")
    assert "127.0.0.2" in sensor.health().words.split("not accepted")[1]


@pytest.mark.needs_broker
def test_a_broker_that_speaks_only_encrypted_breaks_a_plain_connection(
    broker_with_tls: Any, started: Started, wait_until: WaitUntil
) -> None:
    sensor = started(port=broker_with_tls.port)
    wait_until(lambda: "the connection broke" in sensor.health().words, "the end in words")
