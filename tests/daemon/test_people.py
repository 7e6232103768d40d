"""The people of a configuration: what is accepted, refused and doubted, in force, and wired to the channels."""

from contextlib import ExitStack
from datetime import time
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from base_config import BASE, built
from fake_clock import NOON_MS
from led_lives import HOUR_MS, TOO_WARM, fields_of

from wardian.adapters.stores.sql import SqlStore
from wardian.daemon import wiring
from wardian.daemon.bench_watch import Watch
from wardian.daemon.effective import effective
from wardian.daemon.lives import Lives
from wardian.daemon.loop import TELLING_NOTE
from wardian.daemon.opening_people import open_telling
from wardian.daemon.people import HIGH, LOW, Person, opened, people_of
from wardian.daemon.quiet import Quiet
from wardian.daemon.telling import Telling
from wardian.rules import life
from wardian.rules.errors import BadConfig
from wardian.rules.ports import DueMessage, Round

LINE = BASE.count("\n") + 1


def with_people(*people: str, notifiers: str = "") -> str:
    return f"{BASE}{notifiers}people:\n" + "".join(f"  - {{{one}}}\n" for one in people)


def mistakes_of(text: str) -> list[str]:
    with pytest.raises(BadConfig) as caught:
        built(text)
    return [mistake.in_file("") for mistake in caught.value.mistakes]


ONE = "name: teacher, channels: [terminal]"


@pytest.mark.parametrize(
    ("person", "told"),
    [
        ("name: teacher", "channels: is missing; a list of names of notifiers is accepted"),
        ("name: teacher, channels: []", "channels: is an empty list; a list of names of notifiers"),
        (
            "name: teacher, channels: terminal",
            "channels: is the text 'terminal'; a list of names of notifiers",
        ),
        (
            "name: teacher, channels: [termnal]",
            "channels[0]: 'termnal' is none of the notifiers; did you mean terminal?",
        ),
        ("name: teacher, channels: [terminal, terminal]", "channels[1]: 'terminal' stands here twice"),
        ("name: 'a#', channels: [terminal]", "name: 'a#' contains '#'"),
        (f"{ONE}, hears: urgent", "hears: is 'urgent'; accepted: high, low, medium"),
        (f"{ONE}, hears: 3", "hears: is 3; low, medium or high is accepted"),
        (f"{ONE}, quiet: 22:00", "quiet: is the text '22:00'; a mapping of from and to is accepted"),
        (
            f"{ONE}, quiet: {{from: 22:00}}",
            "quiet.to: is missing; a time of the day such as 22:00 is accepted",
        ),
        (f"{ONE}, quiet: {{from: 22:00, to: 22:00}}", "quiet.to: is when it begins, too; leave quiet out"),
        (f"{ONE}, quiet: {{from: 25:00, to: 6:00}}", "quiet.from: '25:00' is no time of the day"),
        (f"{ONE}, quiet: {{from: 22:00, to: 6:00, on: x}}", "quiet.on: is no known key; accepted: from, to"),
        (f"{ONE}, after: -1 h", "after: '-1 h' is too long or less than nothing"),
        (f"{ONE}, after: 0", "after: 0 is no time at all"),
        (f"{ONE}, repeat: {{high: 0}}", "repeat.high: 0 is too often; at least 1 min, or never, is accepted"),
        (f"{ONE}, repeat: {{high: -5 min}}", "repeat.high: '-5 min' is too long or less than nothing"),
        (f"{ONE}, repeat: {{medium: often}}", "repeat.medium: 'often' is no number"),
        (
            f"{ONE}, repeat: {{medium: true}}",
            "repeat.medium: is true; a duration such as 30 min, or never, is",
        ),
        (f"{ONE}, repeat: {{low: 1 h}}", "repeat.low: is no known key; accepted: high, medium"),
        (
            f"{ONE}, repeat: never",
            "repeat: is the text 'never'; a mapping of high and medium is accepted",
        ),
        (f"{ONE}, summary: 5", "summary: is 5; true or false is accepted"),
        (f"{ONE}, phone: 5", "phone: is no known key; accepted: after, care, channels, hears, name, quiet"),
    ],
)
def test_a_mistake_about_a_person_is_told_with_its_line(person: str, told: str) -> None:
    (mistake,) = mistakes_of(with_people("name: b, channels: [terminal]", person))
    assert mistake.startswith(f":{LINE + 2}: people[1].{told}")


def test_two_people_of_one_name_are_a_mistake() -> None:
    (mistake,) = mistakes_of(with_people(ONE, ONE))
    assert mistake == f":{LINE + 2}: people[1].name: 'teacher' is the name of the one on line {LINE + 1}, too"


@pytest.mark.parametrize(
    ("people", "told"),
    [
        ("people: []", "is an empty list; name somebody, or take the section out"),
        ("people: {}", "is a mapping; a list is accepted"),
        ("people:", "has nothing written behind it"),
    ],
)
def test_a_section_without_people_is_a_mistake(people: str, told: str) -> None:
    (mistake,) = mistakes_of(f"{BASE}{people}\n")
    assert mistake.startswith(f":{LINE}: people: {told}")


def test_people_without_any_notifier_are_a_mistake() -> None:
    text = BASE[: BASE.index("notifiers:")] + "people: [{name: a, channels: [terminal]}]\n"
    (mistake,) = mistakes_of(text)
    assert mistake.endswith(
        "people[0].channels[0]: 'terminal' is none of the notifiers; there are none: name one there first"
    )


@pytest.mark.parametrize(
    ("people", "told"),
    [
        ([f"{ONE}, after: 1 h"], "people: are all told after a time: nobody is told at once"),
        ([f"{ONE}, hears: high"], "people: hear of nothing but high priority"),
        (
            [
                f"{ONE}, quiet: {{from: 22:00, to: 6:00}}",
                "name: b, channels: [office], quiet: {from: 22:00, to: 6:00}",
            ],
            "people: are all quiet at the same time: then only high priority reaches any of them",
        ),
        (
            [f"{ONE}, quiet: {{from: 6:00, to: 22:30}}"],
            "people[0].quiet: is longer than 16 h a day; from comes first",
        ),
        (
            [ONE, "name: b, channels: [terminal]"],
            "people[1].channels[0]: 'terminal' is a channel of teacher, too: what both hear comes twice",
        ),
        (
            ["name: a, channels: [wall]"],
            "people[0].channels[0]: 'wall' keeps one message an alarm, for programs",
        ),
    ],
)
def test_what_is_hardly_meant_of_people_is_a_warning(people: list[str], told: str) -> None:
    notifiers = "  - {name: office, kind: console}\n  - {name: wall, kind: mqtt, broker: {host: 127.0.0.1}}\n"
    (warning,) = built(with_people(*people, notifiers=notifiers)).warnings
    assert warning.in_file("").partition(": ")[2].startswith(told)


def test_every_value_about_a_person_is_shown_with_where_it_is_from() -> None:
    config = built(with_people(f"{ONE}, quiet: {{from: 22:00, to: 06:30}}, repeat: {{high: never}}"))
    shown = {str(one): one for one in effective(config) if one.path.startswith("people")}
    assert sorted(shown) == sorted(
        [
            "people[0].name = teacher",
            "people[0].channels = terminal",
            "people[0].hears = low",
            "people[0].after = not set",
            "people[0].summary = true",
            "people[0].care = true",
            "people[0].quiet.from = 22:00",
            "people[0].quiet.to = 06:30",
            "people[0].repeat.high = never",
            "people[0].repeat.medium = 4 h",
        ]
    )
    assert shown["people[0].repeat.high = never"].line == LINE + 1
    assert shown["people[0].hears = low"].why
    plain = [str(one) for one in effective(built(with_people(ONE))) if one.path.startswith("people")]
    assert {"people[0].quiet = not set", "people[0].repeat = high 30 min, medium 4 h"} <= set(plain)


def test_a_person_has_every_channel_that_a_notifier_of_theirs_opened() -> None:
    channels = ["terminal", "mail#1", "mail#2", "mailbox"]
    assert opened("mail", channels) == ["mail#1", "mail#2"]
    assert opened("mailbox", channels) == ["mailbox"]


def test_people_are_as_they_are_written() -> None:
    config = built(
        with_people(
            ONE,
            f"{ONE.replace('teacher', 'b')}, hears: high, quiet: {{from: 22:00, to: 6:30}}, "
            "repeat: {high: 10 min, medium: never}, after: 1 h",
        )
    )
    plain, other = people_of(config.people, ["terminal"], config.site.zone)
    assert plain == Person("teacher", ("terminal",), LOW)
    assert other.quiet == Quiet(time(22), time(6, 30), ZoneInfo("Europe/Lisbon"))
    assert (other.hears, other.after_ms, other.repeat_ms) == (HIGH, 3_600_000, (None, None, 600_000))
    assert str(other.quiet) == "22:00 to 06:30"


# ----------------------------------------------------------------------------------------- wiring

WIRED = """\
site: {name: Bench, timezone: Europe/Lisbon}
store: {url: "sqlite:///bench.db"}
trays: [{name: tray-a, crop: coleus, stuck: 2026-03-02}]
crops: {coleus: {stages: [{name: callusing, from_day: 0, bands: {air_temperature: {high: 27 °C}}}]}}
sensors: [{name: logger, kind: csv, file: week.csv}]
notifiers: [{name: terminal, kind: console}, {name: program, kind: console}]
"""
PEOPLE = "people: [{name: teacher, channels: [terminal]}]\n"


def watch(folder: Path, opened_: ExitStack, people: str = PEOPLE) -> Watch:
    (folder / "config.yaml").write_text(WIRED + people, encoding="utf-8")
    return wiring.open_watch(wiring.load_config(folder / "config.yaml"), opened_)


def store_with_an_alarm(folder: Path, *events: str) -> None:
    store = SqlStore.open(folder / "bench.db")
    lives = Lives(store.last_of_alarms())
    for event in events:
        more = {"crop": "coleus", "day": 3, "stage": "callusing", "value": 28.0, "threshold": 27.0}
        time_ms = NOON_MS + (HOUR_MS if event == life.RETURNED else 0)
        fields = {**fields_of(TOO_WARM, event, time_ms), **more}
        lives.follow(fields)
        store.keep(Round(now_ms=time_ms, journal=[(time_ms, "tray-a", fields)]))
    store.close()


def test_a_channel_of_a_person_gets_no_alarm_as_it_comes_and_the_others_do(tmp_path: Path) -> None:
    with ExitStack() as opened_:
        assert watch(tmp_path, opened_).loop._teller.channels == ["program"]
    with ExitStack() as opened_:
        loop = watch(tmp_path, opened_, people="").loop
        assert (loop._teller.channels, loop.telling) == (["terminal", "program"], None)


def telling_of(folder: Path) -> Telling:
    """Return what a daemon that starts on a folder makes of the people and of its database."""
    (folder / "config.yaml").write_text(WIRED + PEOPLE, encoding="utf-8")
    config = wiring.load_config(folder / "config.yaml")
    store = SqlStore.open(folder / "bench.db")
    lives = wiring.lives(config, store, lambda: NOON_MS)
    telling = open_telling(config, ["terminal", "program"], store, lives, wiring.teller(config))
    store.close()
    return telling


def tell(folder: Path, hours: float) -> list[DueMessage]:
    """Return what people are told so many hours after noon; it is kept, and the daemon ends."""
    telling, now_ms = telling_of(folder), NOON_MS + round(hours * HOUR_MS)
    due = telling.due(now_ms)
    store = SqlStore.open(folder / "bench.db")
    store.keep(Round(now_ms=now_ms, due=due, notes={TELLING_NOTE: telling.state()}))
    store.close()
    return due


def test_people_who_are_new_learn_of_what_stands_in_its_words(tmp_path: Path) -> None:
    store_with_an_alarm(tmp_path, life.RAISED)
    (due,) = tell(tmp_path, 2)
    assert (due.channel, due.message.subject) == ("terminal", "tray-a: air too warm")
    assert "To do within 4 h: " in due.message.body
    assert tell(tmp_path, 2.1) == []


def test_what_returned_while_nobody_was_told_is_over_for_people_too(tmp_path: Path) -> None:
    store_with_an_alarm(tmp_path, life.RAISED)
    assert len(tell(tmp_path, 0.5)) == 1
    store_with_an_alarm(tmp_path, life.RETURNED)
    assert tell(tmp_path, 1.1) == []
    (due,) = tell(tmp_path, 13)
    assert due.message.fields["event"] == "returned"
