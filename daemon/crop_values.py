"""Crops as values by place, each with where it is from; and the crop that such values make.

A place is the way from the crop to one value: ``("stages", "callusing", "bands", "air_temperature", "low")``. The rule
of this file: a value stays as it was written until the crop is made, so that whoever is shown it is shown what stands
there.
"""

from collections.abc import Iterator, Mapping
from typing import Any, Final, NamedTuple, TypeAlias

from wardian.daemon.bands import band_of
from wardian.daemon.config_models import AimKeys, BandKeys, CropKeys, StageKeys
from wardian.daemon.library import Default
from wardian.rules.amounts import exact_amount
from wardian.rules.crops import LIMITS, Aim, Band, Crop, Stage
from wardian.rules.documents import Path
from wardian.rules.quantities import QUANTITIES

STAGES: Final = "stages"
BANDS: Final = "bands"
AIMS: Final = "aims"
NOTES: Final = "notes"
#: Of a band, what is also aimed at where nothing else is said.
INNER: Final = ("low", "high")


class Sourced(NamedTuple):
    """A value as it is written: with its mark where the library says it, with its line where a configuration does.

    A configuration may write None, which takes out what the library says.
    """

    value: Any
    mark: str = ""
    line: int | None = None


Values: TypeAlias = Mapping[Path, Sourced]


def placed(written: Any, path: Path = ()) -> Iterator[tuple[Path, Any]]:
    """Yield every value below a crop as written, and its place; notes one by one."""
    if isinstance(written, dict) and "value" not in written:
        for key, below in written.items():
            yield from placed(below, (*path, key))
    elif path == (NOTES,) and isinstance(written, list):
        yield from (((NOTES, number), note) for number, note in enumerate(written))
    else:
        yield path, written


def overlaid(base: Values, own: Values) -> dict[Path, Sourced]:
    """Return the values of a base, or in their place those of its own; None takes out what is at and below a place."""
    gone: list[Path] = [path for path, one in own.items() if one.value is None]
    gone += [(NOTES,)] if any(path[0] == NOTES for path in own) else []
    kept = {path: one for path, one in base.items() if not any(path[: len(out)] == out for out in gone)}
    return {**kept, **{path: one for path, one in own.items() if one.value is not None}}


def with_aims_of_limits(values: Values, own: Values) -> dict[Path, Sourced]:
    """Return values in which an inner limit of one's own is aimed at, unless an aim of one's own says otherwise."""
    found = dict(values)
    for path in own:
        if not (_is_inner_limit(path) and path in values) or _aim(path, path[-1]) in own:
            continue
        if _aim(path, path[-1]) in values:
            found[_aim(path, path[-1])] = values[path]
        other = _aim(path, "high" if path[-1] == "low" else "low")
        if other in found and other not in own and _crosses(path, values[path].value, found[other].value):
            del found[other]
    return found


def _is_inner_limit(path: Path) -> bool:
    return len(path) == 5 and path[2] == BANDS and path[4] in INNER


def _aim(path: Path, side: str | int) -> Path:
    return (*path[:2], AIMS, path[3], side)


def _crosses(path: Path, limit: Any, aim: Any) -> bool:
    dimension = QUANTITIES[str(path[3])].dimension
    difference = exact_amount(aim, dimension) - exact_amount(limit, dimension)
    return difference < 0 if path[-1] == "low" else difference > 0


# ----------------------------------------------------------------------------------- the crop


def stage_names(values: Values) -> tuple[str, ...]:
    """Return the names of a crop's stages in their order."""
    return tuple(dict.fromkeys(str(path[1]) for path in values if path[0] == STAGES))


def below(values: Values, *place: str | int) -> dict[str, Any]:
    """Return what is written directly at a place, by its last key."""
    size = len(place)
    return {
        str(path[size]): one.value
        for path, one in values.items()
        if path[:size] == place and len(path) == size + 1
    }


def crop_of(name: str, values: Values, defaults: Mapping[str, Default], optional: frozenset[str]) -> Crop:
    """Return the crop that values make.

    Args:
        name: Its name.
        values: By place; each of them valid by itself.
        defaults: Deadband and delays of a limit that has none of its own.
        optional: Quantities that are not missed, but where a configuration writes a band of them.

    Raises:
        ValueError: Limits or stages are not in order.
    """
    notes = below(values, NOTES)
    keys = CropKeys.model_validate({**below(values), **({NOTES: list(notes.values())} if notes else {})})
    return Crop(
        name,
        tuple(_stage(stage, values, defaults, optional) for stage in stage_names(values)),
        due_day=keys.due,
        roots_days=keys.roots,
        pot_day=keys.pot,
        feed_day=keys.feed_from,
        is_dry=bool(keys.dry),
        is_eaten=bool(keys.eaten),
        stick_within_h=None if keys.stick_within is None else keys.stick_within / 3_600_000,
        warmth_base_c=keys.warmth_base,
        notes=keys.notes or (),
    )


def _stage(name: str, values: Values, defaults: Mapping[str, Default], optional: frozenset[str]) -> Stage:
    keys = StageKeys.model_validate({**below(values, STAGES, name), "name": name})
    limited, aimed = (_quantities(values, name, part) for part in (BANDS, AIMS))
    bands = {one: banded(values, name, one, defaults) for one in limited}
    aims = {one: _aimed(values, name, one, bands.get(one)) for one in dict.fromkeys((*aimed, *limited))}
    asked_for = {path[3] for path, one in values.items() if path[1:3] == (name, BANDS) and one.line}
    return Stage(
        name,
        keys.from_day,
        bands,
        aims,
        frozenset(one for one in limited if one in optional and one not in asked_for),
        None if keys.mistings is None else Aim(*keys.mistings),
        None if keys.feed_mg_l is None else Aim(*keys.feed_mg_l),
    )


def _quantities(values: Values, stage: str, part: str) -> tuple[str, ...]:
    """Return the quantities of which a stage has bands, or aims, in the order of the closed list."""
    named = {path[3] for path in values if path[:3] == (STAGES, stage, part)}
    return tuple(name for name in QUANTITIES if name in named)


def band_keys(values: Values, stage: str, quantity: str) -> BandKeys:
    """Return the band of a quantity in a stage, as its keys."""
    keys = below(values, STAGES, stage, BANDS, quantity)
    return BandKeys.model_validate(keys, context=units_of(quantity))


def aim_keys(values: Values, stage: str, quantity: str) -> AimKeys:
    """Return what is aimed at of a quantity in a stage, as its keys."""
    keys = below(values, STAGES, stage, AIMS, quantity)
    return AimKeys.model_validate(keys, context=units_of(quantity))


def banded(values: Values, stage: str, quantity: str, defaults: Mapping[str, Default]) -> Band:
    """Return the band of a quantity in a stage."""
    return band_of(QUANTITIES[quantity], band_keys(values, stage, quantity), defaults[quantity])


def units_of(quantity: str) -> dict[str, str]:
    """Return what the keys of a quantity are read with."""
    return {
        "dimension": QUANTITIES[quantity].dimension,
        "difference": QUANTITIES[quantity].difference,
    }


def _aimed(values: Values, stage: str, quantity: str, band: Band | None) -> Aim:
    """Return what is aimed at: as it says, else at the band's inner limits."""
    keys = aim_keys(values, stage, quantity)
    low, high = (None if band is None else band.threshold(side) for side in INNER)
    return Aim(low if keys.low is None else float(keys.low), high if keys.high is None else float(keys.high))


def has_limit(values: Values, stage: str, quantity: str) -> bool:
    """Return whether a stage has any limit of a quantity."""
    return any(name in LIMITS for name in below(values, STAGES, stage, BANDS, quantity))
