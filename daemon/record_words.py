"""Records in words, as a line of the journal begins; when, who and why follow."""

from collections.abc import Callable, Mapping
from typing import Final

from wardian.daemon.tongue import Tongue
from wardian.rules.observing.looks import LIFTED, MISTED, WATERED
from wardian.rules.quantities import QUANTITIES
from wardian.rules.records import CARE, MASSES, NOTE, STAGE, WITHDRAWN, Record
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


def _note(_record: Record, _tongue: Tongue) -> str:
    return "Noted"


def _masses(record: Record, tongue: Tongue) -> str:
    said = {"saturated": record.fields.get("saturated_g"), "dry": record.fields.get("dry_g")}
    masses = [
        f"{name} {tongue.value(QUANTITIES['tray_mass'], grams)}"
        for name, grams in said.items()
        if grams is not None
    ]
    return f"Weighed {' and '.join(masses)}"


def _withdrawn(record: Record, _tongue: Tongue) -> str:
    return f"Record {record.corrects} withdrawn"


_WORDS: Final[Mapping[str, Callable[[Record, Tongue], str]]] = {
    CARE: _care,
    STAGE: _stage,
    NOTE: _note,
    MASSES: _masses,
    WITHDRAWN: _withdrawn,
}
