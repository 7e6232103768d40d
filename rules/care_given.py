"""What is done at a tray: a closed list of events, the amounts each takes, and what a look can find.

The rule of this file: what is put down is in one unit each, and what cannot be meant is refused with what is accepted.
"""

from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from typing import Any, Final, NamedTuple

from wardian.rules.amounts import NotAnAmount, Written, exact_amount
from wardian.rules.documents import nearest, shown
from wardian.rules.quantities import QUANTITIES
from wardian.rules.records import CARE, Record

LIFTED: Final = "lifted"
MISTED: Final = "misted"
WATERED: Final = "watered"
FED: Final = "fed"
WIPED: Final = "wiped"
LOOKED: Final = "looked"
CLEANED: Final = "cleaned"
ALCOHOL: Final = "alcohol"

GRAMS: Final = "grams"
MINUTES: Final = "minutes"
PH: Final = "ph"
EC: Final = "ec"
TEMPERATURE: Final = "temperature"
LOOK: Final = "look"

_OF_WATER: Final = (GRAMS, PH, EC, TEMPERATURE)
#: What can be done, and the amounts that may be said of it.
EVENTS: Final[Mapping[str, tuple[str, ...]]] = {
    LIFTED: (MINUTES,),
    MISTED: (MINUTES, *_OF_WATER),
    WATERED: _OF_WATER,
    FED: _OF_WATER,
    WIPED: (MINUTES,),
    LOOKED: (LOOK,),
    CLEANED: (MINUTES,),
    ALCOHOL: (),
}

TURGID: Final = "turgid"
LIMP: Final = "limp"
MOULD: Final = "mould"
ROT: Final = "rot"
PEST: Final = "pest"
ROOTS: Final = "roots"
NO_ROOTS: Final = "no-roots"
#: What a look can find.
LOOKS: Final = (TURGID, LIMP, MOULD, ROT, PEST, ROOTS, NO_ROOTS)
#: What cannot be found at once.
_EITHER: Final = ((TURGID, LIMP), (ROOTS, NO_ROOTS))
#: What spreads to other trays.
SPREADS: Final = frozenset({MOULD, ROT})
#: A look that says one of these was one at the leaves.
_AT_LEAVES: Final = frozenset({TURGID, LIMP, MOULD, ROT, PEST})


class Given(NamedTuple):
    """Care that was put on record or shows in the traces; ``looks`` is what a look found."""

    event: str
    from_ms: int
    is_recorded: bool = True
    looks: tuple[str, ...] = ()


class _Amount(NamedTuple):
    """One amount: the dimension it is written in, what is accepted [its own unit], and where it is put down."""

    dimension: str
    low: float
    high: float
    accepts: str
    field: str


#: From memory: no misting brings more than a watering, and a watering weighs up to 900 g on a tray of 0.15 m²; ten times
#: that is accepted. Water colder than 0 °C is ice, and above 40 °C scalds roots.
_AMOUNTS: Final = {
    GRAMS: _Amount("mass", 1, 10_000, "1 g to 10 kg", "grams"),
    MINUTES: _Amount("duration", 60, 86_400, "1 min to 24 h", "minutes"),
    PH: _Amount("acidity", 2, 12, "2 to 12", "ph"),
    EC: _Amount("conductivity", 0, QUANTITIES["water_ec"].possible_high, "0 to 20 mS/cm", "ec"),
    TEMPERATURE: _Amount("temperature", 0, 40, "0 °C to 40 °C", "temperature_c"),
}
#: A bare number of minutes is minutes, though one of a duration is seconds elsewhere.
_MINUTE_S: Final = 60


def care_fields(event: str, amounts: Mapping[str, Written]) -> dict[str, Any]:
    """Return what a record of care says: its event, and each amount in its own unit.

    Args:
        event: One of ``EVENTS``.
        amounts: As a person wrote them, by name: a number, or a text with a unit; what a look found with commas.

    Raises:
        ValueError: The event is none of the list, or an amount does not belong to it or cannot be meant.
    """
    if event not in EVENTS:
        raise ValueError(f"{shown(event)} is nothing that is done at a tray; {nearest(event, EVENTS)}")
    taken = EVENTS[event]
    for name in amounts:
        if name not in taken:
            accepted = f"accepted: {', '.join(taken)}" if taken else "none is accepted"
            raise ValueError(f"{event} takes no {name if name.isalpha() else shown(name)}; {accepted}")
    if event == LOOKED and LOOK not in amounts:
        raise ValueError(
            f"look is missing: what was found; accepted: {', '.join(LOOKS)}, several with commas"
        )
    fields: dict[str, Any] = {"event": event}
    for name, written in amounts.items():
        if name == LOOK:
            fields[LOOK] = _looks(str(written))
        else:
            fields[_AMOUNTS[name].field] = _amount(name, written)
    return fields


def _amount(name: str, written: Written) -> float:
    kind = _AMOUNTS[name]
    try:
        exact = exact_amount(_with_unit(name, written), kind.dimension)
    except NotAnAmount as error:
        raise ValueError(f"{name} {shown(written)} {error}") from error
    if not kind.low <= exact <= kind.high:
        raise ValueError(f"{name} {shown(written)} cannot be meant; {kind.accepts} is accepted")
    return float(exact / _MINUTE_S if name == MINUTES else Fraction(exact))


def _with_unit(name: str, written: Written) -> Written:
    text = str(written).strip()
    return f"{text} min" if name == MINUTES and text.replace(".", "", 1).isdigit() else written


def _looks(written: str) -> list[str]:
    found = list(dict.fromkeys(part.strip() for part in written.split(",")))
    for one in found:
        if one not in LOOKS:
            raise ValueError(f"look {shown(one)} is nothing that can be found; {nearest(one, LOOKS)}")
    for this, that in _EITHER:
        if this in found and that in found:
            raise ValueError(f"look: {this} and {that} cannot both be; one of them is accepted")
    return found


def cares_of(records: Iterable[Record]) -> list[Given]:
    """Return the care that records in force tell of, in their order."""
    return [
        Given(one.fields["event"], one.time_ms, is_recorded=True, looks=tuple(one.fields.get(LOOK, ())))
        for one in records
        if one.kind == CARE
    ]


def rot_seen_ms(given: Sequence[Given]) -> int | None:
    """Return since when mould or rot is known of that no later look at the leaves found gone; None where none is.

    A look for roots alone says nothing of it.
    """
    seen_ms = None
    for one in given:
        if SPREADS & set(one.looks):
            seen_ms = one.from_ms if seen_ms is None else seen_ms
        elif _AT_LEAVES & set(one.looks):
            seen_ms = None
    return seen_ms


def found_roots_ms(given: Iterable[Given]) -> int | None:
    """Return when a look first found roots, None where none has."""
    return next((one.from_ms for one in given if ROOTS in one.looks), None)
