"""The keys of the people who are told, and what is wrong with, or hardly meant by, what they say."""

from datetime import time
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal, NamedTuple, TypeAlias

from pydantic import PlainValidator, create_model

from wardian.daemon.config_types import NAME_ACCEPTS, TIME, ClockTime, Duration, Name, SomeTime, is_amount
from wardian.daemon.library import PRIORITIES
from wardian.daemon.written import SOME, Section, Written, described, key, wrong
from wardian.rules.amounts import NotAnAmount, duration_ms
from wardian.rules.documents import Path, nearest, shown

SECTION: Final = "people"
NEVER: Final = "never"
_SHORTEST_REPEAT_MS: Final = 60_000
_RESPONSE: Final = "the time there is to respond to it"
_CLOCK: Final = "a time of the day such as 22:00"


def _repeat(value: Any) -> Duration | None:
    """Return how long there is between reminders, None for none at all."""
    if value == NEVER:
        return None
    if not is_amount(value):
        raise wrong(f"is {described(value)}")
    try:
        pause = Duration(duration_ms(value))
    except NotAnAmount as error:
        raise wrong(f"{shown(value)} {error.problem}", error.hint) from error
    if pause < _SHORTEST_REPEAT_MS:
        raise wrong(f"{shown(value)} is too often", f"at least 1 min, or {NEVER}, is accepted")
    return pause


Repeat: TypeAlias = Annotated[Duration | None, PlainValidator(_repeat)]
_REPEAT_ACCEPTS: Final = f"a duration such as 30 min, or {NEVER},"

if TYPE_CHECKING:

    class QuietKeys(Section):
        """When a person wants to hear of nothing but what is urgent: ``from`` one time ``to`` another."""
else:
    # A class cannot have `from`, which is a word of the language, among its fields.
    QuietKeys = create_model(
        "QuietKeys", __base__=Section, **{end: (ClockTime, key(_CLOCK)) for end in ("from", "to")}
    )


class RepeatKeys(Section):
    """How often a person is reminded of what nobody has acknowledged; what is low is never repeated."""

    high: Repeat = key(_REPEAT_ACCEPTS, Duration(1_800_000), _RESPONSE)
    medium: Repeat = key(_REPEAT_ACCEPTS, Duration(14_400_000), _RESPONSE)


class PersonKeys(Section):
    """Somebody who is told."""

    name: Name = key(NAME_ACCEPTS)
    channels: Annotated[tuple[Name, ...], SOME] = key("a list of names of notifiers")
    hears: Literal["low", "medium", "high"] = key(
        "low, medium or high", "low", "whoever is named wants to know, unless they say otherwise"
    )
    quiet: QuietKeys | None = key("a mapping of from and to", None, "people sleep at different times")
    repeat: RepeatKeys = key("a mapping of high and medium", RepeatKeys(), _RESPONSE)
    after: SomeTime | None = key(TIME, None, "at once is the safe way")
    summary: bool = key("true or false", default=True, why="it doubles as a sign of life")
    care: bool = key("true or false", default=True, why="whoever is told of alarms does the rounds")


class _Read(NamedTuple):
    path: Path
    keys: PersonKeys


def quiet_times(keys: PersonKeys) -> tuple[time, time] | None:
    """Return when a person's quiet begins and ends by the clock on the wall."""
    return None if keys.quiet is None else (getattr(keys.quiet, "from"), getattr(keys.quiet, "to"))  # noqa: B009 - made without a class


def read_people(written: Written) -> tuple[PersonKeys, ...]:
    """Return the people that can be used; what is wrong with the others is noted."""
    people = [
        _Read(path, keys)
        for path in written.items((SECTION,))
        if (keys := written.read(PersonKeys, path)) is not None
    ]
    if written.at((SECTION,)) == []:
        written.mistake((SECTION,), "is an empty list", "name somebody, or take the section out")
    _refuse_repeated(written, people)
    for person in people:
        _check(written, person)
    if not written.mistakes:
        _doubt(written, people)
    return tuple(person.keys for person in people)


def _refuse_repeated(written: Written, people: list[_Read]) -> None:
    first: dict[str, Path] = {}
    for path, keys in people:
        if keys.name in first:
            line = written.document.line((*first[keys.name], "name"))
            written.mistake((*path, "name"), f"{shown(keys.name)} is the name of the one on line {line}, too")
        first.setdefault(keys.name, path)


def _check(written: Written, person: _Read) -> None:
    path, keys = person
    notifiers = [
        name
        for place in written.items(("notifiers",))
        if isinstance(name := written.at((*place, "name")), str)
    ]
    for place, channel in enumerate(keys.channels):
        here = (*path, "channels", place)
        if channel not in notifiers:
            accepted = nearest(channel, notifiers) if notifiers else "there are none: name one there first"
            written.mistake(here, f"{shown(channel)} is none of the notifiers", accepted)
        elif channel in keys.channels[:place]:
            written.mistake(here, f"{shown(channel)} stands here twice")
    times = quiet_times(keys)
    if times is not None and times[0] == times[1]:
        written.mistake(
            (*path, "quiet", "to"), "is when it begins, too", "leave quiet out, or name another time"
        )


# ---------------------------------------------------------------------------------------- doubts


def _doubt(written: Written, people: list[_Read]) -> None:
    """Note what can be used and is hardly meant."""
    if all(keys.after is not None for _, keys in people):
        written.warn(
            (SECTION,), "are all told after a time: nobody is told at once", "leave after out for one"
        )
    if all(keys.hears == PRIORITIES[-1] for _, keys in people):
        written.warn((SECTION,), "hear of nothing but high priority: the rest is told to none of them")
    asleep = [quiet_times(keys) for _, keys in people]
    if len(people) > 1 and None not in asleep and len(set(asleep)) == 1:
        written.warn(
            (SECTION,), "are all quiet at the same time: then only high priority reaches any of them"
        )
    for path, keys in people:
        _doubt_quiet(written, path, keys)
    _doubt_channels(written, people)


def _doubt_quiet(written: Written, path: Path, keys: PersonKeys) -> None:
    times = quiet_times(keys)
    if times is None:
        return
    begins, ends = (moment.hour * 60 + moment.minute for moment in times)
    if (ends - begins) % 1440 > 16 * 60:
        written.warn((*path, "quiet"), "is longer than 16 h a day", "from comes first: 22:00, to 06:30")


def _doubt_channels(written: Written, people: list[_Read]) -> None:
    owner: dict[str, str] = {}
    per_alarm = {
        written.at((*place, "name"))
        for place in written.items(("notifiers",))
        if written.at((*place, "kind")) == "mqtt"
    }
    for path, keys in people:
        for place, channel in enumerate(keys.channels):
            here = (*path, "channels", place)
            if channel in owner:
                problem = (
                    f"{shown(channel)} is a channel of {owner[channel]}, too: what both hear comes twice"
                )
                written.warn(here, problem)
            owner.setdefault(channel, keys.name)
            if channel in per_alarm:
                problem = f"{shown(channel)} keeps one message an alarm, for programs, and people's messages hold several"
                written.warn(here, problem, "leave it to nobody, and it has every alarm as it comes")
