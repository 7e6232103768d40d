"""What has changed since a message was written, said in the message itself before it leaves.

The rule of this file: a message never states what is no longer true without saying so. Nothing is
taken away from it, and its key stays.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, Final

from wardian.rules.ports import Due, JournalEntry, Message, Store
from wardian.rules.transitions import RAISED, RETURNED

#: Puts milliseconds since 1970 UTC into the words of a person at the site.
SayTime = Callable[[int], str]

#: A message that is sent so long after it was written says so.
DELAYED_MS: Final = 10 * 60 * 1000
#: What tells one alarm of a tray from another.
WHICH_ALARM: Final = ("tray", "quantity", "limit", "alarm")
#: How many of the journal's last entries are looked through: what is sent late is seldom very old.
JOURNAL_LOOKS: Final = (200, 5_000, None)


def as_of_now(due: Due, store: Store, now_ms: int, say_time: SayTime) -> Message:
    """Return the message as it is true now: with the return of its alarm, and with its delay.

    Raises:
        StoreFailed: The store does not say whether the alarm still stands.
    """
    message = due.message
    if now_ms - due.created_ms > DELAYED_MS:
        message = replace(message, body=f"({_delay(due, say_time)})\n{message.body}")
    returned = _return_of(message.fields, store)
    if returned is None:
        return message
    words = f"returned since ({say_time(returned.time_ms)}): "
    return Message(
        key=message.key,
        subject=words + message.subject,
        body=words + message.body,
        fields={**message.fields, "returned_since": returned.fields["time"]},
    )


def _delay(due: Due, say_time: SayTime) -> str:
    begun = "first tried" if due.attempts else "written"
    return f"delayed, {begun} at {say_time(due.created_ms)}"


def _return_of(fields: Mapping[str, Any], store: Store) -> JournalEntry | None:
    """Return the entry that ended what a raising message tells, None while that stands."""
    if fields.get("event") != RAISED:
        return None
    if any(_is_same_raise(entry.fields, fields) for entry in store.standing()):
        return None
    for last in JOURNAL_LOOKS:
        journal = iter(store.journal(last=last))
        if any(_is_same_raise(entry.fields, fields) for entry in journal):
            return next((entry for entry in journal if _is_return(entry.fields, fields)), None)
    return None  # it is in no journal: a trial, which nothing can end


def _is_same_raise(entry: Mapping[str, Any], fields: Mapping[str, Any]) -> bool:
    return entry["event"] == RAISED and entry["time"] == fields.get("time") and _is_same_alarm(entry, fields)


def _is_return(entry: Mapping[str, Any], fields: Mapping[str, Any]) -> bool:
    return entry["event"] == RETURNED and _is_same_alarm(entry, fields)


def _is_same_alarm(entry: Mapping[str, Any], fields: Mapping[str, Any]) -> bool:
    return all(entry[name] == fields.get(name) for name in WHICH_ALARM)
