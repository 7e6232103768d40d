"""A journal told to people in one go gives what the daemon would have sent, and when."""

from collections.abc import Iterator

from told_people import (
    COLD,
    DRY,
    HOUR_MS,
    LIT_LONG,
    MINUTE_MS,
    Bench,
    Kind,
    at,
    message_of,
    named,
    person,
    wall,
)

from wardian.daemon.played import Acknowledge, Entry, messages_of
from wardian.daemon.telling import Telling
from wardian.daemon.tongue import utc_text
from wardian.rules import life
from wardian.rules.ports import Alarm, Message

NOON = at("03-02 12:00")
#: When an alarm comes, when it goes, which, and where. [min]
COURSE = [
    (0, 600, COLD, "tray-a"),
    (30, 45, DRY, "tray-b"),
    (60, 90, DRY, "tray-b"),
    (61, 1000, LIT_LONG, "tray-c"),
]


def entries() -> Iterator[Entry]:
    changes = [(begin, life.RAISED, kind, tray) for begin, _, kind, tray in COURSE]
    changes += [(end, life.RETURNED, kind, tray) for _, end, kind, tray in COURSE]
    for minutes, event, kind, tray in sorted(changes, key=lambda change: change[0]):
        yield entry_of(NOON + minutes * MINUTE_MS, event, kind, tray)


def entry_of(time_ms: int, event: str, kind: Kind, tray: str) -> Entry:
    fields = {
        **named(Alarm(tray, kind.quantity, kind.condition)),
        "time": utc_text(time_ms),
        "event": event,
        "message": f"{kind.alarm} it is." if event == life.RAISED else f"{kind.alarm} no more.",
        "abnormal": event == life.RAISED,
        "life": life.UNACKNOWLEDGED if event == life.RAISED else life.RETURNED_UNACKNOWLEDGED,
    }
    return Entry(time_ms, fields, message_of(fields))


def played(until_h: float, acknowledge: Acknowledge = lambda _: None) -> list[str]:
    telling = Telling((person(), person("second", after_ms=HOUR_MS)), wall)
    sent = messages_of(entries(), telling, NOON + round(until_h * HOUR_MS), acknowledge)
    return [f"{wall(one.time_ms)} {one.due.channel}: {one.due.message.subject}" for one in sent]


def test_what_is_played_is_what_is_told_step_by_step() -> None:
    told = Bench((person(), person("second", after_ms=HOUR_MS)))
    for entry in entries():
        told.until(entry.time_ms - 1)
        told.telling.hear(entry.fields, entry.message)
    told.until(NOON + 30 * HOUR_MS)
    assert played(30) == [f"{wall(got.time_ms)} {got.person}: {got.message.subject}" for got in told.got]
    assert len(told.got) > 8


def test_a_play_ends_when_it_is_told_to() -> None:
    assert played(0.5) == [
        "03-02 12:01 teacher: tray-a: air too cold",
        "03-02 12:30 teacher: tray-b: too dry",
    ]


def test_a_person_who_acknowledges_is_reminded_of_nothing_and_spares_the_next() -> None:
    def after_ten_minutes(message: Message) -> int:
        asked.append(message.subject)
        return now_of(message) + 10 * MINUTE_MS

    def now_of(message: Message) -> int:
        return at(message.key.split("/")[1].removesuffix("Z").replace("T", " "))

    asked: list[str] = []
    assert played(30, after_ten_minutes) == [
        "03-02 12:01 teacher: tray-a: air too cold",
        "03-02 12:30 teacher: tray-b: too dry",
        "03-02 13:02 teacher: tray-c: light too long",
        "03-02 14:00 teacher: tray-b: too dry, returned to normal",
        "03-02 22:30 teacher: tray-a: air too cold, returned to normal",
        "03-03 05:10 teacher: tray-c: light too long, returned to normal",
    ]
    assert len(asked) == 6


def test_a_journal_without_lives_can_be_played_too() -> None:
    bare = [
        entry._replace(fields={key: value for key, value in entry.fields.items() if key != "life"})
        for entry in entries()
    ]
    with_lives, without = (
        messages_of(some, Telling((person(),), wall), NOON + 30 * HOUR_MS) for some in (entries(), bare)
    )
    assert [sent.due.message.key for sent in without] == [sent.due.message.key for sent in with_lives]
    assert len(without) > 6
