"""What a configuration says of acts asked from afar, the daily summary and the beat; each is off unless it is there."""

from datetime import time
from pathlib import Path
from typing import Final

import pytest
from base_config import BASE, built

from wardian.daemon.config import Config
from wardian.daemon.effective import effective_lines
from wardian.daemon.outward import channels_of
from wardian.rules.errors import BadConfig

AUTHENTICATED: Final = "{host: 127.0.0.1, user: bench, password_file: broker-password}"
COMMANDS: Final = f"commands: {{broker: {AUTHENTICATED}, topic: class/asked}}\n"
SUMMARY: Final = "summary: {at: 06:30, channels: [terminal]}\n"
BEAT: Final = "beat: {url: 'https://pulse.example/canary-4711', every: 2 min}\n"


def told(text: str) -> list[str]:
    with pytest.raises(BadConfig) as caught:
        built(BASE + text)
    return [f"{mistake.path}: {mistake.problem}; {mistake.hint}" for mistake in caught.value.mistakes]


def warned(config: Config) -> list[str]:
    return [f"{warning.path}: {warning.problem}" for warning in config.warnings]


def test_nothing_of_it_is_on_by_itself() -> None:
    outward = built(BASE).outward
    assert not outward.is_any
    assert (outward.commands, outward.summary, outward.beat) == (None, None, None)


def test_all_three_are_read_without_a_warning() -> None:
    config = built(BASE + COMMANDS + SUMMARY + BEAT)
    commands, summary, beat = config.outward.commands, config.outward.summary, config.outward.beat
    assert commands is not None
    assert (commands.topic, commands.broker.password_file) == ("class/asked", Path("/bench/broker-password"))
    assert summary is not None
    assert (summary.at, summary.channels) == (time(6, 30), ("terminal",))
    assert beat is not None
    assert (beat.every, beat.timeout) == (120_000, 10_000)
    assert config.warnings == ()


def test_what_is_in_force_shows_defaults_with_reasons_and_no_secret() -> None:
    lines = list(effective_lines(built(BASE + COMMANDS + "summary: {channels: [terminal]}\n" + BEAT)))
    assert "summary.at = 07:00  # default: before the day's work begins" in lines
    assert (
        "commands.broker.port = not set  # default: 1883, or 8883 with tls: as registered for MQTT" in lines
    )
    assert any(line.startswith("beat.url = https://pulse.example/…  # c.yaml:") for line in lines)
    assert "canary" not in "\n".join(lines)


@pytest.mark.parametrize(
    "broker",
    [
        "{host: 127.0.0.1}",
        "{host: 127.0.0.1, user: bench}",
        "{host: broker.example, tls: {}}",
        "{host: broker.example, tls: {ca_file: ca.pem}}",
    ],
)
def test_a_broker_that_would_let_anybody_ask_is_a_mistake(broker: str) -> None:
    (line,) = told(f"commands: {{broker: {broker}}}\n")
    assert line == (
        "commands: would let anybody ask; a broker with user and password_file or password_env, "
        "or with tls.cert_file, is accepted"
    )


@pytest.mark.parametrize(
    "broker",
    [
        AUTHENTICATED,
        "{host: 127.0.0.1, user: bench, password_env: SECRET}",
        "{host: broker.example, tls: {cert_file: bench.pem, key_file: bench.key}}",
    ],
)
def test_a_broker_that_knows_who_asks_is_accepted(broker: str) -> None:
    assert built(f"{BASE}commands: {{broker: {broker}}}\n").warnings == ()


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("commands: {}\n", "commands.broker: is missing; host, user, password_file and the like is accepted"),
        ("commands: yes please\n", "commands: is the text 'yes please'; a mapping of keys is accepted"),
        (
            f"commands: {{broker: {AUTHENTICATED}, topic: class/+}}\n",
            "commands.topic: is the text 'class/+'; a topic without + # and without / at its ends is accepted",
        ),
        (
            f"commands: {{broker: {AUTHENTICATED}, topics: class}}\n",
            "commands.topics: is no known key; did you mean topic?",
        ),
        ("summary: {at: 25:00}\n", "summary.at: '25:00' is no time of the day"),
        ("summary: {channels: [siren]}\n", "summary.channels[0]: 'siren' is none of the notifiers"),
        ("summary: {channels: terminal}\n", "summary.channels: is the text 'terminal'"),
        ("beat: {}\n", "beat: has none of url, url_file, url_env, broker; one of them is needed"),
        ("beat: {url: 'ftp://pulse.example'}\n", "beat.url: is no address of the web"),
        ("beat: {url: 'https://a.example', url_env: A}\n", "beat: has both url and url_env"),
        ("beat: {broker: {host: 127.0.0.1}}\n", "beat: has one of broker and topic"),
        ("beat: {url: 'https://a.example', topic: class/beat}\n", "beat: has one of broker and topic"),
        ("beat: {url: 'https://a.example', every: 1 s}\n", "beat: has every 1 s, which is too often"),
    ],
)
def test_each_mistake_is_told_with_what_is_accepted(text: str, line: str) -> None:
    lines = told(text)
    assert len(lines) == 1
    assert lines[0].startswith(line), lines


def test_what_is_hardly_meant_is_a_warning() -> None:
    assert warned(built(BASE + "summary: {}\n")) == ["summary: names no channel: nobody gets it"]
    text = BASE.replace("commit_every: 10 s", "commit_every: 1 min")
    assert warned(built(text + "beat: {url: 'https://a.example', every: 30 s}\n")) == [
        "beat.every: is more often than rounds are committed, and a beat follows a round"
    ]


def test_a_notifier_with_several_addresses_has_a_channel_for_each() -> None:
    there = ["terminal", "mail#1", "mail#2", "mail-b", "a#1"]
    assert channels_of(["mail"], there) == ["mail#1", "mail#2"]
    assert channels_of(["terminal", "a"], there) == ["terminal", "a#1"]
