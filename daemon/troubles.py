"""Troubles: the alarms of one tray that belong together, and what each person was told of them.

The rule of this file: a trouble is plain data. It has no clock; what is due when, the telling decides.
"""

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, Final, Self

from wardian.rules.ports import Message

#: A trouble whose alarms have all returned stays open for so long: what comes again meanwhile is the same one.
SETTLING_MS: Final = 30 * 60_000


@dataclass(slots=True)
class Part:
    """One alarm of a trouble, in the words of its last raise or return.

    ``first_ms`` is when it was first raised in this trouble, ``raised_ms`` when last, ``waits_ms`` since when
    it waits for somebody to acknowledge it; ``returned_ms`` is None while it stands.
    """

    fields: Mapping[str, Any]
    subject: str
    body: str
    rank: int
    first_ms: int
    raised_ms: int
    waits_ms: int
    returned_ms: int | None = None
    is_seen: bool = False
    rises: int = 1

    @property
    def stands(self) -> bool:
        """Whether it is raised."""
        return self.returned_ms is None

    def say(self, message: Message) -> None:
        """Take the words of a message."""
        self.fields, self.subject, self.body = dict(message.fields), message.subject, message.body


@dataclass(slots=True)
class Told:
    """What one person was told of a trouble: how urgent, when last, and when, if ever, that it is over."""

    rank: int
    last_ms: int
    over_ms: int | None = None


@dataclass(slots=True)
class Trouble:
    """Alarms of one tray that belong together.

    ``told_ms`` is when somebody was first told of what nobody has acknowledged since, and ``told_to`` who.
    """

    number: int
    tray: str
    tags: list[str]
    parts: dict[str, Part] = field(default_factory=dict)
    told: dict[str, Told] = field(default_factory=dict)
    told_ms: int | None = None
    told_to: str = ""

    @classmethod
    def from_state(cls, state: Mapping[str, Any]) -> Self:
        """Return a trouble as it was kept."""
        parts = {name: Part(**part) for name, part in state["parts"].items()}
        told = {name: Told(**one) for name, one in state["told"].items()}
        return cls(**{**state, "parts": parts, "told": told})

    def state(self) -> dict[str, Any]:
        """Return it as plain JSON."""
        return asdict(self)

    def settled_ms(self) -> int | None:
        """Return when it is over for good if nothing comes again, None while any of it stands."""
        returned = [part.returned_ms for part in self.parts.values() if part.returned_ms is not None]
        if len(returned) < len(self.parts):
            return None
        return max(returned, default=0) + SETTLING_MS

    def takes(self, name: str, tags: Iterable[str], time_ms: int) -> bool:
        """Whether an alarm that is raised at an instant belongs here."""
        settled_ms = self.settled_ms()
        is_open = settled_ms is None or time_ms < settled_ms
        return is_open and (name in self.parts or not set(self.tags).isdisjoint(tags))

    def rise(self, name: str, part: Part) -> None:
        """Let an alarm stand, for the first time or again."""
        known = self.parts.get(name)
        if known is not None:
            part.first_ms, part.rises = known.first_ms, known.rises + 1
            part.waits_ms = part.raised_ms if known.is_seen else known.waits_ms
        self.parts[name] = part
        if (
            self.told_ms is None
            and not part.is_seen
            and any(one.over_ms is None for one in self.told.values())
        ):
            # It is folded into what they know, and waits from now on to be acknowledged.
            self.told_ms, self.told_to = part.raised_ms, ""

    def tell_anew(self) -> None:
        """Have everybody told again, though they know of this trouble."""
        for one in self.told.values():
            one.rank = -1

    def see(self, name: str) -> None:
        """Note that somebody has acknowledged an alarm."""
        self.parts[name].is_seen = True
        self._rest()

    def set_aside(self, name: str) -> None:
        """Take out an alarm of which nobody is to hear now."""
        del self.parts[name]
        self._rest()

    def _rest(self) -> None:
        standing = [part for part in self.parts.values() if part.stands]
        if all(part.is_seen for part in standing or self.parts.values()):
            self.told_ms = None
