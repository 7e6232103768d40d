"""The ways in and out of the watch: a wire or a channel that is down is one trouble, told by its name.

The rule of this file: it goes by our own time. A wire that comes and goes is down until it has worked for a while.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from wardian.daemon.beside import Extra
from wardian.daemon.guarded import Slips
from wardian.daemon.lives import Lives
from wardian.daemon.outbox import Stuck
from wardian.rules.ports import Alarm, Clock
from wardian.rules.readings import Series
from wardian.rules.transitions import SENSOR_SILENT

if TYPE_CHECKING:
    from wardian.daemon.own_troubles import OwnTroubles

#: Names of what goes wrong with the watch itself.
WIRE_DOWN: Final = "wire-down"
CHANNEL_DOWN: Final = "channel-down"
#: With two keepalives, after which a half-open connection is seen, and a pause between rounds: three minutes.
AWAY_S: Final = 100.0
#: So long a wire must have worked to be up again.
SETTLED_S: Final = 60.0
#: So long after that its sensors may take to be heard again.
HEARD_AGAIN_S: Final = 300.0
#: So long a channel must have taken nothing of what was tried: a hiccup of a mail server is over by then.
STUCK_S: Final = 900.0
_NOTHING: Final = Extra()


@dataclass(slots=True)
class _Way:
    """How one wire does; both instants are of our own time."""

    wire: Any
    down_since_s: float | None = None
    works_since_s: float | None = None
    words: str = ""

    def look(self, slips: Slips, now_s: float) -> None:
        """Take in whether it works now."""
        health = slips.health(self.wire)
        if not health.works:
            self.works_since_s, self.words = None, health.words
            self.down_since_s = now_s if self.down_since_s is None else self.down_since_s
        elif self.works_since_s is None:
            self.works_since_s = now_s
        if self.has_worked(SETTLED_S, now_s):
            self.down_since_s = None

    def is_down(self, now_s: float) -> bool:
        """Whether it is away for long, and is now."""
        is_long = self.down_since_s is not None and now_s - self.down_since_s >= AWAY_S
        return is_long and self.works_since_s is None

    def has_worked(self, span_s: float, now_s: float) -> bool:
        """Whether it has worked for so long."""
        return self.works_since_s is not None and now_s - self.works_since_s >= span_s


class WaysWatched:
    """Takes part in the rounds; tells of what is down by ``troubles``."""

    def __init__(self, wires: Iterable[Any], stuck: Callable[[], Mapping[str, Stuck]], clock: Clock) -> None:
        """Watch wires that speak by themselves; a sensor that is asked is silent by itself where it fails."""
        self._ways = [_Way(wire) for wire in wires if getattr(wire, "poll_every_s", None) is None]
        self._stuck = stuck
        self._clock = clock
        self._told: set[str] = set()
        self._cut_off: frozenset[Series] = frozenset()
        self.troubles: OwnTroubles | None = None
        self.slips = Slips(lambda _name, _words: None)

    def work(self, _now_ms: int, lives: Lives) -> Extra:
        """Look at every way; what is to be told goes to the troubles."""
        now_s = self._clock.monotonic_s()
        for way in self._ways:
            way.look(self.slips, now_s)
        words = [f"{way.wire.name}: {way.words}" for way in self._ways if way.is_down(now_s)]
        words += [
            f"{name}: connected, but nothing comes, as if it may not read its topics"
            for name in self._deaf(lives)
        ]
        is_over = not words and all(way.down_since_s is None for way in self._ways)
        self._say(WIRE_DOWN, words, is_over=is_over)
        stuck = {name: one for name, one in self._stuck().items() if now_s - one.since_s >= STUCK_S}
        words = [
            f"{name} has taken no message for 15 min or longer: {one.why}" for name, one in stuck.items()
        ]
        self._say(CHANNEL_DOWN, words, is_over=not stuck)
        self._cut_off = self._only_by([way for way in self._ways if not way.has_worked(HEARD_AGAIN_S, now_s)])
        return _NOTHING

    def committed(self) -> None:
        """Do nothing: what is down waits for nothing."""

    def is_cut_off(self, tray: str, quantity: str) -> bool:
        """Return whether a series comes only by wires that do not work, or have not for long again."""
        return Series(tray, quantity) in self._cut_off

    def _deaf(self, lives: Lives) -> list[str]:
        """Return the wires that are connected and of whose sensors, two or more, none is heard."""
        return [
            way.wire.name
            for way in self._ways
            if way.works_since_s is not None
            and len(brought := _brought(way.wire)) > 1
            and all(lives.of(Alarm(*series, SENSOR_SILENT)).is_abnormal for series in brought)
        ]

    def _only_by(self, ways: Sequence[_Way]) -> frozenset[Series]:
        down = {id(way) for way in ways}
        by_others = [_brought(way.wire) for way in self._ways if id(way) not in down]
        return frozenset().union(*(_brought(way.wire) for way in ways)).difference(*by_others)

    def _say(self, name: str, words: Sequence[str], *, is_over: bool) -> None:
        if self.troubles is None:
            return
        if words:
            self._told.add(name)
            self.troubles.begin(name, f"{'; '.join(words)}.")
        elif is_over and name in self._told:
            self._told.discard(name)
            self.troubles.end(name)


def _brought(wire: Any) -> frozenset[Series]:
    brought: frozenset[Series] = getattr(wire, "expected", frozenset())
    return brought
