"""A wire that looks connected and brings nothing is told as one trouble that names it, whatever the reason is."""

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Any

import pytest
from fake_clock import FakeClock
from loop_rig import FakeTeller
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from wardian.adapters.brokers import BrokerSettings
from wardian.adapters.payloads import NumberForm, Target
from wardian.adapters.sensors.mqtt import MqttSensor, MqttSettings, Subscription
from wardian.adapters.yaml_file import parse
from wardian.daemon.library import library
from wardian.daemon.lives import Lives
from wardian.daemon.outbox import Stuck
from wardian.daemon.own_troubles import OwnTroubles
from wardian.daemon.ways_watched import AWAY_S, WaysWatched

pytestmark = pytest.mark.needs_broker

TRAYS = frozenset({"tray-a", "tray-b"})
LISTENS = Subscription("bench/{tray}/air_temperature", NumberForm(Target("air_temperature")))
SLOW = 30.0
WaitUntil = Callable[..., None]


class Watched:
    """A real wire whose ways are watched by a clock that a test steps."""

    def __init__(self, port: int, **broker: Any) -> None:
        settings = BrokerSettings(**{"host": "127.0.0.1", "port": port, "client_id": "bench-12", **broker})
        self.clock, self.lives = FakeClock(), Lives({})
        self.heard = 0
        self.sensor = MqttSensor(MqttSettings("probes", settings, (LISTENS,)), TRAYS, self.clock)
        self.ways = WaysWatched([self.sensor], dict[str, Stuck], self.clock)
        self.ways.troubles = OwnTroubles(library(parse).watch, FakeTeller())  # type: ignore[arg-type]  # it needs no more of a teller

    def hear(self, arrival: Any) -> bool:
        self.heard += 1
        self.sensor.acknowledge([arrival])
        return True

    def told(self) -> str:
        """Return what is told once the wire has been as it is now for long."""
        assert self.ways.troubles is not None
        self.ways.work(0, self.lives)
        self.clock.step(int(AWAY_S * 1000))
        self.ways.work(0, self.lives)
        return self.ways.troubles.standing().get("wire-down", "")


@contextmanager
def watched(port: int, **broker: Any) -> Iterator[Watched]:
    rig = Watched(port, **broker)
    rig.sensor.start(rig.hear)
    yield rig
    rig.sensor.stop()


class Swallower:
    """A way to a broker that passes everything on until it swallows all of it, and never hangs up."""

    def __init__(self, port: int) -> None:
        self.port = port
        self.swallows = False
        self.listening = socket.create_server(("127.0.0.1", 0))
        self.open: list[socket.socket] = [self.listening]
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        with suppress(OSError):
            while True:
                near, _ = self.listening.accept()
                far = socket.create_connection(("127.0.0.1", self.port))
                self.open += [near, far]
                for one, other in ((near, far), (far, near)):
                    threading.Thread(target=self._pass_on, args=(one, other), daemon=True).start()

    def _pass_on(self, one: socket.socket, other: socket.socket) -> None:
        with suppress(OSError):
            while data := one.recv(4_096):
                if not self.swallows:
                    other.sendall(data)

    def close(self) -> None:
        for one in self.open:
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
            one.close()


@pytest.mark.fault(12)
@pytest.mark.fault(13)
def test_a_half_open_connection_is_seen_by_its_keepalive_and_told(broker: Any, wait_until: WaitUntil) -> None:
    between = Swallower(broker.port)
    try:
        with watched(between.listening.getsockname()[1], keepalive_s=1) as rig:
            wait_until(lambda: rig.sensor.health().works, "the connection", SLOW)
            assert rig.told() == ""
            between.swallows = True
            wait_until(
                lambda: "no connection" in rig.sensor.health().words, "the silence to be noticed", SLOW
            )
            place = f"127.0.0.1:{rig_port(rig)}"
            assert rig.sensor.health().words.startswith(f"no connection to broker {place} since ")
            # The rig's clock leaps by minutes, in which no thread can move.
            assert rig.told().startswith("probes: ")
    finally:
        between.close()


def rig_port(rig: Watched) -> int:
    return rig.sensor._session._settings.port


@pytest.mark.fault(13)
def test_a_subscription_that_is_refused_is_told(broker: Any, wait_until: WaitUntil) -> None:
    broker.stop()
    rights = broker.folder / "rights.json"
    rights.write_text('{"defaultACLAccess": {"publishClientSend": true, "subscribe": false}}')
    plugin = "/usr/lib/x86_64-linux-gnu/mosquitto_dynamic_security.so"
    broker.lines = ("allow_anonymous true", f"plugin {plugin}", f"plugin_opt_config_file {rights}")
    broker.start()
    with watched(broker.port) as rig:
        wait_until(lambda: "refuses the subscription" in rig.sensor.health().words, "the refusal", SLOW)
        assert "refuses the subscription to 'bench/+/air_temperature'" in rig.told()


@pytest.mark.fault(13)
def test_without_the_right_to_read_the_wire_looks_fine_and_is_told_once_none_of_its_sensors_is_heard(
    broker: Any, wait_until: WaitUntil
) -> None:
    broker.stop()
    rights = broker.folder / "rights"
    rights.write_text("topic write bench/#\n", encoding="utf-8")
    broker.lines = ("allow_anonymous true", f"acl_file {rights}")
    broker.start()
    with watched(broker.port) as rig:
        wait_until(lambda: rig.sensor.health().works, "the subscription, which is granted", SLOW)
        broker.publish("bench/tray-a/air_temperature", "20")
        assert rig.told() == ""
        for tray in TRAYS:
            fields = {
                "tray": tray,
                "quantity": "air_temperature",
                "limit": None,
                "condition": "sensor-silent",
            }
            rig.lives.follow({**fields, "event": "raised", "time": "2026-03-02T12:00:00.000Z"})
        assert rig.told() == "probes: connected, but nothing comes, as if it may not read its topics."
        assert rig.heard == 0


@pytest.mark.fault(33)
def test_another_client_with_our_id_is_told_by_that_id(broker: Any, wait_until: WaitUntil) -> None:
    with watched(broker.port) as rig:
        for _ in range(3):
            wait_until(lambda: rig.sensor.health().works, "the connection", SLOW)
            other = Client(CallbackAPIVersion.VERSION2, client_id="bench-12")
            other.connect("127.0.0.1", broker.port)
            wait_until(lambda: not rig.sensor.health().works, "its end", SLOW)
            told = rig.told()
            other.disconnect()
        assert "is there another client with the id 'bench-12'?" in told
