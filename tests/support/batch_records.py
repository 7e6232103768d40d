"""Records of one batch, numbered as a store numbers them, for the tests of what is made of them."""

from collections.abc import Sequence
from typing import Any

from wardian.rules.records import BATCH, CLOSED, REMOVAL, SCORES, WITHDRAWN, Record

DAY_MS = 86_400_000
STUCK_MS = 1_772_400_000_000


class Said:
    """Puts one batch on record, entry by entry."""

    def __init__(self, name: str = "spring", tray: str = "tray-a") -> None:
        self.name, self.tray = name, tray
        self.records: list[Record] = []

    def put(
        self, kind: str, day: float = 0, corrects: int | None = None, why: str = "", **fields: Any
    ) -> Record:
        time_ms = STUCK_MS + round(day * DAY_MS)
        number = len(self.records) + 1
        record = Record(
            kind,
            time_ms,
            time_ms,
            self.tray,
            self.name,
            "evening class",
            why,
            fields,
            corrects,
            number,
        )
        self.records.append(record)
        return record

    def stick(self, count: int = 40, **fields: Any) -> Record:
        return self.put(BATCH, crop="coleus", count_stuck=count, **fields)

    def remove(self, count: int, reason: str, day: float, corrects: int | None = None) -> Record:
        return self.put(REMOVAL, day, corrects, count=count, reason=reason)

    def score(self, counts: Sequence[int], day: float, corrects: int | None = None) -> Record:
        return self.put(SCORES, day, corrects, counts=list(counts))

    def close(self, potted: int, fit: int, day: float = 21, **discarded: int) -> Record:
        return self.put(CLOSED, day, potted=potted, fit=fit, discarded=discarded)

    def withdraw(self, number: int) -> Record:
        return self.put(WITHDRAWN, corrects=number)


def closed_batch(name: str, stuck: int, fit: int, **details: Any) -> list[Record]:
    """Return the records of a batch of which so many were fit and the rest rotted."""
    said = Said(name, details.pop("tray", "tray-a"))
    said.stick(stuck, **details)
    said.close(fit, fit, rot=stuck - fit)
    return said.records
