import subprocess
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import pytest
from fake_clock import FakeClock

from wardian.adapters.brokers import BrokerSettings
from wardian.adapters.json_payloads import JsonForm
from wardian.adapters.mqtt_session import RECEIVE_MAXIMUM
from wardian.adapters.payloads import NumberForm, Target
from wardian.adapters.senml import SenmlForm
from wardian.adapters.sensors.mqtt import MqttSensor, MqttSettings, Subscription
from wardian.rules.ports import Arrival, Measured

pytestmark = pytest.mark.needs_broker

NOW_MS = 1_767_225_600_000
TRAYS = frozenset({"tray-a", "tray-b"})
NUMBERS = Subscription("bench/{tray}/{quantity}", NumberForm(Target()))
CLIMATE = Subscription("packs/+", SenmlForm({"{tray}:temp": Target("air_temperature")}))
BOTH = pytest.mark.parametrize("protocol", ["3.1.1", "5"])
WaitUntil = Callable[..., None]


@dataclass
class Inbox:
    """What a sensor handed over, whether there is room for more, and what else may go wrong."""

    sensor: MqttSensor
    arrivals: list[Arrival] = field(default_factory=list)
    room: int = 1_000_000
    errors: list[Exception] = field(default_factory=list)
    changed: threading.Condition = field(default_factory=threading.Condition)

    def take(self, arrival: Arrival) -> bool:
        with self.changed:
            if self.errors:
                raise self.errors.pop()
            if len(self.arrivals) >= self.room:
                return False
            self.arrivals.append(arrival)
            self.changed.notify_all()
            return True

    def wait_for(self, number: int) -> list[Arrival]:
        with self.changed:
            assert self.changed.wait_for(lambda: len(self.arrivals) >= number, 10), self.payloads
            return list(self.arrivals)

    @property
    def payloads(self) -> list[str]:
        return [arrival.message.payload.decode(errors="replace") for arrival in self.arrivals]

    def measured(self) -> list[Measured]:
        return [one for arrival in self.arrivals for one in self.sensor.decode(arrival).measured]


Open = Callable[..., Inbox]


@pytest.fixture
def opened(wait_until: WaitUntil) -> Iterator[Open]:
    """Return what makes a sensor and connects it; all are stopped at the end."""
    sensors: list[MqttSensor] = []

    def open_(
        broker: Any,
        *subscriptions: Subscription,
        connects: bool = True,
        room: int = 1_000_000,
        on_pressure: Callable[[], None] = lambda: None,
        **more: Any,
    ) -> Inbox:
        more = {"host": "127.0.0.1", "port": broker.port, "client_id": "bench-12", **more}
        settings = MqttSettings("wire", BrokerSettings(**more), subscriptions or (NUMBERS,))
        sensor = MqttSensor(settings, TRAYS, FakeClock(NOW_MS), on_pressure)
        sensors.append(sensor)
        inbox = Inbox(sensor, room=room)
        sensor.start(inbox.take)
        if connects:
            wait_until(lambda: sensor.health().works, "the subscription")
        return inbox

    yield open_
    for sensor in sensors:
        sensor.stop()


# ------------------------------------------------------------------------------------ readings


@BOTH
def test_tray_and_quantity_are_taken_from_the_topic(broker: Any, opened: Open, protocol: str) -> None:
    inbox = opened(broker, protocol=protocol)
    broker.publish("bench/tray-a/air_temperature", "24.5")
    broker.publish("bench/tray-b/ppfd", "60", qos=0)
    broker.publish("bench/tray-b/ppfd/raw", "1")
    broker.publish("bench/tray-b/relative_humidity", "91", qos=2)
    inbox.wait_for(3)
    assert inbox.measured() == [
        Measured(NOW_MS, "tray-a", "air_temperature", 24.5, ""),
        Measured(NOW_MS, "tray-b", "ppfd", 60.0, ""),
        Measured(NOW_MS, "tray-b", "relative_humidity", 91.0, ""),
    ]


def test_wildcards_a_fixed_tray_and_every_form_work_side_by_side(broker: Any, opened: Open) -> None:
    inbox = opened(
        broker,
        CLIMATE,
        Subscription("scale/#", JsonForm({"/m": Target("tray_mass", unit="kg")}), tray="tray-b"),
    )
    broker.publish("packs/5", '[{"n":"tray-a:temp","bt":1767225601.5,"u":"Cel","v":24.5}]')
    broker.publish("scale", '{"m": 1.5}')
    broker.publish("scale/left/raw", '{"m": 1.25}')
    inbox.wait_for(3)
    assert inbox.measured() == [
        Measured(NOW_MS + 1500, "tray-a", "air_temperature", 24.5, "Cel"),
        Measured(NOW_MS, "tray-b", "tray_mass", 1.5, "kg"),
        Measured(NOW_MS, "tray-b", "tray_mass", 1.25, "kg"),
    ]


def test_overlapping_subscriptions_read_each_message_each_in_its_way(broker: Any, opened: Open) -> None:
    inbox = opened(
        broker,
        Subscription("bench/+/t", NumberForm(Target("air_temperature")), tray="tray-a"),
        Subscription("bench/{tray}/#", NumberForm(Target("medium_temperature"))),
    )
    broker.publish("bench/tray-b/t", "24")
    first = inbox.sensor.decode(inbox.wait_for(1)[0]).measured
    assert {(one.tray, one.quantity) for one in first} == {
        ("tray-a", "air_temperature"),
        ("tray-b", "medium_temperature"),
    }


def test_what_is_no_reading_is_refused_with_its_topic_and_the_rest_goes_on(broker: Any, opened: Open) -> None:
    inbox = opened(broker)
    sent = [
        ("bench/tray-a/ppfd", b"\xff\x00"),
        ("bench/tray-z/ppfd", b"60"),
        ("bench/tray-a/fan", b"1"),
        ("bench/tray-a/ppfd", b""),
        ("bench/tray-a/ppfd", b"9" * 100_000),
    ]
    for number, (topic, payload) in enumerate(sent, start=1):
        broker.publish(topic, payload)
        inbox.sensor.acknowledge(inbox.wait_for(number)[-1:])
    broker.publish("bench/tray-a/ppfd", b"60")
    inbox.wait_for(6)
    refused = [one for arrival in inbox.arrivals for one in inbox.sensor.decode(arrival).refused]
    assert [(one.source, one.why[:30]) for one in refused] == [
        ("wire bench/tray-a/ppfd", "is not a plain number like 21."),
        ("wire bench/tray-z/ppfd", "unknown tray 'tray-z'; known: "),
        ("wire bench/tray-a/fan", "unknown quantity 'fan'; known:"),
        ("wire bench/tray-a/ppfd", "is not a plain number like 21."),
        ("wire bench/tray-a/ppfd", "is not a plain number like 21."),
    ]
    assert [one.value for one in inbox.measured()] == [60.0]
    assert len(inbox.arrivals[4].message.payload) == 65


@BOTH
def test_a_retained_number_is_left_out_quietly_and_a_retained_time_is_read(
    broker: Any, opened: Open, protocol: str
) -> None:
    broker.publish("bench/tray-a/ppfd", "60", retain=True)
    broker.publish("packs/1", '[{"n":"tray-a:temp","t":1767225000,"v":24.5}]', retain=True)
    inbox = opened(broker, NUMBERS, CLIMATE, protocol=protocol)
    outcomes = [inbox.sensor.decode(arrival) for arrival in inbox.wait_for(2)]
    assert [one.value for outcome in outcomes for one in outcome.measured] == [24.5]
    assert [outcome.refused for outcome in outcomes] == [[], []]
    assert inbox.sensor.counts == {"ignored": 1}
    broker.publish("bench/tray-a/ppfd", "61", retain=True)
    assert inbox.sensor.decode(inbox.wait_for(3)[2]).measured[0].value == 61.0


def test_a_topic_of_a_former_configuration_is_left_out_and_acknowledged(broker: Any, opened: Open) -> None:
    opened(broker, Subscription("old/{tray}", NumberForm(Target("ppfd")))).sensor.stop()
    inbox = opened(broker)
    broker.publish("old/tray-a", "60")
    (arrival,) = inbox.wait_for(1)
    decoded = inbox.sensor.decode(arrival)
    assert (decoded.measured, decoded.refused) == ([], [])
    assert inbox.sensor.counts == {"ignored": 1}


# ------------------------------------------------------------------------------ acknowledgement


@BOTH
def test_what_was_not_acknowledged_comes_again_and_what_was_does_not(
    broker: Any, opened: Open, protocol: str, wait_until: WaitUntil
) -> None:
    first = opened(broker, protocol=protocol)
    for value in ("1", "2", "3"):
        broker.publish("bench/tray-a/ppfd", value)
    arrivals = first.wait_for(3)
    assert "Received PUBACK from bench-12" not in broker.log
    first.sensor.acknowledge([arrivals[1]])
    wait_until(lambda: broker.log.count("Received PUBACK from bench-12") == 1, "one acknowledgement")
    first.sensor.stop()
    broker.publish("bench/tray-a/ppfd", "4")
    second = opened(broker, protocol=protocol)
    second.wait_for(3)
    assert second.payloads == ["1", "3", "4"]


@BOTH
def test_messages_outlive_a_broker_that_is_killed_and_a_sensor_that_is_away(
    broker: Any, opened: Open, protocol: str, wait_until: WaitUntil
) -> None:
    first = opened(broker, protocol=protocol)
    broker.publish("bench/tray-a/ppfd", "21.125")
    first.wait_for(1)
    first.sensor.stop()
    broker.publish("bench/tray-a/ppfd", "22.125")
    kept = broker.folder / "mosquitto.db"
    wait_until(lambda: kept.exists() and b"22.125" in kept.read_bytes(), "the broker's own store")
    broker.kill()
    broker.start()
    second = opened(broker, protocol=protocol)
    second.wait_for(2)
    assert second.payloads == ["21.125", "22.125"]


@BOTH
def test_an_acknowledgement_of_an_earlier_connection_waits_until_its_message_comes_again(
    broker: Any, opened: Open, protocol: str, wait_until: WaitUntil
) -> None:
    inbox = opened(broker, protocol=protocol)
    broker.publish("bench/tray-a/ppfd", "1")
    arrivals = inbox.wait_for(1)
    broker.stop()
    wait_until(lambda: not inbox.sensor.health().works, "the loss of the broker")
    inbox.sensor.acknowledge(arrivals)
    broker.start()
    wait_until(lambda: inbox.sensor.counts.get("repeated") == 1, "the same message again")
    broker.publish("bench/tray-a/ppfd", "2")
    inbox.sensor.acknowledge(inbox.wait_for(2)[1:])
    wait_until(lambda: broker.log.count("Received PUBACK from bench-12") == 2, "both acknowledgements")
    assert inbox.payloads == ["1", "2"]


def test_a_new_message_with_the_number_of_a_lost_acknowledgement_is_taken(
    broker: Any, opened: Open, wait_until: WaitUntil
) -> None:
    inbox = opened(broker)
    broker.publish("bench/tray-a/ppfd", "1")
    old = inbox.wait_for(1)
    broker.lose_everything()
    wait_until(lambda: not inbox.sensor.health().works, "the loss of the broker")
    inbox.sensor.acknowledge(old)
    broker.start()
    wait_until(lambda: inbox.sensor.health().works, "the broker without its memory")
    assert inbox.sensor._session._connection.kept == {}
    inbox.sensor.acknowledge(old)
    broker.publish("bench/tray-a/ppfd", "1")
    new = inbox.wait_for(2)[1]
    assert new.message.mid == old[0].message.mid
    assert inbox.sensor.counts == {"session not kept": 1}


def test_an_acknowledgement_never_reaches_another_message_of_the_same_number(
    broker: Any, opened: Open, wait_until: WaitUntil
) -> None:
    inbox = opened(broker)
    broker.publish("bench/tray-a/ppfd", "1")
    old = inbox.wait_for(1)
    broker.lose_everything()
    broker.start()
    wait_until(lambda: inbox.sensor.health().works, "the broker without its memory")
    broker.publish("bench/tray-a/ppfd", "2")
    new = inbox.wait_for(2)[1]
    assert new.message.mid == old[0].message.mid
    inbox.sensor.acknowledge(old)
    inbox.sensor.stop()
    again = opened(broker)
    again.wait_for(1)
    assert again.payloads == ["2"]
    assert inbox.sensor.counts["session not kept"] == 1


def test_messages_without_quality_of_service_need_no_acknowledgement(broker: Any, opened: Open) -> None:
    inbox = opened(broker, Subscription("bench/{tray}/{quantity}", NumberForm(Target()), qos=0))
    broker.publish("bench/tray-a/ppfd", "1")
    inbox.sensor.acknowledge(inbox.wait_for(1))
    broker.publish("bench/tray-a/ppfd", "2")
    inbox.wait_for(2)
    assert "Received PUBACK from bench-12" not in broker.log


@pytest.mark.parametrize(("protocol", "window"), [("3.1.1", 20), ("5", 1000)])
def test_pressure_is_told_before_the_broker_stops_sending(
    broker: Any, opened: Open, protocol: str, window: int
) -> None:
    waiting: list[int] = []
    inboxes: list[Inbox] = []
    inbox = opened(broker, protocol=protocol, on_pressure=lambda: waiting.append(len(inboxes[0].arrivals)))
    inboxes.append(inbox)
    lines = "".join(f"{number}\n" for number in range(window + 30))
    command = [
        "mosquitto_pub",
        "-h",
        "127.0.0.1",
        "-p",
        str(broker.port),
        "-t",
        "bench/tray-a/ppfd",
        "-q",
        "1",
    ]
    subprocess.run([*command, "-l"], input=lines.encode(), check=True, timeout=20)
    inbox.wait_for(window)
    assert waiting[0] == window // 2
    assert len(inbox.arrivals) == window
    inbox.sensor.acknowledge(inbox.arrivals[:])
    inbox.wait_for(window + 30)
    assert inbox.payloads == [str(number) for number in range(window + 30)]


@pytest.mark.parametrize(("protocol", "window"), [("3.1.1", 20), ("5", RECEIVE_MAXIMUM)])
def test_while_nothing_can_be_acknowledged_what_is_new_is_heard_and_the_rest_comes_later(
    *, broker: Any, opened: Open, protocol: str, window: int, wait_until: WaitUntil
) -> None:
    inbox = opened(broker, protocol=protocol)
    lines = "".join(f"{number}\n" for number in range(window + 30))
    command = ["mosquitto_pub", "-h", "127.0.0.1", "-p", str(broker.port), "-t", "bench/tray-a/ppfd"]
    subprocess.run([*command, "-q", "1", "-l"], input=lines.encode(), check=True, timeout=20)
    inbox.wait_for(window)
    inbox.sensor.hear_live(only=True)
    wait_until(lambda: broker.log.count("Sending SUBACK") == 2, "the second subscription")
    broker.publish("bench/tray-a/ppfd", "9000")
    assert inbox.wait_for(window + 1)[-1].message.payload == b"9000"
    assert inbox.sensor.health().works
    inbox.sensor.hear_live(only=False)
    wait_until(lambda: broker.log.count("Sending SUBACK") == 3, "the third subscription")
    inbox.sensor.acknowledge(inbox.arrivals[:])
    inbox.wait_for(window + 31)
    broker.publish("bench/tray-a/ppfd", "9001")
    last = inbox.wait_for(window + 32)[-1].message
    assert (last.payload, last.qos) == (b"9001", 1)
    assert sorted(map(int, inbox.payloads)) == [*range(window + 30), 9000, 9001]


# ------------------------------------------------------------------------------- without room


def test_messages_without_room_come_again_in_order_once_there_is_room(
    broker: Any, opened: Open, wait_until: WaitUntil
) -> None:
    inbox = opened(broker, room=2)
    for value in range(5):
        broker.publish("bench/tray-a/ppfd", str(value))
    wait_until(lambda: inbox.sensor.counts.get("left behind") == 3, "three messages left behind")
    inbox.room = 1_000_000
    broker.publish("bench/tray-a/ppfd", "5")
    wait_until(lambda: inbox.sensor.counts.get("left behind") == 4, "what follows is left behind too")
    assert inbox.payloads == ["0", "1"]
    inbox.sensor.acknowledge(inbox.arrivals[:])
    inbox.wait_for(6)
    assert inbox.payloads == ["0", "1", "2", "3", "4", "5"]


def test_messages_without_any_room_come_again_by_themselves(
    broker: Any, opened: Open, wait_until: WaitUntil
) -> None:
    inbox = opened(broker, room=0)
    broker.publish("bench/tray-a/ppfd", "1")
    wait_until(lambda: inbox.sensor.counts.get("left behind") == 1, "the message to be left behind")
    inbox.room = 1
    inbox.wait_for(1)
    assert inbox.payloads == ["1"]


def test_a_message_without_quality_of_service_and_room_is_counted_as_lost(
    broker: Any, opened: Open, wait_until: WaitUntil
) -> None:
    inbox = opened(broker, room=0)
    broker.publish("bench/tray-a/ppfd", "1", qos=0)
    wait_until(lambda: inbox.sensor.counts == {"lost": 1}, "the loss to be counted")
    assert inbox.sensor.health().works


def test_an_error_while_handing_over_is_counted_and_the_message_comes_again(
    broker: Any, opened: Open, caplog: pytest.LogCaptureFixture
) -> None:
    inbox = opened(broker)
    inbox.errors.append(ZeroDivisionError())
    broker.publish("bench/tray-a/ppfd", "1")
    inbox.wait_for(1)
    assert inbox.sensor.counts == {"callback failed": 1, "left behind": 1}
    assert "message not taken" in caplog.messages
