"""What is judged and waits for a commit."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from wardian.rules.ports import Arrival, DueMessage, Refused
from wardian.rules.readings import Reading
from wardian.rules.records import Record


@dataclass(slots=True)
class Unkept:
    """What is judged and not yet committed: the next round, or more of them when the store failed."""

    readings: list[Reading] = field(default_factory=list)
    late: list[Reading] = field(default_factory=list)
    refused: list[Refused] = field(default_factory=list)
    journal: list[tuple[int, str, Mapping[str, Any]]] = field(default_factory=list)
    due: list[DueMessage] = field(default_factory=list)
    acts_done: list[int] = field(default_factory=list)
    records: list[Record] = field(default_factory=list)
    notes: dict[str, Any] = field(default_factory=dict)
    changed: set[str] = field(default_factory=set)
    arrivals: list[Arrival] = field(default_factory=list)

    def __len__(self) -> int:
        return len(self.readings) + len(self.late) + len(self.refused)

    def __bool__(self) -> bool:
        return bool(
            self.readings
            or self.late
            or self.refused
            or self.journal
            or self.acts_done
            or self.records
            or self.notes
            or self.changed
            or self.arrivals
        )
