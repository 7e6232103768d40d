"""What the daemon needs of the world: a clock, sensors, notifiers and a store. Adapters fulfil these."""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final, NamedTuple, Protocol

from wardian.rules.kept import Mended, Older, Room, Unreadable
from wardian.rules.moving import Moving
from wardian.rules.plans import TrayPlan
from wardian.rules.readings import Chunk, Reading, Series
from wardian.rules.records import Record
from wardian.rules.wire_health import SensorHealth

if TYPE_CHECKING:
    from wardian.rules.rollups import Rollups


class Clock(Protocol):
    """The machine's two clocks: one for labels, one for durations."""

    def wall_ms(self) -> int:
        """Return milliseconds since 1970 UTC; may jump."""

    def monotonic_s(self) -> float:
        """Return seconds from an unknown instant; never goes back."""


# ------------------------------------------------------------------------------------- sensors


class Measured(NamedTuple):
    """One value as a wire brought it, before units and bounds are looked at.

    ``time_ms`` is None where the wire gives no time: then the time of arrival is meant.
    ``unit`` is empty for the quantity's own unit.
    """

    time_ms: int | None
    tray: str
    quantity: str
    value: float | str
    unit: str = ""


class Refused(NamedTuple):
    """Something that arrived and is no reading, with as much of its place as is known."""

    source: str
    why: str
    raw: str
    time_ms: int | None = None
    tray: str | None = None
    quantity: str | None = None


class Stranger(Refused):
    """One that is refused because nobody configured the tray, the quantity or the name that it is about."""

    __slots__ = ()


class Block(NamedTuple):
    """Some rows of a file of readings, in its order."""

    chunk: Chunk
    rows: int
    refused: list[Refused]


@dataclass(slots=True)
class Decoded:
    """What one arrival meant."""

    measured: list[Measured] = field(default_factory=list)
    refused: list[Refused] = field(default_factory=list)


class Arrival(NamedTuple):
    """One message as it came, not looked at yet; ``message`` is for its sensor alone."""

    sensor: "Sensor"
    received_ms: int
    message: Any


#: Takes one arrival without ever waiting; False when there is no room and it was not taken.
HandOver = Callable[[Arrival], bool]


class Sensor(Protocol):
    """A wire that brings readings in.

    Nothing here may end the program because a device vanished, nor repeat the last value to hide a gap.
    ``start`` returns at once. Arrivals are handed over from any thread, in order; ``decode`` and
    ``acknowledge`` are called from the loop's thread only.
    """

    name: str
    #: The series the configuration says it brings: their silence is an alarm.
    expected: frozenset[Series]
    #: Seconds between polls, or None for a wire that speaks by itself.
    poll_every_s: float | None

    def start(self, hand_over: HandOver) -> None:
        """Open the wire; a wire that cannot be opened now is retried by the sensor or the next poll."""

    def poll(self) -> None:
        """Ask once, within a bounded time, and hand over what came. Only for polled wires.

        Raises:
            SensorUnreachable: Not everything answered; what did was handed over, and the next poll may do better.
        """

    def decode(self, arrival: Arrival) -> Decoded:
        """Return the readings of one arrival; what is none is among the refused. Never raises."""

    def acknowledge(self, arrivals: Sequence[Arrival]) -> None:
        """Tell the source that these are kept for good. Called only after the commit."""

    def hear_live(self, *, only: bool) -> None:
        """Hear what is new without waiting for acknowledgements, as nothing can be kept; or as ever again.

        What comes so is lost with the process, but it is judged. A wire without acknowledgements does nothing.
        """

    def health(self) -> SensorHealth:
        """Return whether the wire works now."""

    def stop(self) -> None:
        """Close the wire; idempotent."""


# ----------------------------------------------------------------------------------- notifiers


@dataclass(frozen=True, slots=True)
class Message:
    """What one channel is to tell.

    Attributes:
        key: The same for every repeat of the same message; never used for another one.
        subject: One line for people.
        body: The whole message for people, several lines.
        fields: The same as the contract's JSON object of an alarm transition.
    """

    key: str
    subject: str
    body: str
    fields: Mapping[str, Any]


class Notifier(Protocol):
    """A channel that takes messages out."""

    name: str

    def send(self, message: Message) -> None:
        """Deliver one message within a bounded time, from a thread of its own.

        Raises:
            DeliveryFailed: It was not taken; trying again may help.
            DeliveryRefused: It will never be taken this way.
        """

    def close(self) -> None:
        """Release what is open; idempotent."""


# --------------------------------------------------------------------------------------- store


class JournalEntry(NamedTuple):
    """One transition of an alarm as kept: the contract's fields, in order of ``number``."""

    number: int
    time_ms: int
    tray: str
    fields: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Due:
    """One message still to be sent through one channel."""

    number: int
    channel: str
    message: Message
    created_ms: int
    attempts: int
    due_ms: int
    last_error: str


@dataclass(frozen=True, slots=True)
class DueMessage:
    """A message and the channel that shall take it, before the store has numbered it."""

    channel: str
    message: Message


@dataclass(slots=True)
class Round:
    """All that one round of the loop has to keep, in one transaction.

    ``states`` holds only the trays whose engine state is to be saved now.
    """

    now_ms: int
    readings: Sequence[Reading] = ()
    late: Sequence[Reading] = ()
    refused: Sequence[Refused] = ()
    journal: Sequence[tuple[int, str, Mapping[str, Any]]] = ()
    due: Sequence[DueMessage] = ()
    states: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    notes: Mapping[str, Any] = field(default_factory=dict)
    #: Numbers of the acts that are done with this round.
    acts_done: Sequence[int] = ()
    #: What is put on record with this round.
    records: Sequence[Record] = ()


class Alarm(NamedTuple):
    """Which alarm: of a tray and a quantity, by a limit or, about its sensor, by its condition."""

    tray: str
    quantity: str
    condition: str


class Act(NamedTuple):
    """What a person wants of an alarm: an event of its life, who and why, and until when where it ends."""

    asked_ms: int
    alarm: Alarm
    event: str
    who: str
    why: str
    until_ms: int | None = None


#: Makes new records in the light of all there are.
MakeRecords = Callable[[Sequence[Record]], Sequence[Record]]


class Kept(NamedTuple):
    """What a committed round added: readings new to the store and repeats ignored."""

    readings: int
    repeated: int


#: Series whose hour is folded in one transaction.
SERIES_AT_ONCE: Final = 40


class Store(Protocol):
    """What is kept. One writer; every method is one transaction.

    Raises:
        StoreFailed: From any method, when the promise cannot be kept.
    """

    def keep(self, round_: Round) -> Kept:
        """Commit one round: all of it or nothing. A repeated (time, tray, quantity) is ignored."""

    def move(self, moving: Moving) -> None:
        """Move all that was kept of an era to where it belongs, for the clock was wrong from its begin on.

        Readings, late ones, refusals, the journal, messages, states and notes are moved in one transaction; keys of
        messages and what people put on record stay. The caller sees to it that no hour of the era is folded and that
        the era does not begin before what was kept ahead of it.
        """

    def damage(self) -> str:
        """Return what is broken in what is kept, empty if nothing; looks at all of it but what is packed."""

    def unreadable(self, from_ms: int = 0) -> list[Unreadable]:
        """Return the packed rows of the hours from one on that cannot be read; looks at each."""

    def put_aside(self, found: Sequence[Unreadable], now_ms: int) -> Mended:
        """Take packed rows that cannot be read out of the way of all others; they are kept elsewhere."""

    def announce(self, trouble: str) -> None:
        """Say to whoever looks what keeps rounds from being kept; empty when nothing does. Never raises."""

    def room(self) -> Room | None:
        """Hold some room back where there is enough, and return how much is left; None where nobody can tell."""

    def states(self) -> dict[str, dict[str, Any]]:
        """Return the last saved engine state of every tray."""

    def notes(self) -> dict[str, Any]:
        """Return the small named facts kept with the rounds, the last of each name."""

    def readings(self, from_ms: int, to_ms: int, *, late: bool = True) -> Iterator[Reading]:
        """Yield readings with from_ms <= time < to_ms in order of time, late ones on request."""

    def chunk(
        self,
        from_ms: int,
        to_ms: int,
        quantities: Collection[str] | None = None,
        trays: Collection[str] | None = None,
    ) -> Chunk:
        """Return readings with from_ms <= time < to_ms that were judged, as arrays (no late ones).

        Where quantities are named, or trays, only of these.
        """

    def latest(self) -> dict[Series, Reading]:
        """Return the newest reading of every series."""

    def fold(self, before_ms: int, plans: Mapping[str, TrayPlan], most: int = SERIES_AT_ONCE) -> bool:
        """Fold the oldest hour that ended before an instant; return whether more is to be folded.

        At most that of so many series, so that nobody has to wait long. Readings are read as before. An hour is rolled up by its tray's plan of now, once it ended an hour before that of the newest reading, and once more when one of it comes later.
        """

    def let_go(self, older: Older) -> bool:
        """Let the oldest hour go that ended before an instant, see ``Older``; return whether more is to go."""

    def folded_until_ms(self) -> int:
        """Return before when all hours were folded at least once; 0 where none were."""

    def rollups(self, series: Series, from_ms: int, to_ms: int) -> "Rollups":
        """Return the five-minute pieces of a series with from_ms <= their begin < to_ms, of hours that are folded.

        Readings that came late count. The mean is given to a 65535th of the span between lowest and highest.
        """

    def journal(self, *, last: int | None = None) -> list[JournalEntry]:
        """Return the journal in the order it was written, or its last entries."""

    def standing(self) -> list[JournalEntry]:
        """Return the raised entries that no later one has returned, in the order they were raised."""

    def last_of_alarms(self) -> dict[Alarm, JournalEntry]:
        """Return the last entry of every alarm that has any."""

    def ask(self, asked: Sequence[Act]) -> None:
        """Write down what a person wants, all or nothing, for the daemon to take; also beside a live one."""

    def acts(self) -> dict[int, Act]:
        """Return what was asked and is not done yet, by number, in the order it was asked."""

    def record(self, make: "MakeRecords") -> list[Record]:
        """Put on record what ``make`` returns, all or nothing, and return it numbered; also beside a live writer.

        ``make`` is shown all records there are, in order of number; nobody adds one until it is done. What it
        raises is raised, and nothing is put on record.
        """

    def records(self, *, after: int = 0) -> list[Record]:
        """Return the records with numbers above one, in order of number."""

    def refused(self, last: int = 100) -> list[tuple[int, Refused]]:
        """Return the newest refused readings with the time they were refused at."""

    def late(self, from_ms: int, to_ms: int) -> dict[Series, int]:
        """Return how many readings with from_ms <= time < to_ms came too late to be judged, by series."""

    def lost(self, from_ms: int, to_ms: int) -> dict[str, int]:
        """Return how many messages each channel has given up between two instants."""

    def counts(self) -> dict[str, int]:
        """Return how many of each thing are kept: readings, late, refused, journal, due, sent."""

    def due(self, now_ms: int, limit: int = 100) -> list[Due]:
        """Return messages whose time has come, in the order they were written."""

    def waiting(self) -> list[Due]:
        """Return every message not yet delivered nor given up, in the order they were written."""

    def delivered(self, number: int, now_ms: int) -> None:
        """Mark a message as delivered."""

    def postponed(self, number: int, due_ms: int, error: str) -> None:
        """Mark a failed attempt and when to try again."""

    def given_up(self, number: int, now_ms: int, error: str) -> None:
        """Mark a message that this channel will never take."""

    def close(self) -> None:
        """Close; idempotent."""
