"""The keys of what a bench does outwards beside telling alarms: what may be asked of it, its summary and its beat.

The rule of this file: each is off unless its section is there.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final, Self

from pydantic import PlainValidator, model_validator

from wardian.daemon.config_brokers import FILE, VARIABLE, BrokerKeys, one_of
from wardian.daemon.config_types import (
    NAME_ACCEPTS,
    TIME,
    ClockTime,
    Duration,
    FilePath,
    Name,
    SomeTime,
    Variable,
    WebAddress,
)
from wardian.daemon.written import LIST, Section, Written, described, key, wrong
from wardian.rules.documents import nearest, shown

if TYPE_CHECKING:
    from wardian.daemon.config_page import PageKeys

#: Beats that come more often tell nothing more.
_SHORTEST_BEAT_MS: Final = 10_000
_LONGEST_TOPIC: Final = 200


def _topic(value: Any) -> str:
    is_text = isinstance(value, str) and 0 < len(value) <= _LONGEST_TOPIC and value.isprintable()
    if not is_text or set(value) & set("+#") or value[0] in "/$" or value[-1] == "/":
        raise wrong(f"is {described(value)}")
    return str(value)


Topic = Annotated[str, PlainValidator(_topic)]
_TOPIC: Final = "a topic without + # and without / at its ends"


class CommandsKeys(Section):
    """Where acts on alarms may be asked for, of a broker that knows who asks."""

    broker: BrokerKeys = key("host, user, password_file and the like")
    topic: Topic = key(_TOPIC, "wardian/asked", "a place of its own; answers are published at TOPIC/answers")

    @model_validator(mode="after")
    def _knows_who_asks(self) -> Self:
        broker = self.broker
        has_password = broker.password_file is not None or broker.password_env is not None
        has_certificate = broker.tls is not None and broker.tls.cert_file is not None
        if not (broker.user is not None and has_password) and not has_certificate:
            raise wrong(
                "would let anybody ask",
                "a broker with user and password_file or password_env, or with tls.cert_file, is accepted",
            )
        return self


class SummaryKeys(Section):
    """One message a day that says how things are."""

    at: ClockTime = key("a time of the day such as 07:00", time(7), "before the day's work begins")
    channels: Annotated[tuple[Name, ...], LIST] = key(f"a list of notifiers: {NAME_ACCEPTS}", ())


class BeatKeys(Section):
    """A sign of life for whoever watches the watcher: HTTP or MQTT."""

    url: WebAddress | None = key("an address such as https://example.org/beat", None)
    url_file: FilePath | None = key(FILE, None)
    url_env: Variable | None = key(VARIABLE, None)
    broker: BrokerKeys | None = key("host, port and the like", None)
    topic: Topic | None = key(_TOPIC, None)
    every: SomeTime = key(TIME, Duration(300_000), "whoever waits for it can wait for three")
    timeout: SomeTime = key(TIME, Duration(10_000), "a beat that hangs must not hold up the next")

    @model_validator(mode="after")
    def _goes_one_way(self) -> Self:
        one_of(self, ("url", "url_file", "url_env", "broker"), needed=True)
        if (self.broker is None) != (self.topic is None):
            raise wrong("has one of broker and topic", "both, or neither, are accepted")
        if self.every < _SHORTEST_BEAT_MS:
            raise wrong(f"has every {self.every}, which is too often", "10 s or more is accepted")
        return self


@dataclass(frozen=True, slots=True)
class Outward:
    """What is configured of it; None: not at all."""

    commands: CommandsKeys | None = None
    summary: SummaryKeys | None = None
    beat: BeatKeys | None = None
    page: "PageKeys | None" = None

    @property
    def is_any(self) -> bool:
        """Whether anything of it takes part in the rounds."""
        return any(part is not None for part in (self.commands, self.summary, self.beat))


SECTIONS: Final[tuple[str, ...]] = ("commands", "summary", "beat", "page")


def read_outward(written: Written, folder: Path, notifiers: Collection[str], commit_every_ms: int) -> Outward:
    """Return what a bench does outwards; what is wrong with it is noted."""
    context = {"folder": folder}

    def is_there(name: str) -> bool:
        return written.at((name,)) is not None

    summary = written.read(SummaryKeys, ("summary",)) if is_there("summary") else None
    beat = written.read(BeatKeys, ("beat",), context) if is_there("beat") else None
    commands = written.read(CommandsKeys, ("commands",), context) if is_there("commands") else None
    for place, channel in enumerate(summary.channels if summary else ()):
        if channel not in notifiers:
            where = ("summary", "channels", place)
            written.mistake(where, f"{shown(channel)} is none of the notifiers", nearest(channel, notifiers))
    if summary and not summary.channels and written.at(("people",)) is None:
        written.warn(("summary",), "names no channel: nobody gets it", "add channels: [NOTIFIER]")
    if beat and beat.every < commit_every_ms:
        problem = "is more often than rounds are committed, and a beat follows a round"
        written.warn(("beat", "every"), problem, f"{Duration(commit_every_ms)} or more is meant")
    return Outward(commands, summary, beat, _page(written, folder) if is_there("page") else None)


def _page(written: Written, folder: Path) -> "PageKeys | None":
    from wardian.daemon.config_page import read_page

    return read_page(written, folder)
