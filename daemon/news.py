"""What one person is to hear of one trouble, and when at the earliest.

The rule of this file: it looks at what is known and changes nothing, so it may be asked for any instant.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any, Final, Self

from wardian.daemon.people import HIGH, LOW, Person
from wardian.daemon.troubles import SETTLING_MS, Part, Told, Trouble

#: What is not urgent waits so long for what belongs to it; so does, at most, what is urgent in a storm.
GATHERING_MS: Final = 60_000
#: Between two messages about one tray, unless the later is more urgent; also the length of a window in which few go.
PAUSE_MS: Final = 15 * 60_000

#: Kinds of news.
NEW: Final = "new"
WORSE: Final = "worse"
AGAIN: Final = "again"
REMINDER: Final = "reminder"
RETURNED: Final = "returned"
CAME_AND_WENT: Final = "came and went"
STANDING: Final = (NEW, WORSE, AGAIN, REMINDER)
_KINDS: Final = (NEW, WORSE, AGAIN, REMINDER, CAME_AND_WENT, RETURNED)


@dataclass(frozen=True, slots=True)
class Item:
    """One piece of news about a trouble.

    ``ready_ms`` is when it may go along with something else, ``due_ms`` when it goes by itself, and before
    ``pause_ms`` its tray has been spoken of too lately. The first of ``parts`` leads.
    """

    trouble: Trouble
    kind: str
    rank: int
    ready_ms: int
    due_ms: int
    parts: tuple[Part, ...]
    pause_ms: int = 0

    @property
    def order(self) -> tuple[int, int, int, int]:
        """What is told first: what stands, then the urgent, then the older."""
        return _KINDS.index(self.kind) >= len(STANDING), -self.rank, self.ready_ms, self.trouble.number

    def note(self, person: str, now_ms: int) -> None:
        """Write into the trouble that a person was told."""
        told = self.trouble.told.get(person)
        if self.kind == CAME_AND_WENT:
            self.trouble.told[person] = Told(self.rank, now_ms, now_ms)
        elif self.kind == RETURNED:
            assert told is not None
            told.over_ms = now_ms
        elif self.kind == REMINDER:
            assert told is not None
            told.last_ms = now_ms
        else:
            self.trouble.told[person] = Told(self.rank, now_ms)
        if self.kind in STANDING and self.trouble.told_ms is None:
            self.trouble.told_ms, self.trouble.told_to = now_ms, person


@dataclass(slots=True)
class Window:
    """A time in which few troubles go to a person one by one, and how many did."""

    from_ms: int
    troubles: int = 0

    @property
    def end_ms(self) -> int:
        """When it is over."""
        return self.from_ms + PAUSE_MS


@dataclass(slots=True)
class Known:
    """What was lately sent to a person: by tray when, and how urgent it was."""

    window: Window | None = None
    trays: dict[str, tuple[int, int]] = field(default_factory=dict)

    @classmethod
    def from_state(cls, state: Mapping[str, Any]) -> Self:
        """Return it as it was kept."""
        window = state.get("window")
        trays = {tray: (time_ms, rank) for tray, (time_ms, rank) in state.get("trays", {}).items()}
        return cls(Window(**window) if window else None, trays)

    def state(self) -> dict[str, Any]:
        """Return it as plain JSON."""
        trays = {tray: list(told) for tray, told in self.trays.items()}
        return {"window": asdict(self.window) if self.window else None, "trays": trays}

    def pause_ms(self, tray: str, rank: int) -> int:
        """Return before when nothing of this rank is to be said of a tray."""
        told = self.trays.get(tray)
        return 0 if told is None or rank > told[1] or rank == HIGH else told[0] + PAUSE_MS

    def note(self, item: Item, now_ms: int) -> None:
        """Write down that a tray was spoken of."""
        self.trays = {tray: told for tray, told in self.trays.items() if now_ms < told[0] + PAUSE_MS}
        _, rank = self.trays.get(item.trouble.tray, (0, LOW))
        self.trays[item.trouble.tray] = (now_ms, max(rank, item.rank))

    def set_back(self, now_ms: int) -> None:
        """Take what lies ahead of the clock as of now."""
        if self.window:
            self.window.from_ms = min(self.window.from_ms, now_ms)
        self.trays = {tray: (min(time_ms, now_ms), rank) for tray, (time_ms, rank) in self.trays.items()}


@dataclass(frozen=True, slots=True)
class Hearer:
    """A person, what was lately sent to them, and from which rank on each of those hears it who are told at once."""

    person: Person
    known: Known
    told_at_once: Sequence[int]


def item_of(hearer: Hearer, trouble: Trouble) -> Item | None:
    """Return what a person is to hear of a trouble next, None where that is nothing."""
    person = hearer.person
    parts = sorted(
        (part for part in trouble.parts.values() if part.rank >= person.hears),
        key=lambda part: (-part.rank, part.first_ms),
    )
    unseen = [part for part in parts if part.stands and not part.is_seen]
    told = trouble.told.get(person.name)
    # Who was told that it is over knows nothing of what stands now.
    if unseen and told is not None and told.over_ms is None and unseen[0].rank <= told.rank:
        return _reminder(hearer, trouble, unseen, told)
    if unseen:
        return _news(hearer, trouble, unseen, None if told is None or told.over_ms is not None else told)
    if not parts or any(part.stands for part in parts):
        return None
    if told is None:
        return _came_and_went(person, trouble, parts)
    return None if told.over_ms is not None else _returned(hearer, trouble, parts)


def _news(hearer: Hearer, trouble: Trouble, unseen: Sequence[Part], told: Told | None) -> Item | None:
    pending = [part for part in unseen if told is None or part.rank > told.rank]
    rank = pending[0].rank
    urgent = [part.raised_ms for part in pending if part.rank == HIGH]
    ready_ms = min(urgent or [part.first_ms for part in pending])
    due_ms = ready_ms if urgent else ready_ms + GATHERING_MS
    if told is None and hearer.person.after_ms:
        since_ms = trouble.told_ms
        if since_ms is None:
            if any(rank >= hears for hears in hearer.told_at_once):
                return None
            since_ms = ready_ms
        ready_ms = due_ms = max(ready_ms, since_ms + hearer.person.after_ms)
    kind = NEW if told is None else AGAIN if told.rank < LOW else WORSE
    pause_ms = hearer.known.pause_ms(trouble.tray, rank)
    return Item(trouble, kind, rank, ready_ms, max(due_ms, pause_ms), _led(unseen, trouble), pause_ms)


def _reminder(hearer: Hearer, trouble: Trouble, unseen: Sequence[Part], told: Told) -> Item | None:
    rank = unseen[0].rank
    every_ms = hearer.person.repeat_ms[rank]
    if every_ms is None:
        return None
    waits_ms = min(part.waits_ms for part in unseen)
    due_ms, pause_ms = max(told.last_ms, waits_ms) + every_ms, hearer.known.pause_ms(trouble.tray, rank)
    return Item(trouble, REMINDER, rank, due_ms, max(due_ms, pause_ms), _led(unseen, trouble), pause_ms)


def _returned(hearer: Hearer, trouble: Trouble, parts: Sequence[Part]) -> Item:
    over_ms = max(part.returned_ms or 0 for part in parts) + SETTLING_MS
    pause_ms = hearer.known.pause_ms(trouble.tray, LOW)
    return Item(trouble, RETURNED, LOW, over_ms, max(over_ms, pause_ms), tuple(parts), pause_ms)


def _came_and_went(person: Person, trouble: Trouble, parts: Sequence[Part]) -> Item | None:
    """Return what stood long enough to be told, was not, and is over without anybody having acknowledged it.

    Quiet hours held it back, a storm, or a daemon that was not there. Of what others were told, nobody hears
    afterwards who is told after a time, unless they were asleep.
    """
    held = []
    for part in parts:
        due_ms = part.first_ms + GATHERING_MS + person.after_ms
        returned_ms = part.returned_ms or 0
        end_ms = person.quiet_until_ms(due_ms)
        if end_ms is None and not person.after_ms:
            end_ms = returned_ms + SETTLING_MS
        if not part.is_seen and end_ms is not None and returned_ms >= due_ms:
            held.append((part, max(end_ms, returned_ms)))
    if not held:
        return None
    due_ms = min(end_ms for _, end_ms in held)
    return Item(trouble, CAME_AND_WENT, LOW, due_ms, due_ms, tuple(part for part, _ in held))


def _led(unseen: Sequence[Part], trouble: Trouble) -> tuple[Part, ...]:
    """Return what stands of a trouble, led by what nobody has acknowledged."""
    rest = [part for part in trouble.parts.values() if part.stands and part not in unseen]
    return (*unseen, *rest)
