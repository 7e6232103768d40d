"""Records in words, as a line of the journal begins; when, who and why follow."""

from collections.abc import Callable, Mapping
from typing import Final

from wardian.daemon.tongue import Tongue
from wardian.rules.observing.looks import LIFTED, MISTED, WATERED
from wardian.rules.quantities import QUANTITIES
from wardian.rules.records import CARE, MASSES, NOTE, WITHDRAWN, Record

#: What is done at a tray, and how it is told.
DONE: Final = {LIFTED: "Cover lifted", MISTED: "Misted", WATERED: "Watered"}


def record_words(record: Record, tongue: Tongue) -> str:
    """Return what a record says, without its end."""
    return _WORDS[record.kind](record, tongue)


def _care(record: Record, _tongue: Tongue) -> str:
    return DONE[record.fields["event"]]


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
    NOTE: _note,
    MASSES: _masses,
    WITHDRAWN: _withdrawn,
}
