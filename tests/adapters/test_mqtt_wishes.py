"""What is asked over a real broker, by whom it lets in alone: brought once it is acknowledged, answered, never lost."""

import json
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from wardian.adapters.brokers import BrokerSettings
from wardian.adapters.mqtt_wishes import MOST_BYTES, ROOM, Heard, MqttWishes, WishSettings
from wardian.daemon.clock import SystemClock
from wardian.rules.errors import AdapterError

TOPIC = "class/asked"
BOTH = pytest.mark.parametrize("protocol", ["3.1.1", "5"])
WaitUntil = Callable[..., None]
Open = Callable[..., "Listener"]


class Listener:
    """Somebody who listens on a broker, and remembers what he heard."""

    def __init__(self, broker: Any, protocol: str = "5") -> None:
        self.heard: list[Heard] = []
        self.hurried = 0
        settings = BrokerSettings(
            broker.address,
            broker.port,
            "listener",
            protocol,
            user=broker.user or None,
            password_file=broker.password_file,
            ca_file=broker.ca_file,
            cert_file=broker.cert_file,
            key_file=broker.key_file,
        )
        self.wishes = MqttWishes(WishSettings("commands", settings, TOPIC), SystemClock(), self._hurry)
        self.wishes.start()

    def _hurry(self) -> None:
        self.hurried += 1

    def has(self, number: int) -> bool:
        self.heard += self.wishes.take()
        return len(self.heard) >= number

    @property
    def values(self) -> list[Any]:
        return [one.value for one in self.heard]


@pytest.fixture
def listen(wait_until: WaitUntil) -> Iterator[Open]:
    """Return what makes a listener and waits until it hears; all are stopped at the end."""
    made: list[Listener] = []

    def listen_(broker: Any, protocol: str = "5") -> Listener:
        listener = Listener(broker, protocol)
        made.append(listener)
        wait_until(lambda: listener.wishes.health().works, "a subscription")
        return listener

    yield listen_
    for listener in made:
        listener.wishes.stop()


@pytest.mark.needs_broker
@BOTH
def test_what_is_asked_is_heard_and_answered(
    broker_with_passwords: Any, protocol: str, listen: Open, wait_until: WaitUntil
) -> None:
    broker = broker_with_passwords
    listener = listen(broker, protocol)
    broker.publish(TOPIC, '{"do": "acknowledge"}')
    wait_until(lambda: listener.has(1), "a message")
    (heard,) = listener.heard
    assert (heard.value, heard.why, heard.is_retained, heard.is_repeat) == (
        {"do": "acknowledge"},
        "",
        False,
        False,
    )
    assert listener.hurried == 1
    place = ["-h", broker.address, "-p", str(broker.port), *broker.options]
    command = [
        "mosquitto_sub",
        *place,
        "-t",
        f"{TOPIC}/answers",
        "-C",
        "1",
        "-W",
        "20",
        "-q",
        "1",
        "-i",
        "asker",
        "-c",
    ]
    subprocess.run([*command[:-2], "asker", "-c", "-E"], check=True, timeout=20)
    listener.wishes.done([heard])
    listener.wishes.answer({"done": True, "why": "\ud800 °"})
    told = subprocess.run(command, check=True, timeout=30, capture_output=True)
    assert json.loads(told.stdout) == {"done": True, "why": "\ud800 °"}


@pytest.mark.needs_broker
def test_a_client_certificate_lets_in_as_well(
    broker_with_tls: Any, listen: Open, wait_until: WaitUntil
) -> None:
    listener = listen(broker_with_tls)
    broker_with_tls.publish(TOPIC, "1")
    wait_until(lambda: listener.has(1), "a message")


@pytest.mark.needs_broker
@BOTH
def test_what_was_not_acknowledged_comes_again_and_says_so(
    broker_with_passwords: Any, protocol: str, listen: Open, wait_until: WaitUntil
) -> None:
    """The program ended after it heard and before it had committed."""
    first = listen(broker_with_passwords, protocol)
    broker_with_passwords.publish(TOPIC, "1")
    broker_with_passwords.publish(TOPIC, "2")
    wait_until(lambda: first.has(2), "both messages")
    first.wishes.done(first.heard[:1])
    first.wishes.stop()
    again = listen(broker_with_passwords, protocol)
    wait_until(lambda: again.has(1), "the second message")
    assert [(one.value, one.is_repeat) for one in again.heard] == [(2, True)]


@pytest.mark.needs_broker
def test_what_is_asked_while_nobody_is_there_is_heard_later(
    broker_with_passwords: Any, listen: Open, wait_until: WaitUntil
) -> None:
    listen(broker_with_passwords).wishes.stop()
    broker_with_passwords.publish(TOPIC, "1")
    again = listen(broker_with_passwords)
    wait_until(lambda: again.has(1), "the message")


@pytest.mark.needs_broker
def test_what_the_broker_kept_since_nobody_knows_when_is_marked(
    broker_with_passwords: Any, listen: Open, wait_until: WaitUntil
) -> None:
    broker_with_passwords.publish(TOPIC, "1", retain=True)
    listener = listen(broker_with_passwords)
    wait_until(lambda: listener.has(1), "the retained message")
    assert listener.heard[0].is_retained


@pytest.mark.needs_broker
@pytest.mark.parametrize(
    ("payload", "why"),
    [
        (b"", "is not JSON"),
        (b"\xff", "is not UTF-8"),
        (b'{"do": 1, "do": 2}', "names the key 'do' twice"),
        (b'{"do": NaN}', "holds NaN"),
        (b"[" * 100, "is not JSON"),
        (b"[" * 20 + b"]" * 20, "is nested deeper"),
        (b"1" * (MOST_BYTES + 1), "has more than 4096 bytes"),
    ],
)
def test_what_is_no_strict_json_is_heard_as_such(
    broker_with_passwords: Any, listen: Open, wait_until: WaitUntil, payload: bytes, why: str
) -> None:
    listener = listen(broker_with_passwords)
    broker_with_passwords.publish(TOPIC, payload)
    wait_until(lambda: listener.has(1), "the message")
    assert listener.heard[0].value is None
    assert listener.heard[0].why.startswith(why)


@pytest.mark.needs_broker
def test_more_than_there_is_room_for_comes_again_later(
    broker_with_passwords: Any, listen: Open, wait_until: WaitUntil
) -> None:
    listener = listen(broker_with_passwords)
    lines = "\n".join(map(str, range(ROOM + 50)))
    place = ["-h", broker_with_passwords.address, "-p", str(broker_with_passwords.port)]
    command = ["mosquitto_pub", *place, *broker_with_passwords.options, "-t", TOPIC, "-q", "1", "-l"]
    subprocess.run(command, input=lines.encode(), check=True, timeout=30)

    def all_are_in() -> bool:
        fresh = listener.wishes.take()
        listener.heard += fresh
        listener.wishes.done(fresh)
        return set(listener.values) == set(range(ROOM + 50))

    wait_until(lambda: len(listener.wishes._waiting) == ROOM, "no more room")
    wait_until(all_are_in, "everything", within_s=30)
    assert listener.hurried <= 60


# ---------------------------------------------------------------------------------- who is let in


@pytest.mark.parametrize(
    "broker",
    [{}, {"user": "bench"}, {"password_env": "SECRET"}, {"tls": True}, {"ca_file": Path("ca.pem")}],
    ids=str,
)
def test_a_broker_that_does_not_know_who_asks_is_not_listened_to(broker: dict[str, Any]) -> None:
    settings = WishSettings("commands", BrokerSettings("127.0.0.1", 1883, "bench", **broker), TOPIC)
    with pytest.raises(AdapterError, match="anybody could ask") as caught:
        MqttWishes(settings, SystemClock())
    assert not caught.value.may_heal


@pytest.mark.parametrize("topic", ["", "class/+", "#", "a\0b"])
def test_a_topic_with_a_wildcard_is_refused(topic: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SECRET", "moss")
    broker = BrokerSettings("127.0.0.1", 1883, "bench", user="bench", password_env="SECRET")
    with pytest.raises(AdapterError, match="topic"):
        MqttWishes(WishSettings("commands", broker, topic), SystemClock())
