"""What is over a topic's share, on a real broker: acknowledged at once, some of it shown, nothing else held up."""

import subprocess
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from fake_clock import FakeClock

from wardian.adapters.brokers import BrokerSettings
from wardian.adapters.payloads import NumberForm, Target
from wardian.adapters.sensors.mqtt import CROWDED_FROM, EACH_IN_CROWD, MqttSensor, MqttSettings, Subscription
from wardian.adapters.shares import SHOWN_AT_ONCE, STRANGERS
from wardian.rules.ports import Arrival

pytestmark = pytest.mark.needs_broker

NUMBERS = Subscription("bench/{tray}/{quantity}", NumberForm(Target()))
WaitUntil = Callable[..., None]
STRANGE = "bench/<b>\u202enobody/ppfd"


@pytest.fixture
def sensor(broker: Any, wait_until: WaitUntil) -> Iterator[tuple[MqttSensor, list[Arrival]]]:
    """A sensor whose arrivals wait, and are never acknowledged."""
    settings = MqttSettings("wire", BrokerSettings("127.0.0.1", broker.port, "bench-12"), (NUMBERS,))
    made = MqttSensor(settings, {"tray-a", "tray-b"}, FakeClock(1_767_225_600_000))
    arrivals: list[Arrival] = []

    def take(arrival: Arrival) -> bool:
        arrivals.append(arrival)
        return True

    made.start(take)
    wait_until(lambda: made.health().works, "the subscription")
    yield made, arrivals
    made.stop()


def publish(broker: Any, topic: str, number: int, qos: int) -> None:
    lines = "".join(f"{one}\n" for one in range(number)).encode()
    command = ["mosquitto_pub", "-h", "127.0.0.1", "-p", str(broker.port), "-t", topic, "-q", str(qos), "-l"]
    subprocess.run(command, input=lines, check=True, timeout=20, capture_output=True)


def test_what_is_over_a_share_is_acknowledged_at_once_and_holds_nobody_up(
    broker: Any, sensor: tuple[MqttSensor, list[Arrival]], wait_until: WaitUntil
) -> None:
    wire, arrivals = sensor
    publish(broker, STRANGE, 200, qos=1)
    publish(broker, "bench/tray-a/ppfd", 1, qos=1)
    seen = round(STRANGERS.at_once) + SHOWN_AT_ONCE
    wait_until(lambda: len(arrivals) >= seen + 1, "the true reading")
    wait_until(lambda: broker.log.count("Received PUBACK from bench-12") == 200 - seen, "acknowledgements")
    decoded = [wire.decode(arrival) for arrival in arrivals]
    assert [one.value for one in decoded[-1].measured] == [0.0]
    refused = [one for each in decoded for one in each.refused]
    assert len(refused) == seen
    assert sum(one.why.startswith("more than a share") for one in refused) == SHOWN_AT_ONCE
    assert (refused[-1].source, refused[-1].raw) == (r"wire bench/<b>\u202enobody/ppfd", str(seen - 1))
    assert wire.health().works


def test_where_nobody_keeps_messages_for_us_a_topic_that_crowds_leaves_room_for_others(
    broker: Any, sensor: tuple[MqttSensor, list[Arrival]], wait_until: WaitUntil
) -> None:
    wire, arrivals = sensor
    publish(broker, "bench/tray-a/ppfd", CROWDED_FROM + 1_000, qos=0)
    publish(broker, "bench/tray-b/ppfd", EACH_IN_CROWD, qos=0)
    sent = CROWDED_FROM + 1_000 + EACH_IN_CROWD
    wait_until(lambda: len(arrivals) + wire.counts.get("lost", 0) == sent, "everything", within_s=30)
    assert sum(arrival.message.topic == "bench/tray-b/ppfd" for arrival in arrivals) == EACH_IN_CROWD
    seen = len(arrivals)
    assert CROWDED_FROM <= seen <= CROWDED_FROM + EACH_IN_CROWD
    for arrival in arrivals:
        wire.decode(arrival)
    publish(broker, "bench/tray-a/ppfd", 1, qos=0)
    wait_until(lambda: len(arrivals) == seen + 1, "room again")
