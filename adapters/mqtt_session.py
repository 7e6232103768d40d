"""A session that an MQTT broker keeps for us: what it sent counts as received only once we say so.

The rule of this file: a message is acknowledged on the connection that brought it or not at all, as its number
may mean another message on the next one. paho's network thread must never see an exception (it would end, and
the library would still call itself connected), so every callback is guarded. Needs paho-mqtt.
"""

import logging
import socket
import sys
import threading
import zlib
from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from wardian.adapters.brokers import BrokerSettings, new_client
from wardian.adapters.mqtt_connection import Connection, Message, Taken, words_of, words_of_end
from wardian.rules.ports import Clock
from wardian.rules.wire_health import SensorHealth, Stuck

if TYPE_CHECKING:
    from paho.mqtt.client import Client, ConnectFlags, MQTTMessage
    from paho.mqtt.properties import Properties
    from paho.mqtt.reasoncodes import ReasonCode

log = logging.getLogger(__name__)

#: Reason code "session taken over" (MQTT 5.0, 3.14.2.1): another client came with our client id.
TAKEN_OVER: Final = 0x8E
#: Unacknowledged messages after which a broker waits: said by us under MQTT 5, else the broker's own
#: (measured: 20 with mosquitto 2.0 as it comes).
RECEIVE_MAXIMUM: Final = 1_000
USUAL_WINDOW: Final = 20
LARGEST_PACKET_BYTES: Final = 1 << 20
GOODBYE_S: Final = 2.0
#: A network thread that did not move for so much longer than it may be silent hangs.
#: Without a connection it waits up to a minute for the next try, and as long for names and answers.
STUCK_S: Final = 60.0
UNCONNECTED_S: Final = 180.0

#: Pauses before connecting again grow from the first to the second; a client's own spread doubles them at most.
PATIENT_S: Final = (1.0, 30.0)
VERY_PATIENT_S: Final = (30.0, 30.0)


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a session is for: topic filters with their QoS, and for how long the broker shall keep it.

    ``expiry_s`` is said under MQTT 5 only. No more than one byte above ``most_bytes`` of a payload is handed on.
    """

    filters: tuple[tuple[str, int], ...]
    expiry_s: int
    most_bytes: int


class Session:
    """Receives from its own network thread, acknowledges from the caller's."""

    def __init__(self, name: str, settings: BrokerSettings, wanted: Wanted, clock: Clock) -> None:
        """Prepare the client.

        Raises:
            AdapterError: The settings can never work; ``may_heal`` is False.
        """
        self.counts: Counter[str] = Counter()
        self._settings = settings
        self._wanted = wanted
        self._most_bytes = wanted.most_bytes + 1
        self._clock = clock
        self._place = f"{settings.host}:{settings.port}"
        self._fields = {"sensor": name, "broker": self._place}
        self._client = new_client(name, settings, clean=False, manual_ack=True)
        self._connection = Connection(clock.wall_ms())
        self._lock = threading.RLock()  # paho may call back from within an acknowledgement
        self._thread: threading.Thread | None = None
        self._is_started = False
        self._is_live_only = False
        self._end_is_told = False
        self._ends_once_sent = False
        self._goodbye = threading.Event()
        self._moved_s = clock.monotonic_s()

    def start(self, receive: Callable[[Message], Taken], on_pressure: Callable[[], None]) -> None:
        """Connect and go on trying; both are called from the network thread.

        Args:
            receive: Says what became of a message; one that is not wanted is acknowledged at once.
            on_pressure: Told at each message once half of what the broker sends ahead waits for us.
        """
        self._receive, self._on_pressure = receive, on_pressure
        self._pressing = (RECEIVE_MAXIMUM if self._settings.protocol == "5" else USUAL_WINDOW) // 2
        for name in [name for name in vars(Session) if name.startswith("_on_")]:
            setattr(self._client, name.removeprefix("_"), self._guarded(getattr(self, name)))
        self._pause(PATIENT_S)
        self._is_started = True
        self._moved_s = self._clock.monotonic_s()
        self._connect()

    def acknowledge(self, messages: Sequence[Message]) -> None:
        """Tell the broker that these are kept; those of an earlier connection once they come again."""
        connection = self._connection
        with self._lock:
            for message in (one for one in messages if one.qos):
                if connection.is_up and message.connection == connection.number:
                    self._client.ack(message.mid, message.qos)
                    connection.waiting -= 1
                else:
                    connection.kept[message.mid] = message
            is_room = connection.left_behind > 0 and connection.waiting == 0
        if is_room:
            self._ask_again()

    def hear_live(self, *, only: bool) -> None:
        """Have what is published from now on sent without waiting for our acknowledgement, or with it again.

        What the broker has sent or holds already waits as it did.
        """
        self._is_live_only = only
        if self._connection.is_up:
            self._client.subscribe(self._filters())

    def publish(self, topic: str, payload: bytes) -> None:
        """Send a message at least once while we run; without a connection it leaves with the next one."""
        self._client.publish(topic, payload, qos=1)

    def health(self) -> SensorHealth:
        """Return whether messages can come; a network thread that ended is started again."""
        if self._is_started:
            self._revive_what_ended()
        with self._lock:
            health = self._connection.health(self._place)
            return self._stuck() or health

    def _stuck(self) -> SensorHealth | None:
        """Say so where the network thread hangs: connected, it sends something at least once in the keep-alive time."""
        keepalive_s = self._settings.keepalive_s
        patience_s = 2 * keepalive_s + STUCK_S if self._connection.is_up else UNCONNECTED_S
        silent_s = self._clock.monotonic_s() - self._moved_s
        if not self._is_started or silent_s <= patience_s:
            return None
        words = f"the network thread for broker {self._place} has not moved for {silent_s:.0f} s"
        return Stuck(works=False, words=words)

    def stop(self) -> None:
        """Say goodbye within a bounded time; the broker keeps the session. Idempotent."""
        if not self._is_started:
            return
        self._is_started = False
        self._goodbye.clear()
        self._client.disconnect()
        if self._connection.is_up:
            self._goodbye.wait(GOODBYE_S)
        self._hang_up(socket.SHUT_RDWR)
        self._client.loop_stop()

    # ---------------------------- paho's callbacks, by its own names: all in the network thread

    def _on_pre_connect(self, _client: "Client", _userdata: object) -> None:
        self._thread = threading.current_thread()
        self._end_is_told = False

    def _on_connect_fail(self, _client: "Client", _userdata: object) -> None:
        # paho calls this while it handles the error, and passes it on in no other way.
        self._lost(words_of(sys.exc_info()[1]))

    def _on_connect(
        self, client: "Client", _userdata: object, flags: "ConnectFlags", reason: "ReasonCode", *_more: object
    ) -> None:
        if reason.is_failure:
            self._lost(f"it refuses us: {reason}")
            return
        with self._lock:
            is_first = self._connection.number == 0
            self._connection.came_up(
                self._clock.wall_ms(), self._clock.monotonic_s(), has_session=flags.session_present
            )
        log.info("broker connected", extra=self._fields)
        if not is_first and not flags.session_present:
            self.counts["session not kept"] += 1
            log.warning("broker kept no session", extra=self._fields)
        client.subscribe(self._filters())

    def _on_socket_unregister_write(self, *_told: object) -> None:
        if self._ends_once_sent:
            self._hang_up(socket.SHUT_WR)

    def _on_subscribe(
        self, _client: "Client", _userdata: object, _mid: int, reasons: "Sequence[ReasonCode]", *_more: object
    ) -> None:
        asked = list(zip(self._filters(), reasons, strict=True))
        refused = [f"{topic!r} ({reason})" for (topic, _), reason in asked if reason.is_failure]
        lowered = [repr(topic) for (topic, qos), reason in asked if reason.value < qos]
        with self._lock:
            self._connection.granted(refused, lowered)
        if refused:
            log.error("subscription refused", extra={**self._fields, "topics": refused})
        if lowered:
            log.warning("subscription granted at a lower quality", extra={**self._fields, "topics": lowered})

    def _on_disconnect(
        self, _client: "Client", _userdata: object, _flags: object, reason: "ReasonCode", *_more: object
    ) -> None:
        self._goodbye.set()
        if self._end_is_told:  # paho tells some ends twice, the second time without the reason
            return
        self._pause(VERY_PATIENT_S if reason.value == TAKEN_OVER else PATIENT_S)
        self._lost(self._why_lost(reason))

    def _on_message(self, client: "Client", _userdata: object, brought: "MQTTMessage") -> None:
        message = self._message(brought)
        if message.qos == 0:
            if self._taken(message) is Taken.NO_ROOM:
                self.counts["lost"] += 1
            return
        connection = self._connection
        with self._lock:
            was_kept = connection.kept and connection.was_kept(message) and brought.dup
            # What follows a message that was left behind is left behind too: the order stays.
            may_go_on = not was_kept and not connection.left_behind
            connection.waiting += may_go_on
        if was_kept:
            self.counts["repeated"] += 1
            client.ack(message.mid, message.qos)
        elif not may_go_on:
            self._leave_behind(was_waiting=False)
        else:
            self._go_on(client, message, connection)

    # ----------------------------------------------------------------------------------- parts

    def _filters(self) -> list[tuple[str, int]]:
        return [(topic, 0 if self._is_live_only else qos) for topic, qos in self._wanted.filters]

    def _message(self, brought: "MQTTMessage") -> Message:
        try:
            topic = brought.topic
        except UnicodeDecodeError:
            topic = ""
        payload = bytes(brought.payload[: self._most_bytes])
        number = self._connection.number
        return Message(number, brought.mid, brought.qos, brought.retain, topic, payload, brought.dup)

    def _go_on(self, client: "Client", message: Message, connection: Connection) -> None:
        taken = self._taken(message)
        if taken is Taken.NO_ROOM:
            self._leave_behind(was_waiting=True)
        elif taken is Taken.NOT_WANTED:
            with self._lock:
                connection.waiting -= 1
            client.ack(message.mid, message.qos)
        elif connection.waiting >= self._pressing:
            self._on_pressure()

    def _taken(self, message: Message) -> Taken:
        try:
            return self._receive(message)
        except Exception:  # the message must come again, so this is no more than want of room
            self.counts["callback failed"] += 1
            log.exception("message not taken", extra=self._fields)
            return Taken.NO_ROOM

    def _leave_behind(self, *, was_waiting: bool) -> None:
        self.counts["left behind"] += 1
        with self._lock:
            self._connection.waiting -= was_waiting
            self._connection.left_behind += 1
            is_room = self._connection.waiting == 0
        if is_room:
            self._ask_again()

    def _ask_again(self) -> None:
        """End the connection once what we acknowledged is sent: a broker sends again only on the next one."""
        self._lost("messages found no room and are asked for again")
        self._ends_once_sent = True
        if not self._client.want_write():
            self._hang_up(socket.SHUT_WR)

    def _why_lost(self, reason: "ReasonCode") -> str:
        client_id = self._settings.client_id
        if reason.value == TAKEN_OVER:
            self.counts["taken over"] += 1
            return f"another client came with our client id {client_id!r}"
        why = words_of_end(str(reason))
        if self._connection.is_up and self._connection.is_short_again(self._clock.monotonic_s()):
            return f"{why}, time and again; is there another client with the id {client_id!r}?"
        return why

    def _lost(self, why: str) -> None:
        self._end_is_told = True
        with self._lock:
            is_news = self._connection.went_down(self._clock.wall_ms(), why)
        if is_news and self._is_started:
            log.warning("broker not connected", extra={**self._fields, "why": why})

    def _connect(self) -> None:
        settings = self._settings
        options: dict[str, Any] = {}
        if settings.protocol == "5":
            options = {"clean_start": False, "properties": _connect_properties(self._wanted.expiry_s)}
        self._client.connect_async(settings.host, settings.port, settings.keepalive_s, **options)
        self._client.loop_start()

    def _revive_what_ended(self) -> None:
        with self._lock:  # two may look at the same time
            if self._thread is None or self._thread.is_alive():
                return
            self._thread = None
        self.counts["network thread ended"] += 1
        self._lost("its network thread ended and is started again")
        self._connect()

    def _hang_up(self, how: int) -> None:
        self._ends_once_sent = False
        connected = self._client.socket()
        if isinstance(connected, socket.socket):
            with suppress(OSError):
                socket.socket.shutdown(connected, how)

    def _pause(self, bounds_s: tuple[float, float]) -> None:
        """Set the pauses; each client's own spread keeps many from coming back at the same moment."""
        spread = 1 + zlib.crc32(self._settings.client_id.encode()) / 2**32
        least_s, most_s = (bound_s * spread for bound_s in bounds_s)
        self._client.reconnect_delay_set(least_s, most_s)  # type: ignore[arg-type]  # any number will do

    def _guarded(self, callback: Callable[..., None]) -> Callable[..., None]:
        def guarded(*arguments: object) -> None:
            self._moved_s = self._clock.monotonic_s()
            try:
                callback(*arguments)
            except OSError as error:
                # Of the system, which the library meets itself at its next step: what was asked is in its queue.
                self.counts["callback failed"] += 1
                facts = {**self._fields, "callback": callback.__name__, "why": words_of(error)}
                log.warning("callback met an error of the system", extra=facts)
            except Exception:  # an exception here would end the network thread
                self.counts["callback failed"] += 1
                log.exception("callback failed", extra={**self._fields, "callback": callback.__name__})

        return guarded


def _connect_properties(expiry_s: int) -> "Properties":
    from paho.mqtt.packettypes import PacketTypes
    from paho.mqtt.properties import Properties

    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # paho left it without
    properties.SessionExpiryInterval = expiry_s
    properties.ReceiveMaximum = RECEIVE_MAXIMUM
    properties.MaximumPacketSize = LARGEST_PACKET_BYTES
    return properties
