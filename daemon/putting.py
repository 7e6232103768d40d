"""What commands put on record: what belongs to every record, whatever it says.

The rule of this file: what cannot be meant is refused before anything is put down, with what is accepted.
"""

from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

from wardian.daemon.config import Config, TraySettings
from wardian.rules.documents import nearest
from wardian.rules.records import WITHDRAWN, Record, in_force

#: Nobody remembers longer to the minute.
LONGEST_AGO_MS: Final = 86_400_000

#: Makes records in the light of all there are, at an instant of the bench's time; may raise ValueError.
Make = Callable[[Sequence[Record], int], Sequence[Record]]


class PutDown(NamedTuple):
    """What was put on record, numbered, and whether a daemon is there to take it up at once."""

    records: Sequence[Record]
    is_watching: bool


class Said(NamedTuple):
    """Who says it and why, when it happened where that is not now, and the record whose place it takes."""

    who: str
    why: str = ""
    at_ms: int | None = None
    corrects: int | None = None


def tray_named(config: Config, name: str) -> TraySettings:
    """Return a tray of a configuration.

    Raises:
        ValueError: There is none of that name.
    """
    found = next((one for one in config.trays if one.name == name), None)
    if found is None:
        raise ValueError(f"there is no tray {name!r}; {nearest(name, [one.name for one in config.trays])}")
    return found


def record_of(kind: str, said: Said, now_ms: int, longest_ago_ms: int = LONGEST_AGO_MS) -> Record:
    """Return a record of a kind with nothing in it yet but when, who, why and what it corrects.

    Raises:
        ValueError: It lies ahead of the clock, or longer ago than is accepted.
    """
    time_ms = now_ms if said.at_ms is None else said.at_ms
    if not now_ms - longest_ago_ms <= time_ms <= now_ms:
        raise ValueError(f"--at: a time of the last {longest_ago_ms // 3_600_000} h is accepted")
    return Record(kind, time_ms, now_ms, who=said.who, why=said.why, corrects=said.corrects)


def correcting(kind: str, said: Said, known: Sequence[Record], now_ms: int) -> Record:
    """Return a new record of a kind; one that takes the place of another happened when that did, unless it says when.

    Raises:
        ValueError: What it corrects cannot be corrected by it, or its time is not accepted.
    """
    if said.corrects is None:
        return record_of(kind, said, now_ms)
    old = corrected(known, said.corrects, kind)
    said = said._replace(at_ms=old.time_ms if said.at_ms is None else said.at_ms)
    return record_of(kind, said, now_ms, LONGEST_AGO_MS + max(now_ms - old.time_ms, 0))


def corrected(known: Sequence[Record], number: int, kind: str | None = None) -> Record:
    """Return the record that is to be corrected.

    Raises:
        ValueError: There is none of that number, it is of another kind, or it holds no more.
    """
    found = next((one for one in known if one.number == number), None)
    if found is None:
        raise ValueError(f"there is no record {number}; `wardian records` lists them")
    if kind is not None and found.kind != kind:
        raise ValueError(f"record {number} is about {found.kind}, not {kind}")
    if found.kind == WITHDRAWN:
        raise ValueError(f"record {number} withdraws record {found.corrects}; put that on record anew")
    if found not in in_force(known):
        raise ValueError(f"record {number} was corrected or withdrawn already; correct the one in its place")
    return found
