"""How sure is what follows from a humidity: nearly saturated air leaves little of a figure but its error.

The rule of this file: a sensor's stated accuracy goes through the formula as JCGM 100 has it, and a
difference smaller than its expanded uncertainty is no fact.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Final, NamedTuple

import numpy as np

from wardian.rules.air import MAGNUS_A, MAGNUS_B_C, dew_point_array, saturation_vapour_pressure_kpa_array
from wardian.rules.quantities import DERIVED_FROM, LEAF_DEFICIT

#: For a level of confidence of about 95 %: JCGM 100:2008, 6.3.3.
COVERAGE_FACTOR: Final = 2.0
#: Deficits: zero where the air is saturated. A dew point has no such floor.
_DEFICITS: Final = ("vapour_pressure_deficit", "leaf_vapour_pressure_deficit")


class Estimate(NamedTuple):
    """A value and its standard uncertainty, which is in the unit of a difference of two such values."""

    value: float
    uncertainty: float


def standard_uncertainty(accuracy: float) -> float:
    """Return the standard uncertainty of a reading whose error is somewhere within ± ``accuracy``.

    Args:
        accuracy: Half the width between the limits, as a data sheet states it. [any unit, 0 or more]

    Returns:
        Standard deviation of an error that is as likely anywhere between the limits. [the same unit]

    Source:
        Guide to the expression of uncertainty in measurement, JCGM 100:2008, 4.3.7, equation 7:
        u = a / √3.

    Example:
        >>> round(standard_uncertainty(3.0), 4)
        1.7321
    """
    return accuracy / math.sqrt(3)


def vapour_pressure_deficit_uncertainty_kpa(air_c: Estimate, humidity_pct: Estimate) -> float:
    """Return the standard uncertainty of the vapour pressure deficit of the air.

    Args:
        air_c: Dry-bulb temperature of the air. [°C, -45 to 60, not checked; K]
        humidity_pct: Relative to liquid water. [%, 0 to 100, not checked; %]

    Returns:
        Combined standard uncertainty of ``vapour_pressure_deficit_kpa``. [kPa]

    Source:
        JCGM 100:2008, 5.1.2, equation 10, for inputs whose errors have nothing to do with each other:
        u² = (∂D/∂T · u_T)² + (∂D/∂U · u_U)² of D = e_s(T) (1 - U/100), e_s in the Magnus form of
        WMO-No. 8. Of first order: within 0.1 % of a Monte Carlo after JCGM 101 at ±0.3 K and ±3 % (computed).

    Example:
        >>> round(vapour_pressure_deficit_uncertainty_kpa(Estimate(22.0, 0.1155), Estimate(92.0, 1.1547)), 4)
        0.0305
    """
    by_air = (1 - humidity_pct.value / 100) * _slope_kpa_per_k(air_c.value)
    by_humidity = -_saturated_kpa(air_c.value) / 100
    return math.hypot(by_air * air_c.uncertainty, by_humidity * humidity_pct.uncertainty)


def leaf_vapour_pressure_deficit_uncertainty_kpa(
    leaf_c: Estimate, air_c: Estimate, humidity_pct: Estimate
) -> float:
    """Return the standard uncertainty of the leaf-to-air vapour pressure deficit.

    Args:
        leaf_c: Of the leaf's surface. [°C, -45 to 60, not checked; K]
        air_c: Dry-bulb temperature of the air around it. [°C, -45 to 60, not checked; K]
        humidity_pct: Of the air, relative to liquid water. [%, 0 to 100, not checked; %]

    Returns:
        Combined standard uncertainty of ``leaf_vapour_pressure_deficit_kpa``. [kPa]

    Source:
        As ``vapour_pressure_deficit_uncertainty_kpa``, of D = e_s(T_leaf) - U/100 · e_s(T_air).

    Example:
        >>> leaf, air, humidity = Estimate(23.5, 0.2887), Estimate(25.0, 0.1155), Estimate(90.0, 1.1547)
        >>> round(leaf_vapour_pressure_deficit_uncertainty_kpa(leaf, air, humidity), 4)
        0.0651
    """
    by_leaf = _slope_kpa_per_k(leaf_c.value)
    by_air = -humidity_pct.value / 100 * _slope_kpa_per_k(air_c.value)
    by_humidity = -_saturated_kpa(air_c.value) / 100
    return math.hypot(
        by_leaf * leaf_c.uncertainty, by_air * air_c.uncertainty, by_humidity * humidity_pct.uncertainty
    )


def leaf_deficit_by_offset_uncertainty_kpa(
    leaf_offset_k: float, air_c: Estimate, humidity_pct: Estimate
) -> float:
    """Return the standard uncertainty of the leaf-to-air vapour pressure deficit of leaves that follow the air.

    Args:
        leaf_offset_k: How much warmer they are, taken as it is said. [K]
        air_c: Dry-bulb temperature of the air. [°C, -45 to 60, not checked; K]
        humidity_pct: Of the air, relative to liquid water. [%, 0 to 100, not checked; %]

    Returns:
        Combined standard uncertainty of the deficit; what the offset is off comes on top. [kPa]

    Source:
        As ``vapour_pressure_deficit_uncertainty_kpa``, of D = e_s(T + offset) - U/100 · e_s(T): the leaf errs with
        the air, so that both slopes of T count as one.

    Example:
        >>> round(leaf_deficit_by_offset_uncertainty_kpa(1.0, Estimate(25.0, 0.1155), Estimate(90.0, 1.1547)), 4)
        0.0366
    """
    by_leaf = _slope_kpa_per_k(air_c.value + leaf_offset_k)
    by_air = by_leaf - humidity_pct.value / 100 * _slope_kpa_per_k(air_c.value)
    by_humidity = -_saturated_kpa(air_c.value) / 100
    return math.hypot(by_air * air_c.uncertainty, by_humidity * humidity_pct.uncertainty)


def dew_point_uncertainty_k(air_c: Estimate, humidity_pct: Estimate) -> float:
    """Return the standard uncertainty of the dew point.

    Args:
        air_c: Dry-bulb temperature of the air. [°C, -45 to 60, not checked; K]
        humidity_pct: Relative to liquid water. [%, 0 to 100, not checked; %]

    Returns:
        Combined standard uncertainty of ``dew_point_c``; infinite in perfectly dry air. [K]

    Source:
        As ``vapour_pressure_deficit_uncertainty_kpa``, of the dew point T_d at which
        e_s(T_d) = U/100 · e_s(T): ∂T_d/∂T = ((243.12 + T_d) / (243.12 + T))² and
        ∂T_d/∂U = (243.12 + T_d)² / (17.62 · 243.12 U).

    Example:
        >>> round(dew_point_uncertainty_k(Estimate(20.0, 0.1732), Estimate(50.0, 1.7321)), 4)
        0.5392
    """
    if humidity_pct.value <= 0:
        return math.inf
    above_pole = MAGNUS_B_C + float(dew_point_array(np.asarray(air_c.value), np.asarray(humidity_pct.value)))
    by_air = (above_pole / (MAGNUS_B_C + air_c.value)) ** 2
    by_humidity = above_pole**2 / (MAGNUS_A * MAGNUS_B_C * humidity_pct.value)
    return math.hypot(by_air * air_c.uncertainty, by_humidity * humidity_pct.uncertainty)


#: Quantity → its standard uncertainty; ``DERIVED_FROM`` has the estimates it needs.
UNCERTAINTIES: Final[Mapping[str, Callable[..., float]]] = {
    "vapour_pressure_deficit": vapour_pressure_deficit_uncertainty_kpa,
    "leaf_vapour_pressure_deficit": leaf_vapour_pressure_deficit_uncertainty_kpa,
    "dew_point": dew_point_uncertainty_k,
}


def expanded_uncertainty(
    quantity: str,
    inputs: Sequence[float | None],
    accuracies: Mapping[str, float],
    leaf_offset_k: float | None = None,
) -> float | None:
    """Return how far about 95 % of true values lie at most from a derived one, or None where nobody knows.

    Args:
        quantity: Any; only what is derived from humidity has an uncertainty.
        inputs: What it was derived from, in the order of its formula; None what is not known.
        accuracies: By measured quantity, the limits ± of its error, in its own unit of a difference.
        leaf_offset_k: How much warmer leaves are than the air, None where they are measured. [K]

    Source:
        JCGM 100:2008, 6.2.1, equation 18: U = k u, here with k = 2.
    """
    if quantity not in UNCERTAINTIES:
        return None
    names, uncertainty = DERIVED_FROM[quantity], UNCERTAINTIES[quantity]
    if quantity == LEAF_DEFICIT and leaf_offset_k is not None:
        names = DERIVED_FROM["vapour_pressure_deficit"]
        uncertainty = partial(leaf_deficit_by_offset_uncertainty_kpa, leaf_offset_k)
    estimates = []
    for name, value in zip(names, inputs, strict=True):
        if value is None or name not in accuracies:
            return None
        estimates.append(Estimate(value, standard_uncertainty(accuracies[name])))
    expanded = COVERAGE_FACTOR * uncertainty(*estimates)
    return expanded if math.isfinite(expanded) else None


def is_in_doubt(value: float | None, threshold: float, uncertainty: float | None) -> bool:
    """Return whether a value lies less beyond a threshold than it is uncertain."""
    return value is not None and uncertainty is not None and abs(value - threshold) < uncertainty


def is_saturated(quantity: str, value: float, uncertainty: float) -> bool:
    """Return whether a deficit cannot be told from none at all."""
    return quantity in _DEFICITS and abs(value) < uncertainty


def _saturated_kpa(temperature_c: float) -> float:
    return float(saturation_vapour_pressure_kpa_array(np.asarray(temperature_c)))


def _slope_kpa_per_k(temperature_c: float) -> float:
    """Return how much more vapour saturates air that is one kelvin warmer: the derivative of e_s."""
    return _saturated_kpa(temperature_c) * MAGNUS_A * MAGNUS_B_C / (MAGNUS_B_C + temperature_c) ** 2
