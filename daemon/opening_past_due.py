"""The part of a running daemon that explains a tray whose roots are past due, put together as configured."""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, NamedTuple

from wardian.daemon.past_due import NOTE, PastDueExplained
from wardian.daemon.people import Person, people_of
from wardian.daemon.tongue import Tongue, utc_text
from wardian.rules.observing.tending import PAST_DUE
from wardian.rules.ports import Message, Store

if TYPE_CHECKING:
    from wardian.daemon.config import Config
    from wardian.daemon.finding_lines import Words


class Around(NamedTuple):
    """What is there already: settings, store, all channels, and what gives the words of findings when they are needed."""

    config: "Config"
    store: Store
    channels: Sequence[str]
    words: Callable[[], "Words"]


def open_past_due(around: Around) -> PastDueExplained:
    """Return what explains overdue trays to people, and to channels that are nobody's."""
    config, channels = around.config, around.channels

    def make(tray: str, now_ms: int, key: str) -> Message:
        return past_due_message(around, tray, now_ms, key)

    people = people_of(config.people, channels, config.site.zone)
    owned = {channel for person in people for channel in person.channels}
    of_nobody = tuple(channel for channel in channels if channel not in owned)
    # A channel of nobody's gets every alarm as it comes, by day and by night.
    hearers = [*people, *([Person("", of_nobody)] if of_nobody else [])]
    return PastDueExplained(hearers, make, around.store.notes().get(NOTE))


def past_due_message(around: Around, tray: str, now_ms: int, key: str) -> Message:
    """Return the short form of what may be behind a tray's roots being past due.

    Raises:
        StoreFailed: The store cannot be read.
    """
    from wardian.daemon.finding_lines import headline, short_lines
    from wardian.daemon.postmortem import around_store, explain, in_tray
    from wardian.daemon.putting import tray_named

    config, known = around.config, around_store(around.store, around.store.records())
    one = explain(in_tray(config, tray_named(config, tray), known, now_ms), known)
    words, tongue = around.words(), Tongue.of(config.site)
    lines = list(short_lines(one, words, tongue))
    first = headline(one.findings[0], words) if one.findings else "Nothing that was measured was out of line."
    subject = f"{tray}: no roots yet? {first}"
    fields = {
        "time": utc_text(now_ms),
        "tray": tray,
        "quantity": None,
        "limit": "explained",
        "event": "explained",
        "alarm": f"{PAST_DUE}-explained",
        "priority": "low",
        "value": None,
        "threshold": None,
        "stage": None,
        "message": "\n".join(lines),
        "findings": [
            {"name": finding.name, "weight": round(finding.weight, 3), "is_unsafe": finding.is_unsafe}
            for finding in one.findings
        ],
    }
    return Message(key, subject, "\n".join(lines), fields)
