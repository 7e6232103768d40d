"""What people put on record about trays and batches, from a misting to the last count of roots.

The rule of this file: a record is never changed. Whoever erred adds another that names what it corrects, and what
holds is what nothing later corrects.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final, NamedTuple

#: Something was done or looked at at a tray; ``fields["event"]`` says what.
CARE: Final = "care"
#: A stage was advanced, held or set back by a person.
STAGE: Final = "stage"
#: What a tray weighs full or empty.
MASSES: Final = "masses"
#: A batch was begun, with all that is known of it; its count stuck never changes but by a correction.
BATCH: Final = "batch"
#: Cuttings were taken out of a batch.
REMOVAL: Final = "removal"
#: Roots of a batch were scored.
SCORES: Final = "scores"
#: A batch was potted on or given up.
CLOSED: Final = "closed"
#: Something to remember, in words.
NOTE: Final = "note"
#: A record was made by mistake: it corrects one and puts nothing in its place.
WITHDRAWN: Final = "withdrawn"
KINDS: Final = (CARE, STAGE, MASSES, BATCH, REMOVAL, SCORES, CLOSED, NOTE, WITHDRAWN)


class Record(NamedTuple):
    """One thing put on record.

    Attributes:
        kind: One of ``KINDS``.
        time_ms: When it happened.
        recorded_ms: When it was put on record.
        tray: The tray it is about, empty for none.
        batch: The batch it is about, empty for none.
        who: Who says so.
        why: In their words, may be empty.
        fields: What it says, plain JSON values by name.
        corrects: The number of the record whose place it takes.
        number: Given by the store, in the order of recording, from 1 on; 0 before.
    """

    kind: str
    time_ms: int
    recorded_ms: int
    tray: str = ""
    batch: str = ""
    who: str = ""
    why: str = ""
    fields: Mapping[str, Any] = {}
    corrects: int | None = None
    number: int = 0


def in_force(records: Iterable[Record]) -> list[Record]:
    """Return the records that hold: not corrected and not withdrawn, in the order in which things happened."""
    every = list(records)
    gone = {record.corrects for record in every if record.corrects is not None}
    held = [one for one in every if one.number not in gone and one.kind != WITHDRAWN]
    return sorted(held, key=lambda one: (one.time_ms, one.number))


def of_tray(records: Sequence[Record], tray: str, since_ms: int) -> list[Record]:
    """Return those of one tray that happened at or after an instant, in the order given."""
    return [one for one in records if one.tray == tray and one.time_ms >= since_ms]
