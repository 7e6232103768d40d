"""What a round does beside judging readings: what it adds to the commit, and what waits for it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

from wardian.daemon.lives import Lives
from wardian.rules.ports import DueMessage
from wardian.rules.readings import Reading
from wardian.rules.records import Record


@dataclass(slots=True)
class Extra:
    """What is to be committed with a round: entries of the journal, messages, and small facts by name.

    ``journal`` tells what became of alarms, ``recorded`` what people put on record, which is no alarm's;
    ``records`` are put on record themselves; ``readings`` are what people measured, judged like those of sensors.
    """

    journal: list[tuple[int, str, Mapping[str, Any]]] = field(default_factory=list)
    recorded: list[tuple[int, str, Mapping[str, Any]]] = field(default_factory=list)
    records: list[Record] = field(default_factory=list)
    readings: list[Reading] = field(default_factory=list)
    due: list[DueMessage] = field(default_factory=list)
    notes: dict[str, Any] = field(default_factory=dict)


class Beside(Protocol):
    """Something that takes part in the rounds; both are called from the loop's thread and never wait."""

    def work(self, now_ms: int, lives: Lives) -> Extra:
        """Return what is to be committed with this round."""

    def committed(self) -> None:
        """Hear that a round was whole: all that was returned so far is kept, or there was nothing to keep."""
