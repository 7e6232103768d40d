"""Care that people record: what was done at a tray, as an act that the daemon takes and an entry of the journal.

The rule of this file: it is written down as it was said; what it means for alarms is decided by the rules.
"""

from collections.abc import Iterable, Mapping
from typing import Any, Final

from wardian.daemon.tongue import Tongue, utc_text
from wardian.rules.observing.looks import LIFTED, MISTED, WATERED, Care
from wardian.rules.ports import Act, Alarm, JournalEntry

#: What is done at a tray, and how a line of the journal begins that tells it.
DONE: Final = {LIFTED: "Cover lifted", MISTED: "Misted", WATERED: "Watered"}
#: Care concerns no alarm of its own.
_NO_QUANTITY: Final = ""
_CONDITION: Final = "care"
#: Nobody remembers longer to the minute.
LONGEST_AGO_MS: Final = 86_400_000


def act_of(tray: str, event: str, done_ms: int, who: str, why: str) -> Act:
    """Return the act that records care done at an instant."""
    return Act(done_ms, Alarm(tray, _NO_QUANTITY, _CONDITION), event, who, why)


def is_care(act: Act) -> bool:
    """Return whether an act records care."""
    return act.event in DONE


def entry_of(act: Act, tongue: Tongue, now_ms: int) -> dict[str, Any]:
    """Return the entry of the journal that tells of care; ``since`` is when it was done."""
    why = f": {act.why}" if act.why else ""
    return {
        "time": utc_text(now_ms),
        "tray": act.alarm.tray,
        "quantity": _NO_QUANTITY,
        "limit": None,
        "event": act.event,
        "alarm": _CONDITION,
        "priority": "low",
        "value": None,
        "threshold": None,
        "stage": None,
        "since": utc_text(act.asked_ms),
        "since_ms": act.asked_ms,
        "condition": _CONDITION,
        "who": act.who,
        "why": act.why,
        "message": f"{DONE[act.event]} {tongue.moment(act.asked_ms)}, recorded by {act.who}{why}.",
    }


def care_of(act: Act) -> Care:
    """Return the care that an act records."""
    return Care(act.event, act.asked_ms, act.asked_ms, is_recorded=True)


def recorded(journal: Iterable[JournalEntry], since_ms: int) -> Iterable[tuple[str, Care]]:
    """Yield the care that a journal tells of, done since an instant, with its tray."""
    for entry in journal:
        fields: Mapping[str, Any] = entry.fields
        if fields["event"] in DONE and fields["since_ms"] >= since_ms:
            yield entry.tray, Care(fields["event"], fields["since_ms"], fields["since_ms"], is_recorded=True)
