"""A whole journal told to people in one go: what each would have got, and when.

The rule of this file: it steps the same telling as the daemon, to each entry and to each time at which
something is due.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from wardian.daemon.lives import TOLD, alarm_of
from wardian.daemon.telling import Telling
from wardian.daemon.tongue import utc_text
from wardian.rules import life
from wardian.rules.ports import Alarm, DueMessage, Message
from wardian.rules.transitions import RAISED


class Entry(NamedTuple):
    """One entry of a journal, and the message that says the same."""

    time_ms: int
    fields: Mapping[str, Any]
    message: Message


class Sent(NamedTuple):
    """A message to a person, and when it was written."""

    time_ms: int
    due: DueMessage


#: Says when somebody acknowledges all that a message tells, None for never.
Acknowledge = Callable[[Message], int | None]


def messages_of(
    entries: Iterable[Entry], telling: Telling, until_ms: int, acknowledge: Acknowledge = lambda _: None
) -> list[Sent]:
    """Return the messages that people get of a journal in order of time, up to an instant (included).

    ``telling`` is one that has heard nothing yet. Everybody who gets a message acknowledges it at the time that
    ``acknowledge`` says, and with it every alarm in it that stands or has returned unseen.
    """
    return _Play(telling, acknowledge).through(entries, until_ms)


class _Play:
    def __init__(self, telling: Telling, acknowledge: Acknowledge) -> None:
        self._telling = telling
        self._acknowledge = acknowledge
        self._lives: dict[Alarm, Entry] = {}
        self._asked: list[tuple[int, Sequence[Alarm]]] = []
        self._sent: list[Sent] = []
        self._now_ms = -(2**62)

    def through(self, entries: Iterable[Entry], until_ms: int) -> list[Sent]:
        for entry in entries:
            if entry.time_ms > until_ms:
                break
            self._go_to(entry.time_ms - 1)
            self._lives[alarm_of(entry.fields)] = entry
            self._telling.hear(entry.fields, entry.message)
        self._go_to(until_ms)
        return self._sent

    def _go_to(self, until_ms: int) -> None:
        while (now_ms := self._next_ms()) is not None and now_ms <= until_ms:
            self._now_ms = now_ms
            if self._asked and self._asked[0][0] <= now_ms:
                _, alarms = self._asked.pop(0)
                for alarm in alarms:
                    self._see(alarm, now_ms)
            self._tell(now_ms)

    def _next_ms(self) -> int | None:
        times = [time_ms for time_ms, _ in self._asked[:1]]
        due_ms = self._telling.next_ms(self._now_ms)
        next_ms = min([*times, *(() if due_ms is None else (due_ms,))], default=None)
        return None if next_ms is None else max(next_ms, self._now_ms)

    def _tell(self, now_ms: int) -> None:
        for due in self._telling.due(now_ms):
            self._sent.append(Sent(now_ms, due))
            seen_ms = self._acknowledge(due.message)
            if seen_ms is not None:
                fields = due.message.fields
                alarms = [alarm_of(one) for one in (fields, *fields["also"])]
                self._asked.append((max(seen_ms, now_ms), alarms))
                self._asked.sort(key=lambda one: one[0])

    def _see(self, alarm: Alarm, now_ms: int) -> None:
        """Let somebody acknowledge an alarm, unless there is nothing to acknowledge any more."""
        last = self._lives[alarm]
        is_abnormal = last.fields.get("abnormal", last.fields["event"] == RAISED)
        if last.fields.get("life") in (*life.SET_ASIDE, life.ACKNOWLEDGED, life.NORMAL):
            return
        seen = {
            **last.fields,
            "time": utc_text(now_ms),
            "event": TOLD[life.ACKNOWLEDGE],
            "abnormal": is_abnormal,
            "life": life.ACKNOWLEDGED if is_abnormal else life.NORMAL,
        }
        self._lives[alarm] = Entry(now_ms, seen, last.message)
        self._telling.hear(seen, last.message)
