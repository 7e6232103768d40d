"""What a person reads of troubles: the most urgent alarm in full, everything else in a line.

The rule of this file: a message asks for one action, that of the alarm which leads it, and leaves out nothing.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any, Final, NamedTuple

from wardian.daemon.freshness import SayTime
from wardian.daemon.news import AGAIN, CAME_AND_WENT, NEW, REMINDER, RETURNED, STANDING, WORSE, Item
from wardian.daemon.people import Person
from wardian.daemon.tongue import span_words
from wardian.daemon.troubles import SETTLING_MS, Part

#: So many alarms are told in a sentence each; of more only names and trays.
SENTENCES: Final = 6


class Composed(NamedTuple):
    """A message without its key."""

    subject: str
    body: str
    fields: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Composer:
    """Composes with the times of the clock at the bench."""

    say_time: SayTime

    def compose(self, person: Person, items: Sequence[Item], now_ms: int, *, is_held: bool) -> Composed:
        """Return one message about some news, which are in the order of their urgency; not empty.

        ``is_held`` says that quiet hours have held it until now.
        """
        lead, *others = [part for item in items for part in item.parts]
        fields = {**lead.fields, "also": [part.fields for part in others]}
        held = [f"Held until now, in the quiet hours from {person.quiet}."] if is_held else []
        if len(items) == 1 and items[0].kind != CAME_AND_WENT:
            subject, lines = self._one(items[0], person, now_ms)
        else:
            subject, lines = _summed_up(items), list(self._several(items))
        return Composed(subject, "\n".join([*held, *lines]), fields)

    # ---------------------------------------------------------------------------------------- one

    def _one(self, item: Item, person: Person, now_ms: int) -> tuple[str, list[str]]:
        lead, *others = item.parts
        more = f", and {len(others)} more" if others else ""
        also = [f"Also: {part.fields['message']}" for part in others]
        if item.kind == RETURNED:
            return lead.subject + more, [lead.body, f"{self._since_then(item)}.", *also]
        before, how = self._before(item, person, now_ms)
        if item.kind == REMINDER:
            return before + lead.subject + more, [*how, lead.fields["message"], *also, *_to_do(lead)]
        return before + lead.subject + more, [*how, lead.body, *also]

    def _before(self, item: Item, person: Person, now_ms: int) -> tuple[str, list[str]]:
        """Return what goes before the subject and before the body of what stands."""
        if item.kind == WORSE:
            return "worse: ", ["It has become worse than what you were told of this tray."]
        if item.kind == REMINDER:
            raised_ms = item.parts[0].raised_ms
            since = f"{self.say_time(raised_ms)} ({span_words(max(now_ms - raised_ms, 0))})"
            line = (
                f"{item.trouble.tray}, a reminder: it stands since {since}, and nobody has acknowledged it."
            )
            return "reminder: ", [line]
        told_ms = item.trouble.told_ms
        if item.kind == NEW and person.after_ms and told_ms is not None:
            to = f", when {item.trouble.told_to} was told" if item.trouble.told_to else ""
            return "not acknowledged: ", [f"Nobody has acknowledged this since {self.say_time(told_ms)}{to}."]
        return "", []

    def _since_then(self, item: Item) -> str:
        """Return since when a trouble is over, and how often it came and went."""
        over_ms = max(part.returned_ms or 0 for part in item.parts)
        over = f"Returned {self.say_time(over_ms)}; nothing of it came again for {span_words(SETTLING_MS)}"
        first_ms = min(part.first_ms for part in item.parts)
        rises = max(part.rises for part in item.parts)
        return (
            over if rises == 1 else f"{over}. It came and went {rises} times since {self.say_time(first_ms)}"
        )

    # ------------------------------------------------------------------------------------- several

    def _several(self, items: Sequence[Item]) -> Iterator[str]:
        standing = [item for item in items if item.kind in STANDING]
        if standing:
            yield f"{_counted(standing)}, the most urgent first:"
            parts = [(item, part) for item in standing for part in item.parts]
            yield from map(_sentence, parts) if len(parts) <= SENTENCES else _named(parts)
            yield from _first_to_do(parts[0][1])
        for item in items:
            if item.kind == RETURNED:
                yield f"Over: {_names(item)}. {self._since_then(item)}."
        gone = [(_names(item), item) for item in items if item.kind == CAME_AND_WENT]
        for names, same in groupby(sorted(gone, key=lambda one: one[0]), key=lambda one: one[0]):
            yield f"Came and went: {names}, {self._times([item for _, item in same])}."

    def _times(self, items: Sequence[Item]) -> str:
        parts = [part for item in items for part in item.parts]
        first_ms = min(part.first_ms for part in parts)
        last_ms = max(part.returned_ms or 0 for part in parts)
        rises = sum(max(part.rises for part in item.parts) for item in items)
        times = f"{rises} times " if rises > 1 else ""
        return f"{times}from {self.say_time(first_ms)} to {self.say_time(last_ms)}"


_WAYS: Final = {NEW: "", AGAIN: "", WORSE: "worse, ", REMINDER: "a reminder, "}


def _summed_up(items: Sequence[Item]) -> str:
    """Return the subject of a message about several troubles."""
    lead = items[0].parts[0]
    if len(items) == 1:
        return f"{_names(items[0])}, came and went"
    if items[0].kind not in STANDING:
        return f"over: {_names(items[0])}, and {len(items) - 1} more"
    standing = [item for item in items if item.kind in STANDING]
    over = len(items) - len(standing)
    gone = f"; {over} over" if over else ""
    before = "reminder: " if all(item.kind == REMINDER for item in standing) else ""
    if len(standing) == 1:
        return f"{before}{lead.subject}{gone}"
    return f"{before}{lead.subject}, and {len(standing) - 1} more ({_counted(standing)}){gone}"


def _counted(items: Sequence[Item]) -> str:
    trays = len({item.trouble.tray for item in items})
    troubles = f"{len(items)} trouble{'' if len(items) == 1 else 's'}"
    return f"{troubles} on {trays} tray{'' if trays == 1 else 's'}"


def _sentence(one: tuple[Item, Part]) -> str:
    item, part = one
    return f"{item.trouble.tray} ({_WAYS[item.kind]}{part.fields['priority']}): {part.fields['message']}"


def _named(parts: Sequence[tuple[Item, Part]]) -> Iterator[str]:
    """Yield each alarm by its name, with the trays on which it stands."""
    trays: dict[str, dict[str, None]] = {}
    for item, part in sorted(parts, key=lambda one: -one[1].rank):
        name = f"{_name(part)} ({part.fields['priority']})"
        trays.setdefault(name, {})[item.trouble.tray] = None
    for name, where in trays.items():
        yield f"{name[0].upper()}{name[1:]}: {', '.join(where)}"


def _first_to_do(lead: Part) -> Iterator[str]:
    """Yield the one thing to do: what the most urgent alarm asks for."""
    for to_do in _to_do(lead):
        yield f"{lead.fields['tray']} first. {to_do}"


def _to_do(lead: Part) -> list[str]:
    return [line for line in lead.body.splitlines() if line.startswith("To do ")][-1:]


def _names(item: Item) -> str:
    return f"{item.trouble.tray}: {', '.join(dict.fromkeys(map(_name, item.parts)))}"


def _name(part: Part) -> str:
    name = str(part.fields["alarm"]).replace("-", " ")
    quantity = str(part.fields["quantity"]).replace("_", " ")
    return name if part.fields.get("limit") or not quantity else f"{name} ({quantity})"
