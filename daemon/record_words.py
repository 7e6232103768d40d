"""Records in words, as a line of the journal begins; when, who and why follow."""

from collections.abc import Callable, Mapping
from typing import Final

from wardian.daemon.tongue import Tongue
from wardian.rules.batches import ROOTED
from wardian.rules.observing.looks import LIFTED, MISTED, WATERED
from wardian.rules.records import BATCH, CARE, CLOSED, NOTE, REMOVAL, SCORES, STAGE, WITHDRAWN, Record
from wardian.rules.staging import ADVANCED, BY_DAY, HELD, SET_BACK

#: What is done at a tray, and how it is told.
DONE: Final = {LIFTED: "Cover lifted", MISTED: "Misted", WATERED: "Watered"}
#: What is done to a stage, and how it is told.
STAGED: Final = {
    ADVANCED: "Advanced to {}",
    HELD: "Held in {}",
    SET_BACK: "Set back to {}",
    BY_DAY: "Stages by day again, now {}",
}


def record_words(record: Record, tongue: Tongue) -> str:
    """Return what a record says, without its end."""
    return _WORDS[record.kind](record, tongue)


def _care(record: Record, _tongue: Tongue) -> str:
    return DONE[record.fields["event"]]


def _stage(record: Record, _tongue: Tongue) -> str:
    return STAGED[record.fields["event"]].format(record.fields["stage"])


def _note(record: Record, _tongue: Tongue) -> str:
    return f"Batch {record.batch}: noted" if record.batch else "Noted"


def _withdrawn(record: Record, _tongue: Tongue) -> str:
    return f"Record {record.corrects} withdrawn"


def _batch(record: Record, _tongue: Tongue) -> str:
    return f"Batch {record.batch}: {record.fields['count_stuck']} cuttings of {record.fields['crop']} stuck"


def _removal(record: Record, _tongue: Tongue) -> str:
    return f"Batch {record.batch}: {record.fields['count']} taken out ({record.fields['reason']})"


def _scores(record: Record, _tongue: Tongue) -> str:
    counts = record.fields["counts"]
    return f"Batch {record.batch}: roots on {sum(counts[ROOTED:])} of {sum(counts)} looked at"


def _closed(record: Record, _tongue: Tongue) -> str:
    return (
        f"Batch {record.batch} closed: {record.fields['potted']} potted, {record.fields['fit']} of them fit,"
    )


_WORDS: Final[Mapping[str, Callable[[Record, Tongue], str]]] = {
    BATCH: _batch,
    CARE: _care,
    CLOSED: _closed,
    STAGE: _stage,
    NOTE: _note,
    REMOVAL: _removal,
    SCORES: _scores,
    WITHDRAWN: _withdrawn,
}
