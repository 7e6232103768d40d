"""Doubles for what the outbox stands between: a store in memory, channels."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from threading import Event
from typing import Any, cast

from fake_clock import NOON_MS

from wardian.rules.errors import DeliveryFailed, DeliveryRefused, StoreFailed
from wardian.rules.ports import Due, JournalEntry, Message, Store
from wardian.rules.transitions import RAISED, RETURNED

CANARY = "canary-4711"


class Crash(BaseException):
    """The process ends here."""


@dataclass
class FakeStore:
    """The part of a store that the outbox needs; fails for the next ``failures`` marks or looks."""

    rows: dict[int, Due] = field(default_factory=dict)
    entries: list[JournalEntry] = field(default_factory=list)
    ended: dict[int, str] = field(default_factory=dict)
    failing_marks: int = 0
    failing_looks: int = 0
    looks: int = 0

    @property
    def as_store(self) -> Store:
        return cast("Store", self)

    def write(self, channel: str, message: Message, now_ms: int = NOON_MS) -> None:
        number = len(self.rows) + 1
        self.rows[number] = Due(number, channel, message, now_ms, 0, now_ms, "")

    def enter(self, time_ms: int, fields: dict[str, Any]) -> None:
        self.entries.append(JournalEntry(len(self.entries) + 1, time_ms, fields["tray"], fields))

    def waiting(self) -> list[Due]:
        self.looks += 1
        if self.failing_looks:
            self.failing_looks -= 1
            raise StoreFailed("store", "locked", may_heal=True)
        return [due for number, due in self.rows.items() if number not in self.ended]

    def delivered(self, number: int, now_ms: int) -> None:
        self._mark()
        self.ended[number] = "delivered"

    def postponed(self, number: int, due_ms: int, error: str) -> None:
        self._mark()
        due = self.rows[number]
        self.rows[number] = replace(due, due_ms=due_ms, last_error=error, attempts=due.attempts + 1)

    def given_up(self, number: int, now_ms: int, error: str) -> None:
        self._mark()
        self.ended[number] = f"given up: {error}"

    def _mark(self) -> None:
        if self.failing_marks:
            self.failing_marks -= 1
            raise StoreFailed("store", "full", may_heal=True)

    def journal(self, *, last: int | None = None) -> list[JournalEntry]:
        return self.entries if last is None else self.entries[-last:]

    def standing(self) -> list[JournalEntry]:
        standing: dict[tuple[Any, ...], JournalEntry] = {}
        for entry in self.entries:
            alarm = tuple(entry.fields[name] for name in ("tray", "quantity", "limit", "alarm"))
            if entry.fields["event"] == RAISED:
                standing[alarm] = entry
            elif entry.fields["event"] == RETURNED:
                standing.pop(alarm, None)
        return list(standing.values())


@dataclass
class FakeNotifier:
    """Takes messages as ``outcomes`` say, one after the other, and everything after the last of them.

    Outcomes: ``taken``, ``failed``, ``refused``, ``slip`` (an error nobody foresaw), ``crash`` (the
    process ends after it was taken).
    """

    name: str
    outcomes: list[str] = field(default_factory=list)
    taken: list[Message] = field(default_factory=list)
    attempts: list[str] = field(default_factory=list)
    closed: int = 0

    def send(self, message: Message) -> None:
        self.attempts.append(message.key)
        outcome = self.outcomes.pop(0) if self.outcomes else "taken"
        if outcome == "failed":
            raise DeliveryFailed(self.name, "no route")
        if outcome == "refused":
            raise DeliveryRefused(self.name, "nobody there")
        if outcome == "slip":
            raise KeyError(CANARY)
        self.taken.append(message)
        if outcome == "crash":
            raise Crash

    def close(self) -> None:
        self.closed += 1

    @property
    def keys(self) -> list[str]:
        return [message.key for message in self.taken]


@dataclass
class HangingNotifier(FakeNotifier):
    """Hangs in each message until it is let go."""

    entered: Event = field(default_factory=Event)
    let_go: Event = field(default_factory=Event)

    def send(self, message: Message) -> None:
        self.entered.set()
        self.let_go.wait(20)
        super().send(message)


def alarm_fields(event: str, time: str, tray: str = "tray-a", limit: str = "low") -> dict[str, Any]:
    """Return the fields of one change of one alarm."""
    return {
        "time": time,
        "tray": tray,
        "quantity": "relative_humidity",
        "limit": limit,
        "event": event,
        "alarm": "too-dry",
    }


def plain(key: str) -> Message:
    """Return a message about no alarm."""
    return Message(key, f"subject {key}", f"body {key}", {})


def keys_of(messages: Sequence[Message]) -> list[str]:
    """Return the keys, the first time each comes."""
    return list(dict.fromkeys(message.key for message in messages))
