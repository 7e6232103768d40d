"""What has changed since a message was written, said in the message itself before it leaves.

The rule of this file: a message never states what is no longer true without saying so. Nothing is
taken away from it, and its key stays.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from wardian.daemon.lives import RELEASED
from wardian.rules.ports import Due, JournalEntry, Message, Store
from wardian.rules.transitions import RAISED, RETURNED

#: Puts milliseconds since 1970 UTC into the words of a person at the site.
SayTime = Callable[[int], str]

#: A message that is sent so long after it was written says so.
DELAYED_MS: Final = 10 * 60 * 1000
#: What says that an alarm stands.
BEGINNINGS: Final = (RAISED, RELEASED)
#: What tells one alarm of a tray from another.
WHICH_ALARM: Final = ("tray", "quantity", "limit", "alarm")
#: How many of the journal's last entries are looked through: what is sent late is seldom very old.
JOURNAL_LOOKS: Final = (200, 5_000, None)


def as_of_now(due: Due, store: Store, now_ms: int, say_time: SayTime) -> Message:
    """Return the message as it is true now: with the return of its alarms, and with its delay.

    Raises:
        StoreFailed: The store does not say whether an alarm still stands.
    """
    message = _late(due, now_ms, say_time)
    alarms = [message.fields, *message.fields.get("also", ())]
    raised = [alarm for alarm in alarms if alarm.get("event") in BEGINNINGS]
    returned = _returns_of(raised, store)
    if not returned:
        return message
    if len(returned) < len(alarms):
        return _with(message, _over(returned, say_time))
    last = max(returned, key=lambda entry: entry.time_ms)
    words = f"returned since ({say_time(last.time_ms)}): "
    return Message(
        key=message.key,
        subject=words + message.subject,
        body=words + message.body,
        fields={**message.fields, "returned_since": last.fields["time"]},
    )


def not_written(due: Due, now_ms: int, say_time: SayTime) -> Message:
    """Return a message that leaves from memory, as the store can keep nothing: with that, and with its delay."""
    return _with(_late(due, now_ms, say_time), "not written down yet: the store keeps nothing at the moment")


def not_looked_up(due: Due, now_ms: int, say_time: SayTime) -> Message:
    """Return the message of a store that cannot be read: with that, and with its delay."""
    return _with(_late(due, now_ms, say_time), "whether it still stands could not be looked up in the store")


def _late(due: Due, now_ms: int, say_time: SayTime) -> Message:
    is_late = now_ms - due.created_ms > DELAYED_MS
    return _with(due.message, _delay(due, say_time)) if is_late else due.message


def _with(message: Message, words: str) -> Message:
    return replace(message, body=f"({words})\n{message.body}")


def _delay(due: Due, say_time: SayTime) -> str:
    begun = "first tried" if due.attempts else "written"
    return f"delayed, {begun} at {say_time(due.created_ms)}"


def _over(returned: Sequence[JournalEntry], say_time: SayTime) -> str:
    """Return which of several alarms are over, while the rest of the message still holds."""
    names = [
        f"{entry.tray} {entry.fields['alarm'].replace('-', ' ')} ({say_time(entry.time_ms)})"
        for entry in returned
    ]
    return f"returned since: {', '.join(names)}"


def _returns_of(raised: Sequence[Mapping[str, Any]], store: Store) -> list[JournalEntry]:
    """Return the entries that ended what raising messages tell; none of what stands."""
    if not raised:
        return []
    standing = store.standing()
    over = [fields for fields in raised if not any(_is_begun_by(fields, entry.fields) for entry in standing)]
    found: list[JournalEntry] = []
    for last in JOURNAL_LOOKS:
        if len(found) < len(over):
            journal = store.journal(last=last)
            # What is in no journal is a trial, which nothing can end.
            found = [entry for fields in over if (entry := _return_in(journal, fields)) is not None]
    return found


def _return_in(journal: Sequence[JournalEntry], fields: Mapping[str, Any]) -> JournalEntry | None:
    entries = iter(journal)
    if any(_is_same(entry.fields, fields) for entry in entries):
        return next((entry for entry in entries if _is_return(entry.fields, fields)), None)
    return None


def _is_begun_by(fields: Mapping[str, Any], raised: Mapping[str, Any]) -> bool:
    """Return whether what is told still stands by an entry that is not over; what was let go was raised before."""
    return _is_same(raised, fields) or (fields["event"] == RELEASED and _is_same_alarm(raised, fields))


def _is_same(entry: Mapping[str, Any], fields: Mapping[str, Any]) -> bool:
    return all(entry[name] == fields.get(name) for name in ("event", "time", *WHICH_ALARM))


def _is_return(entry: Mapping[str, Any], fields: Mapping[str, Any]) -> bool:
    return entry["event"] == RETURNED and _is_same_alarm(entry, fields)


def _is_same_alarm(entry: Mapping[str, Any], fields: Mapping[str, Any]) -> bool:
    return all(entry[name] == fields.get(name) for name in WHICH_ALARM)
