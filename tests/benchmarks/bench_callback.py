"""An MQTT callback that only hands over, beside one that does nothing: messages a second on a real broker.

QoS 1 and MQTT 5 on both sides. Ours are taken from the queue and acknowledged by another thread, as the
loop does; the client that does nothing acknowledges by itself.
"""

import shutil
import subprocess
import tempfile
import threading
from collections.abc import Callable
from pathlib import Path
from statistics import median
from time import perf_counter

import paho.mqtt.client as mqtt
from bench_idle import broker
from paho.mqtt.enums import CallbackAPIVersion
from rows import Row, print_rows

from wardian.adapters.brokers import BrokerSettings
from wardian.adapters.payloads import NumberForm, Target
from wardian.adapters.sensors.mqtt import MqttSensor, MqttSettings, Subscription
from wardian.daemon.arrivals import Queue
from wardian.daemon.clock import SystemClock

MESSAGES = 20_000
ROUNDS = 5
TOPIC = "class/tray-a/air"


def publish(port: int) -> None:
    program = shutil.which("mosquitto_pub")
    assert program, "mosquitto_pub is needed"
    lines = b"24.5\n" * MESSAGES
    subprocess.run([program, "-p", str(port), "-t", TOPIC, "-q", "1", "-l"], input=lines, check=True)


def until_full(port: int, count: Callable[[], int]) -> float:
    """Publish, and return the seconds from the first messages to the last."""
    publishing, pause = threading.Thread(target=publish, args=(port,)), threading.Event()
    publishing.start()
    while not count():
        pause.wait(0.0005)
    begin = perf_counter()
    while count() < MESSAGES:
        pause.wait(0.0005)
    seconds = perf_counter() - begin
    publishing.join()
    return seconds


def bare_s(port: int) -> float:
    """Return how long a client takes that does nothing but count."""
    seen = 0

    def nothing(_client: object, _userdata: object, _message: object) -> None:
        nonlocal seen
        seen += 1

    client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="bare", protocol=mqtt.MQTTv5)
    ready = threading.Event()
    client.on_message = nothing
    client.on_subscribe = lambda *_: ready.set()
    client.connect("127.0.0.1", port)
    client.subscribe(TOPIC, 1)
    client.loop_start()
    assert ready.wait(10)
    seconds = until_full(port, lambda: seen)
    client.disconnect()
    client.loop_stop()
    return seconds


def ours_s(port: int, number: int) -> float:
    """Return how long the sensor takes that hands over to the daemon's own queue."""
    wanted = Subscription(TOPIC, NumberForm(Target("air_temperature")), "tray-a")
    settings = MqttSettings("ours", BrokerSettings("127.0.0.1", port, f"ours-{number}"), (wanted,))
    queue, pause = Queue(room=MESSAGES), threading.Event()
    sensor = MqttSensor(settings, {"tray-a"}, SystemClock())
    sensor.start(queue.hand_over)
    while not sensor.health().works:
        pause.wait(0.01)
    taken = 0

    def take() -> int:
        nonlocal taken
        arrivals = queue.take(1000)
        sensor.acknowledge(arrivals)
        taken += len(arrivals)
        return taken

    seconds = until_full(port, take)
    sensor.stop()
    return seconds


def measure() -> list[Row]:
    with tempfile.TemporaryDirectory() as folder, broker(Path(folder)) as port:
        pairs = [(ours_s(port, number), bare_s(port)) for number in range(ROUNDS)]
    mine, other = (MESSAGES / median(pair[side] for pair in pairs) for side in (0, 1))
    return [
        Row(
            "MQTT callback that hands over, QoS 1",
            f"{mine:,.0f} /s",
            f"{other:,.0f} /s a callback that counts",
            mine / other,
            "at least 0.9",
            mine >= 0.9 * other,
        )
    ]


if __name__ == "__main__":
    print_rows(measure())
