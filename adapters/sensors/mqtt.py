"""Readings from an MQTT broker, acknowledged once they are kept.

The callback hands over and no more; what the bytes mean is looked at later, in the loop's thread. Needs
paho-mqtt (imported when a sensor is made), a broker, and a client id that nobody else uses. A broker that is
away is tried again for ever; only settings that can never work are errors, all with ``may_heal`` False.
A message without a time of its own gets the time of its arrival, also when it waited in the broker while we were
away: let devices send their own time, or subscribe with QoS 0 where a gap is better than a wrong time.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from typing import Final

from wardian.adapters.brokers import BrokerSettings, unusable
from wardian.adapters.mqtt_connection import Message, Taken
from wardian.adapters.mqtt_session import Session, Wanted
from wardian.adapters.payloads import Address, Form, Payloads, Target, shown
from wardian.adapters.shares import Admission, Place, Shares, cost_of
from wardian.adapters.topics import TopicPattern
from wardian.rules.ports import Arrival, Clock, Decoded, HandOver, Refused
from wardian.rules.quantities import QUANTITIES
from wardian.rules.readings import Series
from wardian.rules.wire_health import Flood, SensorHealth

WEEK_S: Final = 7 * 86_400
#: Seconds, or the largest number for a session that never ends (MQTT 5.0, 3.1.2.11.2).
LONGEST_EXPIRY_S: Final = 0xFFFF_FFFF
#: Topics remembered; a publisher that makes topics up costs no more memory.
_REMEMBERED: Final = 1000
#: Messages that nobody keeps for us (QoS 0) and that wait to be looked at: from the first number on we are hurried,
#: from the second on no topic has more than the third of them, so that the others find room.
HURRIED_FROM: Final = 1_000
CROWDED_FROM: Final = 4_000
EACH_IN_CROWD: Final = 50
_MEASURED: Final = frozenset(name for name, quantity in QUANTITIES.items() if not quantity.derived)
#: Of a topic, so much is told to people.
_TOLD_LETTERS: Final = 80


@dataclass(frozen=True, slots=True)
class Subscription:
    """Which topics are wanted and what their payloads mean.

    ``topic`` is a filter in which ``{tray}`` and ``{quantity}`` may fill a level; ``tray`` is for topics
    that do not tell it.

    Raises:
        ValueError: The topic is not valid, or tray or quantity of something would stay unknown.
    """

    topic: str
    form: Form
    tray: str | None = None
    qos: int = 1

    def __post_init__(self) -> None:
        told = TopicPattern(self.topic).placeholders
        if self.tray is not None and "tray" in told:
            raise ValueError(f"topic {self.topic!r} tells the tray, and tray {self.tray!r} is given too")
        if self.qos not in (0, 1):
            raise ValueError(f"qos {self.qos!r} is not accepted; 0 or 1 is")
        for name, target in self.form.targets.items():
            known = told | self.form.tells(name)
            if target.tray is None and self.tray is None and "tray" not in known:
                raise ValueError(f"topic {self.topic!r}{_place(name)}: nothing tells the tray")
            if target.quantity is None and "quantity" not in known:
                raise ValueError(f"topic {self.topic!r}{_place(name)}: nothing tells the quantity")

    def place(self, told: Mapping[str, str], trays: AbstractSet[str]) -> Place:
        """Return what a topic is about in which this stood at the placeholders."""
        targets = self.form.targets.values()
        tray, quantity = told.get("tray", self.tray), told.get("quantity")
        is_open = any(wildcard in self.topic.split("/") for wildcard in "+#")
        if tray is not None and tray not in trays and any(one.tray is None for one in targets):
            return Place(None, 0, is_open)
        if (
            quantity is not None
            and quantity not in _MEASURED
            and any(one.quantity is None for one in targets)
        ):
            return Place(None, 0, is_open)
        return Place(tray, len(trays) if tray is None else 1, is_open)

    def brings(self, trays: AbstractSet[str]) -> Iterator[Series]:
        """Yield the series that its settings name, those of every tray where the tray is told later."""
        for name, target in self.form.targets.items():
            if target.quantity is None:
                continue
            for tray in self._trays(name, target, trays):
                yield Series(tray, target.quantity)

    def _trays(self, name: str, target: Target, trays: AbstractSet[str]) -> AbstractSet[str]:
        if target.tray is not None:
            return {target.tray}
        if self.tray is not None and "tray" not in self.form.tells(name):
            return {self.tray}
        return trays


@dataclass(frozen=True, slots=True)
class MqttSettings:
    """One broker and what is wanted of it.

    ``session_expiry_s`` is how long the broker keeps messages for us while we are away (MQTT 5; with 3.1.1
    the broker decides). ``expect`` names the series whose silence is an alarm, where they are not those
    that the subscriptions name.
    """

    name: str
    broker: BrokerSettings
    subscriptions: tuple[Subscription, ...]
    session_expiry_s: int = WEEK_S
    expect: frozenset[Series] | None = None


class MqttSensor:
    """Brings what the topics of one broker tell."""

    poll_every_s: float | None = None

    def __init__(
        self,
        settings: MqttSettings,
        trays: AbstractSet[str],
        clock: Clock,
        on_pressure: Callable[[], None] = lambda: None,
    ) -> None:
        """Prepare everything but the connection.

        Args:
            settings: The broker and its topics.
            trays: All trays there are; no other is accepted.
            clock: For the times of arrival and of the connection.
            on_pressure: Told, from another thread, that so many messages wait for their acknowledgement
                that the broker will soon send no more. It must not wait.

        Raises:
            AdapterError: The settings can never work; ``may_heal`` is False.
        """
        _refuse_unusable(settings, trays)
        self.name = settings.name
        named = (series for subscription in settings.subscriptions for series in subscription.brings(trays))
        self.expected = frozenset(named) if settings.expect is None else settings.expect
        self._trays = frozenset(trays)
        self._clock = clock
        self._on_pressure = on_pressure
        self._patterns = [(TopicPattern(one.topic), one) for one in settings.subscriptions]
        self._readers: dict[str, list[Payloads]] = {}
        self._ignored = 0
        self._session = Session(settings.name, settings.broker, _wanted(settings), clock)
        self._shares = Shares(self._place_of, clock.monotonic_s())
        self._hand_over: HandOver = lambda _arrival: False
        self._taken_in = self._looked_at = 0

    @property
    def counts(self) -> dict[str, int]:
        """How often what happened since the start, by name; what never happened is missing.

        ``ignored``: messages that brought nothing: retained ones of unknown age, topics not ours any more.
        ``repeated``: messages that came again only because an acknowledgement had been lost.
        ``left behind``: messages that found no room and are sent again. ``lost``: the same with QoS 0.
        ``taken over``, ``session not kept``, ``network thread ended``, ``callback failed``: as they say.
        """
        return dict(self._session.counts) | ({"ignored": self._ignored} if self._ignored else {})

    def start(self, hand_over: HandOver) -> None:
        """Connect in the background and go on trying; arrivals are handed over from there."""
        self._hand_over = hand_over
        self._session.start(self._receive, self._on_pressure)

    def poll(self) -> None:
        """Do nothing: the broker speaks by itself."""

    def decode(self, arrival: Arrival) -> Decoded:
        """Return the readings of one message; what is none is among the refused. Never raises.

        A retained message is read only where it tells its own time.
        """
        message: Message = arrival.message
        self._looked_at += 1
        if message.share is not None:
            message.share.looked_at += 1
        if message.is_over:
            return Decoded(refused=[self._refusal(message, arrival.received_ms)])
        received_ms = None if message.is_retained else arrival.received_ms
        decoded = Decoded()
        for reader in self._readers_of(message.topic):
            one = reader.decode(message.payload, received_ms)
            decoded.measured += one.measured
            decoded.refused += one.refused
        if not decoded.measured and not decoded.refused:
            self._ignored += 1
        return decoded

    def acknowledge(self, arrivals: Sequence[Arrival]) -> None:
        """Tell the broker that these are kept for good."""
        self._session.acknowledge([arrival.message for arrival in arrivals])

    def hear_live(self, *, only: bool) -> None:
        """Go on hearing what is new while nothing can be kept: a broker waits for so many acknowledgements alone."""
        self._session.hear_live(only=only)

    def health(self) -> SensorHealth:
        """Return whether messages can come now."""
        return self._session.health()

    def floods(self) -> list[Flood]:
        """Return where more comes than a topic may bring, the worst first."""
        return [
            flood._replace(place=_told(flood.place))
            for flood in self._shares.floods(self._clock.monotonic_s())
        ]

    def stop(self) -> None:
        """Leave the broker, which keeps the session; idempotent."""
        self._session.stop()

    def _receive(self, message: Message) -> Taken:
        """Hand over what is within the share of its topic, and some of what is not to be refused by name."""
        now_s = self._clock.monotonic_s()
        share = self._shares.of(message.topic, now_s)
        admission = share.admit(cost_of(message.payload), now_s)
        if admission is Admission.OVER:
            return Taken.NOT_WANTED
        is_over = admission is Admission.SHOWN
        if message.qos == 0 and not self._finds_room(share.taken - share.looked_at):
            return Taken.NO_ROOM
        message = message._replace(share=share, is_over=is_over)
        if not self._hand_over(Arrival(self, self._clock.wall_ms(), message)):
            return Taken.NOT_WANTED if is_over else Taken.NO_ROOM
        share.taken += 1
        self._taken_in += 1
        return Taken.TAKEN

    def _finds_room(self, waiting_of_topic: int) -> bool:
        waiting = self._taken_in - self._looked_at
        if waiting >= HURRIED_FROM:
            self._on_pressure()
        return waiting < CROWDED_FROM or waiting_of_topic < EACH_IN_CROWD

    def _refusal(self, message: Message, received_ms: int) -> Refused:
        why = "more than a share came on this topic; most of what is over it is only counted"
        source = f"{self.name} {shown(message.topic.encode())}"
        return Refused(source, why, shown(message.payload), received_ms)

    def _place_of(self, topic: str) -> Place:
        """Return what a topic is about: the first place of ours that any subscription finds in it."""
        found = Place(None, 0, is_open=False)
        for pattern, subscription in self._patterns:
            told = pattern.match(topic)
            if told is not None:
                place = subscription.place(told, self._trays)
                found = place if place.trays > found.trays else found
        return found

    def _readers_of(self, topic: str) -> list[Payloads]:
        readers = self._readers.get(topic)
        if readers is None:
            if len(self._readers) >= _REMEMBERED:
                self._readers.clear()
            readers = self._readers[topic] = list(self._made_for(topic))
        return readers

    def _made_for(self, topic: str) -> Iterator[Payloads]:
        for pattern, subscription in self._patterns:
            told = pattern.match(topic)
            if told is not None:
                tray = told.get("tray", subscription.tray)
                source = f"{self.name} {shown(topic.encode())}"
                yield subscription.form.at(Address(source, self._trays, tray, told.get("quantity")))


def _wanted(settings: MqttSettings) -> Wanted:
    asked: dict[str, int] = {}
    for one in settings.subscriptions:
        topic_filter = TopicPattern(one.topic).topic_filter
        asked[topic_filter] = max(one.qos, asked.get(topic_filter, 0))
    most_bytes = max(one.form.most_bytes for one in settings.subscriptions)
    return Wanted(tuple(asked.items()), settings.session_expiry_s, most_bytes)


def _refuse_unusable(settings: MqttSettings, trays: AbstractSet[str]) -> None:
    if not settings.subscriptions:
        raise unusable(settings.name, "no topic is given")
    if not settings.broker.client_id:
        raise unusable(settings.name, "client_id is empty; give one that nobody else uses")
    if not 1 <= settings.session_expiry_s <= LONGEST_EXPIRY_S:
        raise unusable(settings.name, f"session_expiry_s is not within 1 to {LONGEST_EXPIRY_S}")
    for subscription in settings.subscriptions:
        named = {subscription.tray, *(target.tray for target in subscription.form.targets.values())}
        for tray in named - {None} - trays:
            known = ", ".join(sorted(trays))
            raise unusable(
                settings.name, f"topic {subscription.topic!r}: unknown tray {tray!r}; known: {known}"
            )


def _told(topic: str) -> str:
    """Return a topic as people are told of it: on one line, in quotes, and short."""
    words = shown(topic.encode(errors="replace"))
    return repr(words if len(words) <= _TOLD_LETTERS else words[:_TOLD_LETTERS] + "…")


def _place(name: str) -> str:
    return f", {name!r}" if name else ""
