"""Alarms as retained messages of an MQTT broker: one topic an alarm, so that whoever comes later sees it.

Needs paho-mqtt and a broker. Each message has a connection of its own, which costs nothing between
alarms and leaves nothing behind that could be sent later, out of order. A broker that speaks
MQTT 3.1.1 cannot say that it threw a message away for want of rights: use 5 where rights are set.
Only a message that the broker finds malformed will not heal.
"""

import socket
import sys
import threading
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from queue import Empty, SimpleQueue
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from wardian.adapters.brokers import BrokerSettings, new_client, unusable
from wardian.adapters.outgoing import as_json, one_line, reason
from wardian.rules.errors import AdapterError, DeliveryFailed, DeliveryRefused
from wardian.rules.ports import Message

if TYPE_CHECKING:
    from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags
    from paho.mqtt.properties import Properties
    from paho.mqtt.reasoncodes import ReasonCode

CONNECTED: Final = "connected"
ACKNOWLEDGED: Final = "acknowledged"
FAILED: Final = "failed"
REFUSED: Final = "refused"
#: Topic name invalid, payload format invalid (MQTT 5, 3.4.2.1): the message itself is at fault.
MALFORMED: Final = frozenset({0x90, 0x99})
HANG_UP_S: Final = 2.0


@dataclass(frozen=True, slots=True)
class MqttNotifierSettings:
    """One broker that takes alarms below ``prefix``; ``timeout_s`` is for each of its answers."""

    name: str
    broker: BrokerSettings
    prefix: str = "wardian/alarms"
    timeout_s: float = 10.0


class Heard(NamedTuple):
    """What the network thread tells the sender."""

    what: str
    why: str = ""


class MqttNotifier:
    """Publishes each alarm's fields and key as retained JSON, QoS 1, and waits for the acknowledgement.

    When an alarm returned, that takes the place of its raise: a topic holds the alarm's last change.
    """

    def __init__(self, settings: MqttNotifierSettings) -> None:
        """Check the settings; the broker is met when there is something to tell.

        Raises:
            AdapterError: The settings can never work; ``may_heal`` is False.
        """
        self.name = settings.name
        self._settings = settings
        _check_prefix(settings)
        new_client(self.name, settings.broker, clean=True)

    def send(self, message: Message) -> None:
        """Publish one message.

        Raises:
            DeliveryFailed: The broker cannot be reached, refuses us or does not answer in time.
            DeliveryRefused: The message is about no alarm, or the broker finds it malformed.
        """
        self.publish(self._topic(message), as_json(self.name, message), is_retained=True)

    def publish(self, topic: str, payload: bytes, *, is_retained: bool) -> None:
        """Publish something at a topic, over a connection of its own.

        Raises:
            DeliveryFailed: As ``send``.
            DeliveryRefused: The broker, or the library, finds it malformed.
        """
        heard: SimpleQueue[Heard] = SimpleQueue()
        client = self._calling(heard)
        try:
            self._expect(CONNECTED, heard)
            client.publish(topic, payload, qos=1, retain=is_retained)
            self._expect(ACKNOWLEDGED, heard)
        except ValueError as error:
            raise DeliveryRefused(self.name, f"{topic} cannot be published at: {error}") from error
        finally:
            _hang_up(client)

    def close(self) -> None:
        """Do nothing: no connection outlives its message."""

    def _topic(self, message: Message) -> str:
        try:
            return alarm_topic(self._settings.prefix, message.fields)
        except KeyError as error:
            raise DeliveryRefused(
                self.name, f"message {message.key} is about no alarm: no {error}"
            ) from error

    def _calling(self, heard: "SimpleQueue[Heard]") -> "Client":
        broker = self._settings.broker
        try:
            client = new_client(self.name, broker, clean=True)
        except AdapterError as error:
            # It was fine at the start: somebody is changing a password or certificate just now.
            raise DeliveryFailed(self.name, error.why) from error
        _listen(client, heard)
        client.connect_async(broker.host, broker.port, broker.keepalive_s)
        client.loop_start()
        return client

    def _expect(self, what: str, heard: "SimpleQueue[Heard]") -> None:
        broker, timeout_s = self._settings.broker, self._settings.timeout_s
        place = f"broker {broker.host}:{broker.port}"
        try:
            event = heard.get(timeout=timeout_s)
        except Empty as error:
            raise DeliveryFailed(self.name, f"{place} gave no answer within {timeout_s:g} s") from error
        if event.what == REFUSED:
            raise DeliveryRefused(self.name, f"{place}: {event.why}")
        if event.what != what:
            raise DeliveryFailed(self.name, f"{place}: {event.why}")


# -------------------------------------------------------------------------------------- topics


def alarm_topic(prefix: str, fields: Mapping[str, Any]) -> str:
    """Return ``PREFIX/TRAY/ALARM``, with the quantity as a level more where no limit tells alarms apart.

    Raises:
        KeyError: A field that names the alarm is missing.
    """
    levels = [fields["tray"], fields["alarm"]]
    if fields["limit"] is None:
        levels.append(fields["quantity"])
    return "/".join([prefix, *(_level(str(level)) for level in levels)])


def _level(name: str) -> str:
    return "".join(_percent_encoded(sign) if _is_special(sign) else sign for sign in name)


def _is_special(sign: str) -> bool:
    return sign in "/+#%" or not sign.isprintable()


def _percent_encoded(sign: str) -> str:
    return "".join(f"%{byte:02X}" for byte in sign.encode("utf-8", "surrogatepass"))


def _check_prefix(settings: MqttNotifierSettings) -> None:
    prefix = settings.prefix
    is_plain = prefix.isprintable() and not set(prefix) & set("+#")
    if not is_plain or not prefix.strip("/") == prefix or prefix == "" or prefix.startswith("$"):
        raise unusable(
            settings.name, f"prefix {prefix!r} is no topic; accepted: levels such as wardian/alarms"
        )


# ---------------------------------------------------------------------------------- the client


def _listen(client: "Client", heard: "SimpleQueue[Heard]") -> None:
    """Let the network thread tell what happens. None of these may raise: it would end the thread."""

    def on_connect(
        _client: "Client", _data: Any, _flags: "ConnectFlags", code: "ReasonCode", _more: "Properties | None"
    ) -> None:
        heard.put(Heard(FAILED, f"refuses us: {code}") if code.is_failure else Heard(CONNECTED))

    def on_connect_fail(_client: "Client", _data: Any) -> None:
        # paho calls this while it handles the error, and tells it no other way.
        error = sys.exception()
        why = reason(error) if isinstance(error, OSError) else "no connection"
        heard.put(Heard(FAILED, f"cannot be reached: {why}"))

    def on_disconnect(
        _client: "Client", _data: Any, _flags: "DisconnectFlags", code: "ReasonCode", _more: Any
    ) -> None:
        heard.put(Heard(FAILED, f"ended the connection: {code}"))

    def on_publish(_client: "Client", _data: Any, _mid: int, code: "ReasonCode", _more: "Properties") -> None:
        heard.put(_verdict(code))

    client.on_connect = on_connect
    client.on_connect_fail = on_connect_fail
    client.on_disconnect = on_disconnect
    client.on_publish = on_publish


def _verdict(code: "ReasonCode") -> Heard:
    if not code.is_failure:
        return Heard(ACKNOWLEDGED)
    return Heard(REFUSED if code.value in MALFORMED else FAILED, one_line(f"does not take it: {code}"))


def _hang_up(client: "Client") -> None:
    """End the conversation and its thread; where the broker is stuck, by cutting the line."""
    client.disconnect()
    ending = threading.Thread(target=client.loop_stop, daemon=True)
    ending.start()
    ending.join(HANG_UP_S)
    line = client.socket()
    if ending.is_alive() and isinstance(line, socket.socket):
        with suppress(OSError):
            line.shutdown(socket.SHUT_RDWR)
