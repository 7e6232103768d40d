"""Records in words, as a line of the journal begins; when, who and why follow."""

from collections.abc import Callable, Mapping
from typing import Final

from wardian.daemon.tongue import Tongue
from wardian.rules import care_given as given
from wardian.rules.batches import ROOTED
from wardian.rules.quantities import QUANTITIES
from wardian.rules.records import (
    BATCH,
    CARE,
    CLOSED,
    MASSES,
    NOTE,
    REMOVAL,
    SCORES,
    STAGE,
    WITHDRAWN,
    Record,
)
from wardian.rules.staging import ADVANCED, BY_DAY, HELD, SET_BACK

#: What is done at a tray, and how it is told.
DONE: Final = {
    given.LIFTED: "Cover lifted",
    given.MISTED: "Misted",
    given.WATERED: "Watered",
    given.FED: "Fed",
    given.WIPED: "Cover wiped",
    given.LOOKED: "Looked at",
    given.CLEANED: "Dead leaves taken out",
    given.ALCOHOL: "Alcohol used near the probe",
}
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


def _care(record: Record, tongue: Tongue) -> str:
    fields, done = record.fields, DONE[record.fields["event"]]
    if given.LOOK in fields:
        return f"{done}: {', '.join(fields[given.LOOK])}"
    minutes = f" for {fields['minutes']:g} min" if "minutes" in fields else ""
    of_water = [
        f"{tongue.value(QUANTITIES['tray_mass'], fields['grams'])}" if "grams" in fields else "",
        f"pH {fields['ph']:g}" if "ph" in fields else "",
        f"EC {fields['ec']:g} mS/cm" if "ec" in fields else "",
        tongue.value(QUANTITIES["medium_temperature"], fields["temperature_c"])
        if "temperature_c" in fields
        else "",
    ]
    water = ", ".join(part for part in of_water if part)
    return f"{done}{minutes}{f' with water of {water}' if water else ''}"


def _stage(record: Record, _tongue: Tongue) -> str:
    return STAGED[record.fields["event"]].format(record.fields["stage"])


def _note(record: Record, _tongue: Tongue) -> str:
    return f"Batch {record.batch}: noted" if record.batch else "Noted"


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
    MASSES: _masses,
    REMOVAL: _removal,
    SCORES: _scores,
    WITHDRAWN: _withdrawn,
}
