"""A bench whose alarms come and go by a stepped clock, the people who are told of them, and what each got."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from wardian.daemon.lives import Lives
from wardian.daemon.people import Person
from wardian.daemon.telling import Telling
from wardian.daemon.tongue import utc_text
from wardian.rules import life
from wardian.rules.ports import Act, Alarm, Message

LISBON = ZoneInfo("Europe/Lisbon")
MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS


class Kind(NamedTuple):
    """An alarm that any tray may have."""

    alarm: str
    quantity: str
    condition: str
    priority: str
    group: str | None


COLD = Kind("air-too-cold", "air_temperature", "low", "medium", "too cold")
FAR_COLD = Kind("air-far-too-cold", "air_temperature", "low_low", "high", "too cold")
COLD_MEDIUM = Kind("medium-too-cold", "medium_temperature", "low", "medium", "too cold")
DRY = Kind("too-dry", "relative_humidity", "low", "high", "air too dry")
DIM = Kind("light-too-dim", "illuminance", "low", "medium", "too little light")
LIT_LONG = Kind("light-too-long", "light_hours", "high", "low", "too much light")
SILENT = Kind("sensor-silent", "air_temperature", "sensor-silent", "medium", None)
KINDS = (COLD, FAR_COLD, COLD_MEDIUM, DRY, DIM, LIT_LONG, SILENT)
BY_ALARM = {(kind.quantity, kind.condition): kind for kind in KINDS}


def at(text: str, zone: tzinfo = LISBON, *, fold: int = 0) -> int:
    """Return the instant at which a clock on the wall shows ``03-02 22:10`` of 2026, or a whole date and time."""
    local = datetime.fromisoformat(text if len(text) > 12 else f"2026-{text}").replace(tzinfo=zone, fold=fold)
    return round(local.timestamp() * 1000)


def wall(time_ms: int, zone: tzinfo = LISBON) -> str:
    instant = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=time_ms)
    return f"{instant.astimezone(zone):%m-%d %H:%M:%S}".removesuffix(":00")


def message_of(fields: Mapping[str, Any]) -> Message:
    name = fields["alarm"].replace("-", " ")
    lines = [f"{fields['tray']}: coleus. Priority {fields['priority']}.", fields["message"]]
    if fields["abnormal"]:
        lines += ["Likely: a cause", "If nothing is done: harm", f"To do soon: mend {name}"]
    over = "" if fields["abnormal"] else ", returned to normal"
    return Message(
        f"{fields['tray']}/{name}/{fields['time']}",
        f"{fields['tray']}: {name}{over}",
        "\n".join(lines),
        fields,
    )


def named(alarm: Alarm) -> dict[str, Any]:
    kind = BY_ALARM[alarm.quantity, alarm.condition]
    return {
        **alarm._asdict(),
        "limit": None if kind is SILENT else kind.condition,
        "alarm": kind.alarm,
        "priority": kind.priority,
        "group": kind.group,
    }


class Got(NamedTuple):
    """One message that one person got."""

    time_ms: int
    person: str
    message: Message


@dataclass
class Bench:
    """People, alarms and a clock; with ``cuts`` everything is forgotten but the state, at every step.

    While ``is_away`` nobody looks whether anything is due.
    """

    people: tuple[Person, ...]
    zone: tzinfo = LISBON
    cuts: bool = False
    is_away: bool = False
    now_ms: int = 0
    got: list[Got] = field(default_factory=list)
    lives: Lives = field(default_factory=lambda: Lives({}, names=named))

    def __post_init__(self) -> None:
        self.telling = self._telling(None)

    def _telling(self, state: Mapping[str, Any] | None) -> Telling:
        return Telling(self.people, lambda time_ms: wall(time_ms, self.zone), state=state)

    def cut(self) -> None:
        """Begin anew with nothing but what was kept."""
        self.telling = self._telling(json.loads(json.dumps(self.telling.state())))

    def until(self, time_ms: int) -> None:
        """Let time go on, to each instant at which something is due and no other."""
        while not self.is_away and (next_ms := self._next_ms()) is not None and next_ms <= time_ms:
            before = len(self.got)
            self.look(next_ms)
            assert len(self.got) > before, "something was due and nothing came"
        self.now_ms = max(self.now_ms, time_ms)

    def _next_ms(self) -> int | None:
        # What somebody's act lets go now may have been due before: nobody looks in the past.
        return self.telling.next_ms(self.now_ms)

    def look(self, now_ms: int) -> None:
        """Do what a round does; the clock may have been put back."""
        self.now_ms = now_ms
        for due in self.telling.due(now_ms):
            assert due.channel == due.message.fields["person"]
            self.got.append(Got(now_ms, due.channel, due.message))
        if self.cuts:
            self.cut()

    def comes(self, kind: Kind, time_ms: int, tray: str = "tray-a", **more: Any) -> None:
        self._follow(kind, time_ms, tray, {"event": life.RAISED, "message": f"{kind.alarm} it is.", **more})

    def goes(self, kind: Kind, time_ms: int, tray: str = "tray-a") -> None:
        self._follow(kind, time_ms, tray, {"event": life.RETURNED, "message": f"{kind.alarm} no more."})

    def _follow(self, kind: Kind, time_ms: int, tray: str, said: dict[str, Any]) -> None:
        self.until(time_ms - 1)
        fields = {**named(Alarm(tray, kind.quantity, kind.condition)), "time": utc_text(time_ms), **said}
        self.lives.follow(fields)
        self.telling.hear(fields, message_of(fields))

    def do(
        self, event: str, kind: Kind, time_ms: int, tray: str = "tray-a", until_ms: int | None = None
    ) -> None:
        self.until(time_ms - 1)
        act = Act(time_ms, Alarm(tray, kind.quantity, kind.condition), event, "a helper", "", until_ms)
        self._say(self.lives.do(act, time_ms))

    def end_shelves(self, time_ms: int) -> None:
        self.until(time_ms - 1)
        for fields in self.lives.off_the_shelf(time_ms):
            self._say(fields)

    def _say(self, fields: Mapping[str, Any]) -> None:
        self.telling.hear(fields, message_of(fields))

    def of(self, person: str = "teacher") -> list[str]:
        """Return what one person got: when by the clock on the wall, and the subject."""
        return [
            f"{wall(one.time_ms, self.zone)} {one.message.subject}"
            for one in self.got
            if one.person == person
        ]

    def bodies(self, person: str = "teacher") -> list[str]:
        return [one.message.body for one in self.got if one.person == person]


def person(name: str = "teacher", **more: Any) -> Person:
    """Return somebody with a channel of their own name."""
    return Person(name, (name,), **more)
