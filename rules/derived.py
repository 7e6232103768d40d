"""Derived series: a value at each reading of an input, known while every input is known."""

from collections.abc import Callable, Mapping, Sequence
from functools import cache, partial
from typing import Final, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from wardian.rules.air import (
    dew_point_array,
    leaf_vapour_pressure_deficit_array,
    vapour_pressure_deficit_array,
)
from wardian.rules.judging import Stand, Stretch
from wardian.rules.quantities import DERIVED_FROM, LEAF_DEFICIT
from wardian.rules.readings import Times, Values

#: For each instant, how many readings there are up to it.
Places: TypeAlias = NDArray[np.int64]


class Formula(NamedTuple):
    """How a quantity is derived: of which measured ones, and by what over arrays of these."""

    inputs: tuple[str, ...]
    values: Callable[..., Values]


#: Derived quantity → its formula over arrays; ``DERIVED_FROM`` has its arguments.
FORMULAS: Final[Mapping[str, Callable[..., Values]]] = {
    "vapour_pressure_deficit": vapour_pressure_deficit_array,
    "leaf_vapour_pressure_deficit": leaf_vapour_pressure_deficit_array,
    "dew_point": dew_point_array,
}


@cache
def formulas(leaf_offset_k: float | None) -> Mapping[str, Formula]:
    """Return how everything that has a formula is derived at a tray.

    Args:
        leaf_offset_k: How much warmer leaves are than the air, None where they are measured. [K]
    """
    found = {quantity: Formula(DERIVED_FROM[quantity], values) for quantity, values in FORMULAS.items()}
    if leaf_offset_k is not None:
        of_air = DERIVED_FROM["vapour_pressure_deficit"]
        found[LEAF_DEFICIT] = Formula(of_air, partial(_leaf_deficit_by_offset, leaf_offset_k))
    return found


def _leaf_deficit_by_offset(leaf_offset_k: float, air_c: Values, humidity_pct: Values) -> Values:
    return leaf_vapour_pressure_deficit_array(air_c + leaf_offset_k, air_c, humidity_pct)


def derive(formula: Formula, inputs: Sequence[Stretch], before: Sequence[Stand | None]) -> Stretch:
    """Return a derived series over a window.

    Args:
        formula: How it is derived.
        inputs: The readings of each input in the window, in the formula's order.
        before: What stood of each input before the window.

    Returns:
        One value at each instant at which an input was read and all were known. Where the formula
        has no value (the dew point of perfectly dry air) the series is unknown from that instant.
    """
    instants, places = _aligned(inputs)
    known = np.ones(len(instants), dtype=np.bool_)
    until = np.full(len(instants), np.iinfo(np.int64).max)
    columns = []
    for stretch, stood, place in zip(inputs, before, places, strict=True):
        value, until_ms = _as_of(stretch, stood, place)
        known &= until_ms > instants
        until = np.minimum(until, until_ms)
        columns.append(value)
    if not known.all():
        instants, until = instants[known], until[known]
        columns = [column[known] for column in columns]
    values = formula.values(*columns)
    until = np.where(np.isnan(values), instants, until)
    return Stretch(instants, until, values, values)


def _aligned(inputs: Sequence[Stretch]) -> tuple[Times, list[Places | None]]:
    """Return the instants of all inputs, and how many readings of each there are up to each instant.

    None instead where an input has a reading at every instant.
    """
    first = inputs[0].from_ms
    if all(np.array_equal(first, stretch.from_ms) for stretch in inputs[1:]):
        return first, [None] * len(inputs)
    times = np.concatenate([stretch.from_ms for stretch in inputs])
    # Stretches in order are merged in one pass; looking each instant up would take ten times as long.
    order = times.argsort(kind="stable")
    times = times[order]
    last = np.append(times[1:] != times[:-1], True)
    source = np.repeat(np.arange(len(inputs)), [len(stretch.from_ms) for stretch in inputs])[order]
    return times[last], [np.cumsum(source == number)[last] for number in range(len(inputs))]


def _as_of(stretch: Stretch, stood: Stand | None, place: Places | None) -> tuple[Values, Times]:
    """Return the value standing at each instant and how long it is known; unknown: until -∞."""
    if place is None:
        return stretch.for_high, stretch.until_ms
    value = np.concatenate(([stood.for_high if stood else 0.0], stretch.for_high))
    until = np.concatenate(([stood.until_ms if stood else np.iinfo(np.int64).min], stretch.until_ms))
    return value[place], until[place]
