"""How long people took over the alarms of a time: when each was raised, acknowledged, and returned.

The rule of this file: what people put on record stands in the journal, too, and is no alarm.
"""

from collections.abc import Iterable, Mapping
from typing import Any, Final

from wardian.daemon.lives import RELEASED, SUPPRESSED, alarm_of
from wardian.rules.ports import JournalEntry
from wardian.rules.postmortem.facts import AlarmTime
from wardian.rules.transitions import RAISED, RETURNED

_ACKNOWLEDGED: Final = "acknowledged"


def alarm_times(entries: Iterable[JournalEntry]) -> list[AlarmTime]:
    """Return the alarms that entries of the journal tell of, in order of raising; what people recorded is none."""
    found: list[AlarmTime] = []
    place: dict[Any, int] = {}
    for entry in entries:
        fields: Mapping[str, Any] = entry.fields
        if "record" in fields:
            continue
        alarm, event = alarm_of(fields), fields["event"]
        if event == RAISED:
            place[alarm] = len(found)
            found.append(AlarmTime(fields["alarm"], alarm.quantity, fields["priority"], entry.time_ms))
        elif alarm in place:
            found[place[alarm]] = _followed(found[place[alarm]], entry)
    return found


def _followed(alarm: AlarmTime, entry: JournalEntry) -> AlarmTime:
    event = entry.fields["event"]
    if event == RETURNED and alarm.returned_ms is None:
        return alarm._replace(returned_ms=entry.time_ms)
    if event == _ACKNOWLEDGED and alarm.acknowledged_ms is None:
        return alarm._replace(acknowledged_ms=entry.time_ms)
    if event in (SUPPRESSED, RELEASED):
        return alarm._replace(is_held_back=not entry.fields.get("told"))
    return alarm
