"""Who is told what, and when: troubles go in, messages to people come out.

The rule of this file: it has no clock and decides by what it has heard and its state alone. The state is
committed with the journal and the messages that follow from it, so nothing is told twice or lost.
"""

from collections.abc import Callable, Container, Iterable, Mapping, Sequence
from typing import Any, Final

from wardian.daemon.belonging import tags_of
from wardian.daemon.composing import Composer
from wardian.daemon.freshness import SayTime
from wardian.daemon.lives import RELEASED, alarm_of
from wardian.daemon.news import GATHERING_MS, Hearer, Item, Known, Window, item_of
from wardian.daemon.people import HIGH, Person, rank_of
from wardian.daemon.tongue import ms_of, utc_text
from wardian.daemon.troubles import Part, Trouble
from wardian.rules import life
from wardian.rules.ports import Alarm, DueMessage, Message
from wardian.rules.transitions import RAISED, RETURNED

_EVER_MS: Final = -(2**62)
#: So many troubles may go to a person one by one within the time of a window; more come as one message.
FEW: Final = 3
_ACKNOWLEDGED: Final = (life.ACKNOWLEDGED, life.LATCHED_ACKNOWLEDGED)


class Telling:
    """What people know of all troubles, and what they are to be told next.

    ``changed`` says that the state differs from what was kept last; whoever keeps it takes that back.
    """

    def __init__(
        self,
        people: Sequence[Person],
        say_time: SayTime,
        tags: Callable[[Mapping[str, Any]], frozenset[str]] = tags_of,
        state: Mapping[str, Any] | None = None,
    ) -> None:
        """Go on from a state, or begin with nothing."""
        self._people = people
        self._composer = Composer(say_time)
        self._tags = tags
        kept = state or {"messages": 0, "number": 0, "troubles": [], "known": {}}
        self._messages: int = kept["messages"]
        self._number: int = kept["number"]
        self._troubles = [Trouble.from_state(one) for one in kept["troubles"]]
        self._known = {person.name: Known.from_state(kept["known"].get(person.name, {})) for person in people}
        self._told_at_once = [person.hears for person in people if not person.after_ms]
        self.changed = False

    def state(self) -> dict[str, Any]:
        """Return all that it remembers, as plain JSON."""
        return {
            "messages": self._messages,
            "number": self._number,
            "troubles": [trouble.state() for trouble in self._troubles],
            "known": {name: known.state() for name, known in self._known.items()},
        }

    def alarms(self) -> set[Alarm]:
        """Return the alarms that are part of a trouble."""
        return {alarm_of(part.fields) for trouble in self._troubles for part in trouble.parts.values()}

    # ------------------------------------------------------------------------------------ hearing

    def hear(self, fields: Mapping[str, Any], message: Message) -> None:
        """Take in one entry of the journal, and the message that says the same; twice is the same as once."""
        time_ms = ms_of(fields["time"])
        name = _name(fields)
        mine = [
            trouble for trouble in self._troubles if trouble.tray == fields["tray"] and name in trouble.parts
        ]
        is_abnormal = fields.get("abnormal", fields["event"] == RAISED)
        if fields.get("life") in life.SET_ASIDE:
            for trouble in mine:
                trouble.set_aside(name)
        elif not is_abnormal:
            _return(mine, name, message, time_ms)
        elif not any(trouble.parts[name].stands for trouble in mine):
            mine = [*mine, self._rise(fields, message, time_ms)]
        if _is_seen(fields):
            for trouble in mine:
                trouble.see(name)
        self._troubles = [trouble for trouble in self._troubles if trouble.parts]
        self.changed = True

    def _rise(self, fields: Mapping[str, Any], message: Message, time_ms: int) -> Trouble:
        name, tags = _name(fields), sorted(self._tags(fields))
        trouble = next(
            (one for one in self._troubles if one.tray == fields["tray"] and one.takes(name, tags, time_ms)),
            None,
        )
        if trouble is None:
            self._number += 1
            trouble = Trouble(self._number, fields["tray"], tags)
            self._troubles.append(trouble)
        trouble.tags = sorted({*trouble.tags, *tags})
        words = dict(message.fields), message.subject, message.body
        part = Part(*words, rank_of(fields), time_ms, time_ms, time_ms, is_seen=_is_seen(fields))
        trouble.rise(name, part)
        if fields["event"] not in (RAISED, RELEASED) and not part.is_seen:
            # A person set it aside, and it comes back while people know of the rest alone.
            trouble.tell_anew()
        return trouble

    # ------------------------------------------------------------------------------------- telling

    def due(self, now_ms: int) -> list[DueMessage]:
        """Return the messages whose time has come, each once; they count as told from then on."""
        if not self._troubles:
            return []
        self._set_back(now_ms)
        messages: list[DueMessage] = []
        for person in self._people:
            for items in self._plan(person, self._items(person), now_ms):
                message = self._message(person, items, now_ms)
                messages += [DueMessage(channel, message) for channel in person.channels]
                self._note(person, items, now_ms)
        self._forget(now_ms)
        return messages

    def next_ms(self, from_ms: int = _EVER_MS) -> int | None:
        """Return when something is due next, not before an instant, if nothing else is heard; None where nothing is."""
        found = [self._next_of(person, from_ms) for person in self._people]
        return min((one for one in found if one is not None), default=None)

    def _next_of(self, person: Person, from_ms: int) -> int | None:
        items = self._items(person)
        window = self._known[person.name].window
        times = {item.due_ms for item in items} | {item.due_ms + GATHERING_MS for item in items}
        if window:
            times.add(window.end_ms)
        # What was due before may be held by quiet hours by now.
        times = {max(one, from_ms) for one in times}
        times |= {end_ms for one in times if (end_ms := person.quiet_until_ms(one)) is not None}
        return next((one for one in sorted(times) if self._plan(person, items, one)), None)

    def _items(self, person: Person) -> list[Item]:
        hearer = Hearer(person, self._known[person.name], self._told_at_once)
        found = []
        for trouble in self._troubles:
            item = item_of(hearer, trouble)
            if item is not None:
                found.append(item)
        return sorted(found, key=lambda item: item.order)

    def _plan(self, person: Person, items: Sequence[Item], at_ms: int) -> list[list[Item]]:
        """Return what a person is to be told at an instant, one list a message."""
        is_quiet = person.quiet_until_ms(at_ms) is not None if items else False
        passing = [item for item in items if item.ready_ms <= at_ms and (item.rank == HIGH or not is_quiet)]
        ripe = [item for item in passing if item.due_ms <= at_ms]
        if not ripe:
            return []
        if self._held_since(person, ripe, at_ms):
            return [passing]
        trays = {item.trouble.tray for item in ripe}
        # What was said lately of a tray holds back nothing where it is spoken of anyway.
        ready = [item for item in passing if item.pause_ms <= at_ms or item.trouble.tray in trays]
        window = self._known[person.name].window
        if window is None or at_ms >= window.end_ms:
            is_rest = window is not None and any(item.due_ms < window.end_ms for item in ripe)
            return [ready] if is_rest or len(ready) > FEW else _by_tray(ready, trays)
        if window.troubles + len(ripe) <= FEW:
            return _by_tray(ready, trays)
        is_urgent = any(item.rank == HIGH and item.due_ms + GATHERING_MS <= at_ms for item in ripe)
        return [ready] if is_urgent else []

    def _held_since(self, person: Person, ripe: Iterable[Item], at_ms: int) -> bool:
        """Whether quiet hours have held any of this back until now."""
        if person.quiet is None or person.quiet.until_ms(at_ms) is not None:
            return False
        ended_ms = person.quiet.ended_ms(at_ms)
        return any(item.due_ms <= ended_ms for item in ripe)

    def _message(self, person: Person, items: Sequence[Item], now_ms: int) -> Message:
        self._messages += 1
        is_held = self._held_since(person, items, now_ms)
        told = self._composer.compose(person, items, now_ms, is_held=is_held)
        # The count tells one message from the next, the time from those of another database.
        key = f"{person.name}/{utc_text(now_ms)}/{self._messages}"
        return Message(key, told.subject, told.body, {**told.fields, "person": person.name})

    def _note(self, person: Person, items: Sequence[Item], now_ms: int) -> None:
        known = self._known[person.name]
        if known.window is None or now_ms >= known.window.end_ms:
            known.window = Window(now_ms)
        known.window.troubles += len(items)
        for item in items:
            item.note(person.name, now_ms)
            known.note(item, now_ms)
        self.changed = True

    def _forget(self, now_ms: int) -> None:
        """Let go of troubles that are over and of which nobody is to hear any more."""
        over = {
            trouble.number
            for trouble in self._troubles
            if (settled_ms := trouble.settled_ms()) is not None and settled_ms <= now_ms
        }
        if over:
            over -= {item.trouble.number for person in self._people for item in self._items(person)}
        if over:
            self._troubles = [trouble for trouble in self._troubles if trouble.number not in over]
            self.changed = True

    def _set_back(self, now_ms: int) -> None:
        """Take what lies ahead of the clock as of now: the clock was put back since."""
        for trouble in self._troubles:
            trouble.told_ms = _at_most(trouble.told_ms, now_ms)
            for part in trouble.parts.values():
                part.first_ms, part.raised_ms = min(part.first_ms, now_ms), min(part.raised_ms, now_ms)
                part.waits_ms = min(part.waits_ms, now_ms)
                part.returned_ms = _at_most(part.returned_ms, now_ms)
            for told in trouble.told.values():
                told.last_ms, told.over_ms = min(told.last_ms, now_ms), _at_most(told.over_ms, now_ms)
        for known in self._known.values():
            known.set_back(now_ms)


def _by_tray(ready: Iterable[Item], trays: Container[str]) -> list[list[Item]]:
    """Return what is ready of some trays, tray by tray."""
    groups: dict[str, list[Item]] = {}
    for item in ready:
        if item.trouble.tray in trays:
            groups.setdefault(item.trouble.tray, []).append(item)
    return list(groups.values())


def _return(mine: Iterable[Trouble], name: str, message: Message, time_ms: int) -> None:
    for trouble in mine:
        part = trouble.parts[name]
        if part.stands:
            part.returned_ms = time_ms
            part.say(message)


def _is_seen(fields: Mapping[str, Any]) -> bool:
    """Whether an entry says that somebody has acknowledged its alarm."""
    state = fields.get("life")
    return state in _ACKNOWLEDGED or (state == life.NORMAL and fields["event"] != RETURNED)


def _name(fields: Mapping[str, Any]) -> str:
    alarm = alarm_of(fields)
    return f"{alarm.quantity}/{alarm.condition}"


def _at_most(time_ms: int | None, now_ms: int) -> int | None:
    return None if time_ms is None else min(time_ms, now_ms)
