import gc
import signal
import socket
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from receivers import retained

from wardian.adapters.brokers import BrokerSettings
from wardian.adapters.notifiers.mqtt import MqttNotifier, MqttNotifierSettings, alarm_topic
from wardian.rules.errors import AdapterError, DeliveryFailed, DeliveryRefused
from wardian.rules.ports import Message

pytestmark = pytest.mark.needs_broker

PASSWORD = "moss and perlite"
SHORT_S = 1.0


def alarm(event: str = "raised", **more: Any) -> Message:
    fields = {
        "time": "2026-03-04T06:12:00.000Z",
        "tray": "tray-a",
        "quantity": "relative_humidity",
        "limit": "low",
        "event": event,
        "alarm": "too-dry",
        "value": 84.0,
        "message": "Humidity is at 84 %.",
    }
    return Message(f"tray-a/{event}", "tray-a: too dry", "Mist it.", fields | more)


def settings_of(broker: Any, **more: Any) -> BrokerSettings:
    return BrokerSettings(host="127.0.0.1", port=broker.port, client_id="wardian-bell", **more)


def notifier(broker: BrokerSettings, **more: Any) -> MqttNotifier:
    return MqttNotifier(MqttNotifierSettings("bell", broker, **more))


def failure_of(sender: MqttNotifier, message: Message | None = None) -> str:
    with pytest.raises(DeliveryFailed) as caught:
        sender.send(message or alarm())
    assert PASSWORD not in f"{caught.value!r} {caught.value.__cause__!r}"
    return caught.value.why


@pytest.mark.parametrize("protocol", ["3.1.1", "5"])
def test_an_alarm_is_retained_for_whoever_comes_later_and_replaced_by_its_return(
    broker: Any, protocol: str
) -> None:
    sender = notifier(settings_of(broker, protocol=protocol))
    sender.send(alarm())
    assert retained(broker) == {"wardian/alarms/tray-a/too-dry": dict(alarm().fields, key="tray-a/raised")}
    sender.send(alarm("returned"))
    assert retained(broker) == {
        "wardian/alarms/tray-a/too-dry": dict(alarm("returned").fields, key="tray-a/returned")
    }
    sender.close()
    sender.close()


def test_every_message_is_acknowledged_and_no_connection_stays(
    broker: Any, wait_until: Callable[..., None]
) -> None:
    sender = notifier(settings_of(broker))
    for _ in range(3):
        sender.send(alarm())
    assert broker.log.count("Received PUBLISH from wardian-bell (d0, q1, r1,") == 3
    wait_until(lambda: broker.log.count("Received DISCONNECT from wardian-bell") == 3, "three farewells")


def test_alarms_of_trays_and_sensors_stand_side_by_side(broker: Any) -> None:
    sender = notifier(settings_of(broker), prefix="class/bench 2")
    sender.send(alarm())
    sender.send(alarm(tray="tray-b"))
    for quantity in ("air_temperature", "relative_humidity"):
        sender.send(alarm(limit=None, alarm="sensor-silent", quantity=quantity))
    assert sorted(retained(broker)) == [
        "class/bench 2/tray-a/sensor-silent/air_temperature",
        "class/bench 2/tray-a/sensor-silent/relative_humidity",
        "class/bench 2/tray-a/too-dry",
        "class/bench 2/tray-b/too-dry",
    ]


def test_no_name_breaks_out_of_its_level(broker: Any) -> None:
    sender = notifier(settings_of(broker))
    names = ["a/b", "+", "#", "$SYS", "100%", "a\0b", "line\nend", "苔 ä", "%2F", "\u202e", "../x"]
    for name in names:
        sender.send(alarm(tray=name, key=name))
    found = retained(broker)
    assert {fields["tray"] for fields in found.values()} == set(names)
    assert all(topic.count("/") == 3 for topic in found)


def test_a_topic_says_where_a_field_is_missing() -> None:
    fields = alarm().fields
    assert alarm_topic("p", fields) == "p/tray-a/too-dry"
    assert alarm_topic("p", dict(fields, tray="a/+#%\0")) == "p/a%2F%2B%23%25%00/too-dry"
    with pytest.raises(KeyError, match="alarm"):
        alarm_topic("p", {"tray": "tray-a"})


def test_a_message_about_no_alarm_is_refused(broker: Any) -> None:
    with pytest.raises(DeliveryRefused, match="message k is about no alarm: no 'tray'"):
        notifier(settings_of(broker)).send(Message("k", "Daily summary", "All is well.", {}))


def test_a_name_longer_than_any_topic_is_refused(broker: Any) -> None:
    with pytest.raises(DeliveryRefused, match="cannot be published"):
        notifier(settings_of(broker)).send(alarm(tray="x" * 70_000))


# -------------------------------------------------------------------------------- brokers that fail


def test_a_broker_that_is_away_is_told_when_it_is_back(broker: Any) -> None:
    sender = notifier(settings_of(broker))
    broker.kill()
    assert "cannot be reached: Connection refused" in failure_of(sender)
    broker.start()
    sender.send(alarm())
    assert list(retained(broker)) == ["wardian/alarms/tray-a/too-dry"]


def test_a_broker_that_hangs_costs_a_bounded_time_and_is_told_later(broker: Any) -> None:
    sender = notifier(settings_of(broker), timeout_s=SHORT_S)
    broker.process.send_signal(signal.SIGSTOP)
    assert failure_of(sender).endswith("gave no answer within 1 s")
    broker.process.send_signal(signal.SIGCONT)
    sender.send(alarm())
    assert list(retained(broker)) == ["wardian/alarms/tray-a/too-dry"]


def test_a_failed_message_is_not_sent_behind_the_back_of_the_outbox(broker: Any) -> None:
    sender = notifier(settings_of(broker), timeout_s=SHORT_S)
    broker.kill()
    failure_of(sender)
    broker.start()
    sender.send(alarm(tray="tray-b"))
    assert list(retained(broker)) == ["wardian/alarms/tray-b/too-dry"]


@pytest.fixture
def babbling_port() -> Iterator[int]:
    with socket.create_server(("127.0.0.1", 0)) as server:
        yield server.getsockname()[1]


def test_a_server_that_is_no_broker_is_a_failed_delivery(babbling_port: int) -> None:
    broker = BrokerSettings("127.0.0.1", babbling_port, "wardian-bell")
    assert "gave no answer within 1 s" in failure_of(notifier(broker, timeout_s=SHORT_S))


def test_the_password_opens_the_broker_and_a_wrong_one_does_not(
    broker_with_passwords: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    broker = broker_with_passwords
    right = settings_of(broker, user=broker.user, password_file=broker.password_file)
    notifier(right).send(alarm())
    assert list(retained(broker)) == ["wardian/alarms/tray-a/too-dry"]
    monkeypatch.setenv("WRONG", "another")
    for protocol in ("5", "3.1.1"):
        wrong = settings_of(broker, protocol=protocol, user=broker.user, password_env="WRONG")
        assert "refuses us: Not authorized" in failure_of(notifier(wrong))


def test_a_password_file_that_became_unusable_is_a_failed_delivery(broker_with_passwords: Any) -> None:
    broker = broker_with_passwords
    sender = notifier(settings_of(broker, user=broker.user, password_file=broker.password_file))
    broker.password_file.chmod(0o644)
    assert "chmod 600" in failure_of(sender)
    broker.password_file.chmod(0o600)
    sender.send(alarm())


@pytest.mark.filterwarnings("ignore:unclosed:ResourceWarning")  # paho forgets a socket whose peer it refused
def test_a_client_certificate_is_shown_and_the_broker_s_is_verified(broker_with_tls: Any) -> None:
    broker = broker_with_tls
    client = {"cert_file": broker.cert_file, "key_file": broker.key_file}
    notifier(settings_of(broker, ca_file=broker.ca_file, **client)).send(alarm())
    assert list(retained(broker)) == ["wardian/alarms/tray-a/too-dry"]
    assert "certificate verify failed" in failure_of(notifier(settings_of(broker, tls=True, **client)))
    gc.collect()


def test_a_broker_of_mqtt_5_that_grants_no_right_is_a_failed_delivery(broker: Any, tmp_path: Path) -> None:
    rights = tmp_path / "rights"
    rights.write_text("topic read #\n", encoding="utf-8")
    rights.chmod(0o600)
    broker.stop()
    broker.lines = ("allow_anonymous true", f"acl_file {rights}")
    broker.start()
    assert "does not take it: Not authorized" in failure_of(notifier(settings_of(broker)))


# ------------------------------------------------------------------------------------- settings


@pytest.mark.parametrize("prefix", ["", "/alarms", "alarms/", "a/+/b", "a/#", "$SYS/alarms", "a\0b", "a\nb"])
def test_a_prefix_that_is_no_topic_is_refused(prefix: str) -> None:
    with pytest.raises(AdapterError, match="is no topic; accepted: levels such as wardian/alarms") as caught:
        notifier(BrokerSettings("127.0.0.1", 1883, "bell"), prefix=prefix)
    assert not caught.value.may_heal


def test_settings_that_can_never_work_are_refused_at_once(tmp_path: Path) -> None:
    with pytest.raises(AdapterError, match="cannot be read"):
        notifier(BrokerSettings("127.0.0.1", 1883, "bell", user="u", password_file=tmp_path / "missing"))
