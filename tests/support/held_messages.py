"""A wire that asks for an answer: what it brought is held until it was acknowledged, over restarts too."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from failing_once import Fault

from wardian.rules.ports import Arrival, Decoded, HandOver
from wardian.rules.readings import Series
from wardian.rules.wire_health import SensorHealth

#: The place of a fault that is none of the daemon's: there was no room, and the message came again.
HAND_OVER: Final = "hand over"


@dataclass
class HeldMessages:
    """What a broker holds for us until we say that it is kept."""

    fault: Fault = field(default_factory=Fault)
    held: list[Decoded] = field(default_factory=list)


class HeldSensor:
    """Hands over what is held, again after a start, and lets go of what was acknowledged."""

    name = "probes"
    expected: frozenset[Series] = frozenset()
    poll_every_s: float | None = None

    def __init__(self, messages: HeldMessages) -> None:
        self._messages = messages
        self._hand_over: HandOver | None = None

    def start(self, hand_over: HandOver) -> None:
        self._hand_over = hand_over
        for decoded in list(self._messages.held):
            self._bring(decoded)

    def publish(self, decoded: Decoded) -> None:
        self._messages.held.append(decoded)
        self._bring(decoded)

    def _bring(self, decoded: Decoded) -> None:
        """Hand one over; what finds no room is brought again at once, as by a connection that is begun anew."""
        assert self._hand_over is not None
        while self._messages.fault.is_next("sensor", HAND_OVER):
            pass
        assert self._hand_over(Arrival(self, 0, decoded))

    def poll(self) -> None: ...

    def decode(self, arrival: Arrival) -> Decoded:
        decoded: Decoded = arrival.message
        return decoded

    def acknowledge(self, arrivals: Sequence[Arrival]) -> None:
        self._messages.fault.call("sensor", "acknowledge", lambda: self._let_go(arrivals))

    def _let_go(self, arrivals: Sequence[Arrival]) -> None:
        done = {id(arrival.message) for arrival in arrivals}
        self._messages.held = [one for one in self._messages.held if id(one) not in done]

    def hear_live(self, *, only: bool) -> None: ...

    def health(self) -> SensorHealth:
        return SensorHealth(True, "connected")

    def stop(self) -> None: ...
