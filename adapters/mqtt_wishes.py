"""What is asked of us over an MQTT broker, message by message, and our answers; it knows nothing of what is asked.

The rule of this file: a broker that asks for no authentication is not listened to, and a message is acknowledged
only once the answer to it may be given. The broker keeps what is asked while we are away for some minutes alone
(MQTT 5; with 3.1.1 it decides itself): what is older is not meant any more. Needs paho-mqtt.
"""

import json
import threading
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

from wardian.adapters.brokers import BrokerSettings, unusable
from wardian.adapters.mqtt_connection import Message, Taken
from wardian.adapters.mqtt_session import Session, Wanted
from wardian.adapters.strict_json import document
from wardian.adapters.topics import refuse_bad_topic
from wardian.rules.ports import Clock
from wardian.rules.wire_health import SensorHealth

#: How long the broker keeps what is asked while we are away.
EXPIRY_S: Final = 600
#: Messages that wait for a round; the broker sends what finds no room again.
ROOM: Final = 100
MOST_BYTES: Final = 4_096
#: However much is asked, we are hurried no more often.
SELDOM_S: Final = 1.0
ANSWERS: Final = "/answers"


@dataclass(frozen=True, slots=True)
class WishSettings:
    """One broker and the topic on which is asked."""

    name: str
    broker: BrokerSettings
    topic: str


class Heard(NamedTuple):
    """One message: its JSON value as far as it is one, else why not; ``message`` is for the wire alone."""

    message: Message
    value: Any
    why: str

    @property
    def is_retained(self) -> bool:
        """Whether the broker had kept it for whoever comes, since nobody knows when."""
        return self.message.is_retained

    @property
    def is_repeat(self) -> bool:
        """Whether the broker may have brought it before."""
        return self.message.is_repeat

    @property
    def payload(self) -> bytes:
        """Its bytes."""
        return self.message.payload


class MqttWishes:
    """Takes what is asked, and publishes answers at ``TOPIC/answers``."""

    def __init__(
        self, settings: WishSettings, clock: Clock, on_asked: Callable[[], None] = lambda: None
    ) -> None:
        """Prepare everything but the connection; ``on_asked`` hears that something waits, from another thread.

        Raises:
            AdapterError: The settings can never work; ``may_heal`` is False.
        """
        _refuse_unusable(settings)
        self.name = settings.name
        self._clock = clock
        self._hurried_s = -SELDOM_S
        self._topic = settings.topic
        self._on_asked = on_asked
        self._waiting: deque[Message] = deque()
        self._lock = threading.Lock()
        wanted = Wanted(((settings.topic, 1),), EXPIRY_S, MOST_BYTES)
        self._session = Session(settings.name, settings.broker, wanted, clock)

    def start(self) -> None:
        """Connect in the background and go on trying."""
        self._session.start(self._receive, lambda: None)

    def take(self) -> list[Heard]:
        """Return what was asked since the last time, in its order."""
        with self._lock:
            taken = list(self._waiting)
            self._waiting.clear()
        return [_heard(message) for message in taken]

    def done(self, heard: Sequence[Heard]) -> None:
        """Tell the broker that these need not come again."""
        self._session.acknowledge([one.message for one in heard])

    def answer(self, fields: Mapping[str, Any]) -> None:
        """Publish one answer."""
        # In ASCII: half a surrogate pair, as somebody may ask with, has no UTF-8.
        self._session.publish(self._topic + ANSWERS, json.dumps(fields).encode())

    def health(self) -> SensorHealth:
        """Return whether anything can be asked now."""
        return self._session.health()

    def stop(self) -> None:
        """Leave the broker; idempotent."""
        self._session.stop()

    def _receive(self, message: Message) -> Taken:
        with self._lock:
            has_room = len(self._waiting) < ROOM
            if has_room:
                self._waiting.append(message)
        now_s = self._clock.monotonic_s()
        if has_room and now_s - self._hurried_s >= SELDOM_S:
            self._hurried_s = now_s
            self._on_asked()
        return Taken.TAKEN if has_room else Taken.NO_ROOM


def _heard(message: Message) -> Heard:
    try:
        return Heard(message, document(message.payload, MOST_BYTES), "")
    except ValueError as error:
        return Heard(message, None, str(error))


def _refuse_unusable(settings: WishSettings) -> None:
    broker = settings.broker
    has_password = broker.password_file is not None or broker.password_env is not None
    if not (broker.user and has_password) and broker.cert_file is None:
        raise unusable(
            settings.name,
            "anybody could ask; give a user with a password, or a client certificate (cert_file)",
        )
    try:
        refuse_bad_topic(settings.topic)
    except ValueError as error:
        raise unusable(settings.name, f"topic: {error}") from error
