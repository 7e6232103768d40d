"""What is known of the connection to an MQTT broker, and how it is said to a person.

Nothing here talks to a network. Whoever uses it from several threads holds one lock.
"""

import ssl
from dataclasses import dataclass, field
from enum import Enum
from typing import Final, NamedTuple

from wardian.adapters.shares import Share
from wardian.adapters.timestamps import text_of
from wardian.rules.wire_health import SensorHealth

#: A connection that ends sooner than this, three times in a row, is not the network's fault.
_SHORT_S: Final = 5.0
_TOO_OFTEN: Final = 3

#: What paho calls every end that nobody explained.
_UNEXPLAINED: Final = "Unspecified error"


class Message(NamedTuple):
    """One message as it came; ``connection`` counts the connections since the start.

    ``is_repeat``: the broker says that it sent it before, and does not know whether we have it. ``share`` is what it
    was taken out of, where it goes by shares; ``is_over`` says that there was not enough of it.
    """

    connection: int
    mid: int
    qos: int
    is_retained: bool
    topic: str
    payload: bytes
    is_repeat: bool = False
    share: Share | None = None
    is_over: bool = False


class Taken(Enum):
    """What became of a message: it is worked on, is wanted again for want of room, or is not wanted at all."""

    TAKEN = "taken"
    NO_ROOM = "no room"
    NOT_WANTED = "not wanted"


@dataclass(slots=True)
class Connection:
    """The present connection, or why there is none.

    Attributes:
        number: How many connections there were, this one included.
        waiting: Messages handed on and not yet acknowledged.
        left_behind: Messages that nobody took; the broker sends them again on the next connection.
        kept: Messages that were committed when their own connection was gone already, by number.
    """

    since_ms: int
    number: int = 0
    is_up: bool = False
    why: str = "it was not tried yet"
    waiting: int = 0
    left_behind: int = 0
    kept: dict[int, Message] = field(default_factory=dict)
    _refused: list[str] | None = None
    _lowered: list[str] = field(default_factory=list)
    _since_s: float = 0.0
    _short_ones: int = 0

    def came_up(self, now_ms: int, now_s: float, *, has_session: bool) -> None:
        """A connection was made; what the one before it left open is over."""
        self.number += 1
        self.is_up, self.since_ms, self._since_s = True, now_ms, now_s
        self.waiting = self.left_behind = 0
        self._refused = None
        if not has_session:
            self.kept.clear()

    def granted(self, refused: list[str], lowered: list[str]) -> None:
        """The broker answered which topics it will send."""
        self._refused, self._lowered = refused, lowered

    def went_down(self, now_ms: int, why: str) -> bool:
        """The connection ended, or was not made; return whether that is news."""
        is_news = self.is_up or why != self.why
        if self.is_up:
            self.is_up, self.since_ms = False, now_ms
        self.why = why
        return is_news

    def is_short_again(self, now_s: float) -> bool:
        """Count the end of a connection; return whether it was one of several short ones in a row."""
        self._short_ones = self._short_ones + 1 if now_s - self._since_s < _SHORT_S else 0
        return self._short_ones >= _TOO_OFTEN

    def was_kept(self, message: Message) -> bool:
        """Return whether this message was committed and only its acknowledgement did not get through."""
        kept = self.kept.pop(message.mid, None)
        return kept is not None and (kept.topic, kept.payload) == (message.topic, message.payload)

    def health(self, place: str) -> SensorHealth:
        """Return whether messages can come, in words; ``place`` is the broker's."""
        since = text_of(self.since_ms)
        if not self.is_up:
            return SensorHealth(False, f"no connection to broker {place} since {since}: {self.why}")
        if self._refused is None:
            return SensorHealth(
                False, f"connected to broker {place} since {since}, subscription not confirmed yet"
            )
        if self._refused:
            return SensorHealth(
                False, f"broker {place} refuses the subscription to {', '.join(self._refused)}"
            )
        words = f"connected to broker {place} since {since}"
        if self._lowered:
            words += f"; it may lose messages of {', '.join(self._lowered)} while we are away (QoS 0)"
        return SensorHealth(True, words)


def words_of(error: BaseException | None) -> str:
    """Return why a connection could not be made."""
    if isinstance(error, ssl.SSLCertVerificationError):
        return f"its certificate is not accepted: {error.verify_message}"
    if isinstance(error, TimeoutError):
        return "no answer"
    if isinstance(error, OSError) and error.strerror:
        return error.strerror
    return str(error) or type(error).__name__


def words_of_end(reason: str) -> str:
    """Return why a connection ended, from the name of the reason code."""
    return "the connection broke" if reason == _UNEXPLAINED else reason
