"""One real message to every channel, so that nobody learns in an emergency that it does not arrive.

The rule of this file: the message goes the way of an alarm, through the same channels, and says that it is none.
"""

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from wardian.daemon.tongue import Tongue, utc_text
from wardian.rules.errors import AdapterError
from wardian.rules.ports import Message, Notifier


class Outcome(NamedTuple):
    """Whether one channel took the message; else why not, in words."""

    channel: str
    is_taken: bool
    why: str = ""


def trial_message(bench: str, tongue: Tongue, now_ms: int) -> Message:
    """Return a message that is about no tray; its fields are those of an alarm's, with the event ``test``."""
    line = f"This is a test from {bench}, sent {tongue.moment(now_ms)}. Nothing is wrong, and nothing is to be done."
    fields: Mapping[str, Any] = {
        "time": utc_text(now_ms),
        "tray": "no tray",
        "quantity": None,
        "limit": "test",
        "event": "test",
        "alarm": "test",
        "priority": "low",
        "value": None,
        "threshold": None,
        "stage": None,
        "message": line,
    }
    return Message(f"test/{utc_text(now_ms)}", "test message", line, fields)


def send_to_all(notifiers: Iterable[Notifier], message: Message) -> list[Outcome]:
    """Send a message through every channel, one after the other, each in its own bounded time."""
    return [_sent(notifier, message) for notifier in notifiers]


def _sent(notifier: Notifier, message: Message) -> Outcome:
    try:
        notifier.send(message)
    except AdapterError as error:
        return Outcome(notifier.name, is_taken=False, why=error.why)
    return Outcome(notifier.name, is_taken=True)
