"""Every value of a crop in force, for people and programs: in full, in order, and where it is from."""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any, Final, NamedTuple

from wardian.daemon.bands import RISING
from wardian.daemon.config_crops import Grown
from wardian.daemon.crop_library import LibraryCrop
from wardian.daemon.crop_values import AIMS, BANDS, NOTES, STAGES, Sourced, Values, banded, stage_names
from wardian.daemon.library import Default
from wardian.rules.amounts import duration_ms, exact_amount
from wardian.rules.documents import Path
from wardian.rules.quantities import QUANTITIES

#: What a band has beside its limits.
WAITING: Final = ("deadband", "on_delay", "off_delay")
_PARTS: Final = ("from_day", BANDS, AIMS, "mistings", "feed_mg_l")
_SIDES: Final = (*RISING, *WAITING)
#: Days, mistings and nitrogen, in words behind the number.
_UNITS: Final = {"mistings": "a day", "feed_mg_l": "mg/l"}


class CropValue(NamedTuple):
    """One value of a crop: as it is written, with its unit, and where it is from.

    ``line`` is where the configuration writes it, ``mark`` how sure the library is of it; ``number`` is an amount in
    ``unit``, the quantity's own, or s for a duration.
    """

    path: Path
    text: str
    mark: str
    line: int | None
    number: float | None = None
    unit: str | None = None


class Change(NamedTuple):
    """A value that a configuration has otherwise than the crop it takes after; empty where one has none."""

    path: Path
    there: str
    here: str
    line: int | None


def crop_values(values: Values, defaults: Mapping[str, Default]) -> Iterator[CropValue]:
    """Yield every value of a crop in order, deadbands and delays that nobody wrote included."""
    stages = stage_names(values)
    order = {path: _place(path, stages) for path in values if _is_known(path)}
    waiting = [(*path[:4], name) for path in order if _is_limit(path) for name in WAITING]
    order.update((path, _place(path, stages)) for path in waiting)
    for path in sorted(order, key=lambda one: order[one]):
        if path in values:
            yield _written(path, values[path])
        else:
            yield _default(path, defaults)


def _is_known(path: Path) -> bool:
    return path[0] != STAGES or path[2] not in (BANDS, AIMS) or path[3] in QUANTITIES


def _is_limit(path: Path) -> bool:
    return path[0] == STAGES and path[2] == BANDS


def _place(path: Path, stages: tuple[str, ...]) -> tuple[int, ...]:
    """Return where a value stands in the order: single ones, the stages, the notes."""
    if path[0] != STAGES:
        return (2, int(path[1])) if path[0] == NOTES else (0,)
    head = (1, stages.index(str(path[1])), _PARTS.index(str(path[2])))
    if len(path) < 5:
        return head
    return (*head, list(QUANTITIES).index(str(path[3])), _SIDES.index(str(path[4])))


def _written(path: Path, one: Sourced) -> CropValue:
    value, unit = one.value, None
    number = None
    if len(path) == 5 and path[4] not in ("on_delay", "off_delay"):
        quantity = QUANTITIES[str(path[3])]
        dimension = quantity.difference if path[4] == "deadband" else quantity.dimension
        number, unit = float(exact_amount(value, dimension)), quantity.unit
    elif path[-1] in ("on_delay", "off_delay", "stick_within"):
        number, unit = duration_ms(value) / 1000, "s"
    elif path[-1] == "warmth_base":
        number, unit = float(exact_amount(value, "temperature")), "°C"
    return CropValue(path, _text(path, value, unit), one.mark, one.line, number, unit)


def _text(path: Path, value: Any, unit: str | None) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        low, high = value
        words = f"{low}" if low == high else f"{low} to {high}"
        return f"{words} {_UNITS.get(str(path[-1]), '')}".rstrip()
    bare = isinstance(value, (int, Decimal))
    return f"{value} {unit}" if bare and unit else str(value)


def _default(path: Path, defaults: Mapping[str, Default]) -> CropValue:
    reasoned = getattr(defaults[str(path[3])], str(path[4]))
    if path[4] == "deadband":
        return CropValue(path, reasoned.text, str(reasoned), None)
    return CropValue(path, reasoned.text, str(reasoned), None, duration_ms(reasoned.text) / 1000, "s")


def within_again(one: CropValue, values: Values, defaults: Mapping[str, Default]) -> str:
    """Return how a limit is judged, to stand behind it, or nothing for what is no limit."""
    if not _is_limit(one.path) or one.path[4] in WAITING:
        return ""
    band = banded(values, str(one.path[1]), str(one.path[3]), defaults)
    limit = next(limit for limit in band.limits if limit.name == one.path[4])
    return f" ({limit.threshold!r} {one.unit}, within again at {limit.clear!r} {one.unit})"


# ------------------------------------------------------------------------------------- changes


def changes(grown: Grown, known: LibraryCrop | None, defaults: Mapping[str, Default]) -> Iterator[Change]:
    """Yield what a configuration has otherwise than the crop it takes after, or than the library's of that name.

    Args:
        grown: The crop in force.
        known: The crop of the library that it is compared with where it takes after none.
        defaults: Deadband and delays of a limit that has none of its own.
    """
    base = grown.base or (known.values if known else {})
    there = {path: _written(path, one) for path, one in base.items() if _is_known(path)}
    here = {path: _written(path, one) for path, one in grown.values.items() if _is_known(path)}
    stages = tuple(dict.fromkeys((*stage_names(base), *stage_names(grown.values))))
    for path in sorted({*there, *here}, key=lambda path: _place(path, stages)):
        if path[0] == NOTES or not (
            _says_otherwise(grown.own, path) or (grown.is_listed and _is_limit(path))
        ):
            continue
        one, other = there.get(path), here.get(path)
        if one is None and path[-1] in WAITING:
            one = _default(path, defaults)
        if not _are_alike(one, other):
            line = next((own.line for place, own in grown.own.items() if path[: len(place)] == place), None)
            yield Change(path, one.text if one else "", other.text if other else "", line)


def _says_otherwise(own: Values, path: Path) -> bool:
    """Return whether a configuration writes a value, or takes out what is at or above it."""
    return any(path[: len(place)] == place for place in own)


def _are_alike(one: CropValue | None, other: CropValue | None) -> bool:
    if one is None or other is None:
        return one is other
    return one.text == other.text or (one.number is not None and one.number == other.number)
