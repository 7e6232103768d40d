"""Reminders of care: what is due in a round goes to each person in one message, once, outside their quiet hours.

The rule of this file: who was told of what is noted in one commit with the messages, so that neither a kill nor a
restart nor a clock that is set tells a task of a date twice. What is done or past by the time is not told.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date
from typing import Final, NamedTuple

from wardian.daemon.beside import Extra
from wardian.daemon.care_today import TrayCare
from wardian.daemon.care_words import below, clock, heading, named, task_json
from wardian.daemon.lives import Lives
from wardian.daemon.people import Person
from wardian.daemon.tongue import Tongue, utc_text
from wardian.rules.care_advice import TITLES
from wardian.rules.care_plan import Task
from wardian.rules.ports import DueMessage, Message

#: The note that says who was told of what: by person the tasks, each with the date on which it was told.
NOTE: Final = "care_told"
_MINUTE_MS: Final = 60_000
#: What was told on the last so many dates is remembered, and longer what is still open.
_DATES: Final = 5


class Due(NamedTuple):
    """One task of one tray."""

    of: TrayCare
    task: Task

    @property
    def key(self) -> str:
        """What tells it from all others."""
        return f"{self.of.tray.name}/{self.task.key}"


#: Returns the local date of an instant and what is planned at each tray on it.
Plan = Callable[[int], tuple[date, Sequence[TrayCare]]]


class CareReminders:
    """Takes part in the rounds; looks once a minute."""

    def __init__(
        self, people: Iterable[Person], plan: Plan, tongue: Tongue, told: Mapping[str, Mapping[str, str]]
    ) -> None:
        """Go on from what an earlier run told."""
        self._people = tuple(people)
        self._plan = plan
        self._tongue = tongue
        self._told = {name: dict(tasks) for name, tasks in told.items()}
        self._looked_min: int | None = None
        #: Whether what is known of care is what happened; until then nobody is told.
        self.is_ready: Callable[[], bool] = lambda: True

    def work(self, now_ms: int, _lives: Lives) -> Extra:
        """Return the messages whose time has come, with the note that they were told."""
        minute = now_ms // _MINUTE_MS
        if minute == self._looked_min or not self.is_ready():
            return Extra()
        self._looked_min = minute
        day, trays = self._plan(now_ms)
        open_ = [Due(one, task) for one in trays for task in one.tasks if task.is_open(now_ms)]
        extra = Extra()
        for person in self._people:
            due = self._due(person, open_, now_ms)
            if due:
                extra.due += self._messages(person, due, now_ms)
                self._note(person, due, open_, day)
        if extra.due:
            extra.notes[NOTE] = {name: dict(tasks) for name, tasks in self._told.items()}
        return extra

    def committed(self) -> None:
        """Do nothing: the messages leave from the store."""

    def _due(self, person: Person, open_: Iterable[Due], now_ms: int) -> list[Due]:
        if person.quiet_until_ms(now_ms) is not None:
            return []
        told = self._told.get(person.name, {})
        return [one for one in open_ if one.task.at_ms <= now_ms and one.key not in told]

    def _messages(self, person: Person, due: Sequence[Due], now_ms: int) -> list[DueMessage]:
        message = reminder(person.name, due, self._tongue, now_ms)
        return [DueMessage(channel, message) for channel in person.channels]

    def _note(self, person: Person, due: Iterable[Due], open_: Iterable[Due], day: date) -> None:
        """Remember what was told, and forget what cannot come again."""
        told = self._told.get(person.name, {}) | {one.key: day.isoformat() for one in due}
        lately = sorted(set(told.values()), reverse=True)[:_DATES]
        open_keys = {one.key for one in open_}
        self._told[person.name] = {key: at for key, at in told.items() if at in lately or key in open_keys}


def reminder(person: str, due: Sequence[Due], tongue: Tongue, now_ms: int) -> Message:
    """Return one message about what is due, not empty; the same tasks at one instant have the same key."""
    names = list(dict.fromkeys(one.of.tray.name for one in due))
    at = clock(tongue, max(one.task.at_ms for one in due))
    trays = names[0] if len(names) == 1 else f"{len(names)} trays"
    subject = f"care due at {trays}, round of {at}"
    body = "\n".join([*_by_tray(due), *below([(one.of, one.task) for one in due], tongue)])
    fields = {
        "time": utc_text(now_ms),
        "tray": "no tray",
        "quantity": None,
        "limit": "care",
        "event": "care",
        "alarm": "care",
        "priority": "low",
        "value": None,
        "threshold": None,
        "stage": None,
        "message": f"{subject}: {named(names)}",
        "person": person,
        "tasks": [{"tray": one.of.tray.name, **task_json(one.task, tongue, now_ms)} for one in due],
    }
    return Message(f"care/{person}/{utc_text(now_ms)}/{due[0].key}", subject, body, fields)


def _by_tray(due: Iterable[Due]) -> list[str]:
    """Return a line for each tray, with its tasks."""
    lines: dict[str, list[str]] = {}
    for one in due:
        lines.setdefault(heading(one.of), []).append(TITLES[one.task.name])
    return [f"{tray}: {', '.join(titles)}" for tray, titles in lines.items()]
