"""How much of what comes each topic may bring, so that no sender takes what is everybody's.

The rule of this file: what one topic brings never costs another one anything, memory stays within bounds however
many topics somebody makes up, and what waited somewhere while a topic was silent is no flood. One thread asks;
others may look at what floods there are.
"""

from collections import Counter
from collections.abc import Callable
from enum import Enum
from typing import Final, NamedTuple

from wardian.rules.wire_health import Flood

#: What a topic may bring for each tray that it can be about: far more than sensors send, which is a message every
#: few seconds. A message costs 1, and 1 more for each so many bytes.
LASTING_PER_S: Final = 20.0
BURST: Final = 2_000.0
BYTES_OF_ONE: Final = 512
#: After a silence as long as this it may bring beside that what a busy sensor measured meanwhile, ...
SILENCE_S: Final = 60.0
BACKLOG_PER_S: Final = 1.0
#: ... at most, and soon after our start, two days of one message every ten seconds. What is not there within the
#: hour is no backlog.
LONGEST_BACKLOG: Final = 20_000.0
BACKLOG_WITHIN_S: Final = 3_600.0
#: Where wildcards let any topic through, so many a tray have a share of their own, none of them longer than this;
#: the others have one together.
OWN_SHARES: Final = 20
LONGEST_TOPIC: Final = 200
#: Of what is over a share so many messages are shown, and then one each while.
SHOWN_AT_ONCE: Final = 10
SHOWN_EVERY_S: Final = 60.0
#: A flood is over when nothing was over the share for so long.
CALM_S: Final = 60.0
#: Rates are told of pieces of time as long as this.
RATE_OVER_S: Final = 5.0
_NEVER_S: Final = float("-inf")


class Place(NamedTuple):
    """What a topic is about: the tray, if it tells one, and of how many it can be, 0 for none of ours.

    ``is_open``: wildcards let through any number of topics like it.
    """

    tray: str | None
    trays: int
    is_open: bool


class Admission(Enum):
    """Whether a message is within the share of its topic; of what is over it, some is to be shown."""

    WITHIN = "within"
    SHOWN = "shown"
    OVER = "over"


class Allowance(NamedTuple):
    """What a share is: messages a second for ever, at once, and of a backlog."""

    lasting_per_s: float
    at_once: float
    backlog: float


#: What all topics together may bring that belong to no tray or quantity: enough to see what comes there.
STRANGERS: Final = Allowance(lasting_per_s=0.2, at_once=30.0, backlog=0.0)


class Share:
    """What is left of the share of one topic, or of several together."""

    def __init__(self, topic: str, allowance: Allowance, now_s: float, backlog: float = 0.0) -> None:
        """Begin with all of what it may bring at once, and a backlog."""
        #: The topic, or the latest of them; how much was over the share, and when of late.
        self.topic = topic
        self.over = 0
        self.over_s = _NEVER_S
        #: What was taken in, and what of it was looked at: each counted by one thread.
        self.taken = self.looked_at = 0
        self._allowance = allowance
        self._left, self._seen_s = allowance.at_once, now_s
        self._backlog, self._backlog_until_s = backlog, now_s + BACKLOG_WITHIN_S
        self._counted, self._counted_from_s, self._counted_per_s = 0, now_s, 0.0
        self._shown, self._shown_s = 0, _NEVER_S

    def admit(self, cost: int, now_s: float) -> Admission:
        """Take one message out of the share, if it is still in it."""
        self._count(now_s)
        silent_s = now_s - self._seen_s
        self._seen_s = now_s
        allowance = self._allowance
        self._left = min(allowance.at_once, self._left + silent_s * allowance.lasting_per_s)
        if silent_s >= SILENCE_S:
            self._backlog = min(self._backlog + silent_s * BACKLOG_PER_S, allowance.backlog)
            self._backlog_until_s = now_s + BACKLOG_WITHIN_S
        if self._left >= cost:
            self._left -= cost
            return Admission.WITHIN
        if self._backlog >= cost and now_s < self._backlog_until_s:
            self._backlog -= cost
            return Admission.WITHIN
        return self._over(now_s)

    def per_s(self, now_s: float) -> float:
        """Return how much came a second of late; a rush that is over within seconds counts, too."""
        passed_s = max(now_s - self._counted_from_s, RATE_OVER_S)
        return max(self._counted_per_s, self._counted / passed_s)

    def _count(self, now_s: float) -> None:
        self._counted += 1
        passed_s = now_s - self._counted_from_s
        if passed_s >= RATE_OVER_S:
            self._counted_per_s = self._counted / passed_s
            self._counted, self._counted_from_s = 0, now_s

    def _over(self, now_s: float) -> Admission:
        if now_s - self.over_s >= CALM_S:
            self._shown = 0
        self.over += 1
        self.over_s = now_s
        if self._shown >= SHOWN_AT_ONCE and now_s - self._shown_s < SHOWN_EVERY_S:
            return Admission.OVER
        self._shown += 1
        self._shown_s = now_s
        return Admission.SHOWN


class Shares:
    """The shares of all topics of one broker."""

    def __init__(self, place_of: Callable[[str], Place], now_s: float) -> None:
        """Know of each topic where it belongs; ``now_s`` is of a clock that never goes back."""
        self._place_of = place_of
        self._began_s = now_s
        self._own: dict[str, Share] = {}
        self._open: Counter[str | None] = Counter()
        self._crowds: dict[str | None, Share] = {}
        self._strangers = Share("", STRANGERS, now_s)

    def of(self, topic: str, now_s: float) -> Share:
        """Return the share that a topic has, or has together with others."""
        own = self._own.get(topic)
        return own if own is not None else self._found(topic, now_s)

    def floods(self, now_s: float) -> list[Flood]:
        """Return what is over its share at present, the worst first."""
        shares = [*self._own.values(), *self._crowds.values(), self._strangers]
        found = [
            Flood(share.topic, share.per_s(now_s), share.over, is_ours=share is not self._strangers)
            for share in shares
            if now_s - share.over_s < CALM_S and share.per_s(now_s) >= self._flood_from(share)
        ]
        return sorted(found, key=lambda flood: -flood.per_s)

    def _flood_from(self, share: Share) -> float:
        """Return from which rate on it is one: what is not ours may be a sensor that was never configured."""
        return LASTING_PER_S if share is self._strangers else 0.1

    def _found(self, topic: str, now_s: float) -> Share:
        place = self._place_of(topic)
        if not place.trays:
            shared = self._strangers
        elif self._may_have_own(topic, place):
            return self._own.setdefault(topic, self._new(topic, place, now_s))
        else:
            shared = self._crowds.setdefault(place.tray, self._new(topic, place, now_s))
        shared.topic = topic
        return shared

    def _may_have_own(self, topic: str, place: Place) -> bool:
        if not place.is_open:
            return True
        if len(topic) > LONGEST_TOPIC or self._open[place.tray] >= OWN_SHARES * place.trays:
            return False
        self._open[place.tray] += 1
        return True

    def _new(self, topic: str, place: Place, now_s: float) -> Share:
        has_just_begun = now_s - self._began_s < BACKLOG_WITHIN_S
        allowance = Allowance(place.trays * LASTING_PER_S, place.trays * BURST, LONGEST_BACKLOG)
        return Share(topic, allowance, now_s, LONGEST_BACKLOG if has_just_begun else 0.0)


def cost_of(payload: bytes) -> int:
    """Return what a message takes of a share."""
    return 1 + len(payload) // BYTES_OF_ONE
