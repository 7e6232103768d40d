"""Water vapour in the air under a cover: how much there is, how much more fits, where dew forms.

Each formula stands once, over arrays. Its form for one value checks the range in which the formula
holds and then computes with the array form, so both give the same number to the last bit.
"""

from typing import Final

import numpy as np

from wardian.rules.errors import OutsideValidity
from wardian.rules.readings import Values

# Magnus form over water: WMO-No. 8, Annex 4.B. Pure phase: the enhancement of moist air (+0.47 % at
# 1013 hPa) is left out, since a relative humidity is a ratio of two pressures.
MAGNUS_E0_KPA: Final = 0.6112
MAGNUS_A: Final = 17.62
MAGNUS_B_C: Final = 243.12

#: Where the Magnus form holds over water: WMO-No. 8, Annex 4.B (range from memory).
VALID_LOW_C: Final = -45.0
VALID_HIGH_C: Final = 60.0

#: Specific gas constant of water vapour, rounded (from memory).
WATER_VAPOUR_J_PER_KG_K: Final = 461.5
ZERO_C_IN_K: Final = 273.15
#: From kPa to Pa and from kg to g.
_G_PA_PER_KG_KPA: Final = 1e6


# --------------------------------------------------------------------- many values, not checked


def saturation_vapour_pressure_kpa_array(temperature_c: Values) -> Values:
    """Return the saturation vapour pressure over water at each temperature [kPa]."""
    saturated: Values = MAGNUS_E0_KPA * np.exp(MAGNUS_A * temperature_c / (MAGNUS_B_C + temperature_c))
    return saturated


def vapour_pressure_kpa_array(air_temperature_c: Values, relative_humidity_pct: Values) -> Values:
    """Return the pressure of the vapour that is in the air [kPa]."""
    return relative_humidity_pct / 100 * saturation_vapour_pressure_kpa_array(air_temperature_c)


def vapour_pressure_deficit_array(air_temperature_c: Values, relative_humidity_pct: Values) -> Values:
    """Return how much more vapour the air could hold [kPa]."""
    return saturation_vapour_pressure_kpa_array(air_temperature_c) * (1 - relative_humidity_pct / 100)


def leaf_vapour_pressure_deficit_array(
    leaf_temperature_c: Values, air_temperature_c: Values, relative_humidity_pct: Values
) -> Values:
    """Return the vapour pressure inside each leaf less that of the air, its sign kept [kPa]."""
    in_air = vapour_pressure_kpa_array(air_temperature_c, relative_humidity_pct)
    return saturation_vapour_pressure_kpa_array(leaf_temperature_c) - in_air


def dew_point_of_vapour_pressure_array(vapour_pressure_kpa: Values) -> Values:
    """Return the temperature at which each vapour pressure saturates [°C]; NaN where there is no vapour."""
    with np.errstate(divide="ignore", invalid="ignore"):
        exponent = np.log(vapour_pressure_kpa / MAGNUS_E0_KPA)
        dew_point: Values = MAGNUS_B_C * exponent / (MAGNUS_A - exponent)
    return dew_point


def dew_point_array(air_temperature_c: Values, relative_humidity_pct: Values) -> Values:
    """Return the temperature at which dew forms [°C]; NaN in perfectly dry air."""
    return dew_point_of_vapour_pressure_array(
        vapour_pressure_kpa_array(air_temperature_c, relative_humidity_pct)
    )


def absolute_humidity_g_m3_array(air_temperature_c: Values, relative_humidity_pct: Values) -> Values:
    """Return the mass of vapour in a volume of air [g/m³]."""
    pressure_kpa = vapour_pressure_kpa_array(air_temperature_c, relative_humidity_pct)
    temperature_k = air_temperature_c + ZERO_C_IN_K
    return _G_PA_PER_KG_KPA * pressure_kpa / (WATER_VAPOUR_J_PER_KG_K * temperature_k)


# ------------------------------------------------------------------------- one value, checked


def saturation_vapour_pressure_kpa(temperature_c: float) -> float:
    """Return the vapour pressure at which air of this temperature is saturated over water.

    Args:
        temperature_c: Of the air or of a leaf. [°C, -45 to 60]

    Returns:
        Saturation vapour pressure, pure phase. [kPa]

    Raises:
        OutsideValidity: The temperature is outside the range above, or not a number.

    Shape:
        Scalars only.

    Source:
        Guide to Instruments and Methods of Observation (WMO-No. 8), World Meteorological
        Organization, Annex 4.B: e_w(t) = 6.112 hPa · exp(17.62 t / (243.12 + t)). Here in kPa.
        From 0 to 45 °C at most 0.32 % below IAPWS-95 (computed).

    Example:
        >>> round(saturation_vapour_pressure_kpa(20.0), 4)
        2.3326
    """
    return float(saturation_vapour_pressure_kpa_array(_temperature("temperature", temperature_c))[0])


def vapour_pressure_kpa(air_temperature_c: float, relative_humidity_pct: float) -> float:
    """Return the pressure of the water vapour that is in the air.

    Args:
        air_temperature_c: Dry-bulb temperature of the air. [°C, -45 to 60]
        relative_humidity_pct: Relative to liquid water. [%, 0 to 100]

    Returns:
        Vapour pressure. [kPa]

    Raises:
        OutsideValidity: An input is outside the range above, or not a number.

    Shape:
        Scalars only.

    Source:
        WMO-No. 8, Annex 4.B: U = 100 e / e_w(t), solved for e.

    Example:
        >>> round(vapour_pressure_kpa(20.0, 75.0), 4)
        1.7494
    """
    return float(vapour_pressure_kpa_array(*_air(air_temperature_c, relative_humidity_pct))[0])


def vapour_pressure_deficit_kpa(air_temperature_c: float, relative_humidity_pct: float) -> float:
    """Return how much more water vapour the air could hold.

    Args:
        air_temperature_c: Dry-bulb temperature of the air. [°C, -45 to 60]
        relative_humidity_pct: Relative to liquid water. [%, 0 to 100]

    Returns:
        Saturation minus actual vapour pressure, never negative. [kPa]

    Raises:
        OutsideValidity: An input is outside the range above, or not a number.

    Shape:
        Scalars only.

    Source:
        e_s less e_a: FAO Irrigation and Drainage Paper 56 (1998), chapter 3. Changed: e_s in the
        Magnus form of WMO-No. 8, and of one instant, not of the means of a day.

    Example:
        >>> round(vapour_pressure_deficit_kpa(20.0, 75.0), 4)
        0.5831
    """
    return float(vapour_pressure_deficit_array(*_air(air_temperature_c, relative_humidity_pct))[0])


def leaf_vapour_pressure_deficit_kpa(
    leaf_temperature_c: float, air_temperature_c: float, relative_humidity_pct: float
) -> float:
    """Return what draws water out of a leaf: the vapour pressure inside it less that of the air.

    Args:
        leaf_temperature_c: Of the leaf's surface; the air inside it is saturated. [°C, -45 to 60]
        air_temperature_c: Dry-bulb temperature of the air around it. [°C, -45 to 60]
        relative_humidity_pct: Of the air, relative to liquid water. [%, 0 to 100]

    Returns:
        Leaf-to-air vapour pressure deficit; negative where dew forms on the leaf. [kPa]

    Raises:
        OutsideValidity: An input is outside the range above, or not a number.

    Shape:
        Scalars only.

    Source:
        e_s(T_leaf) - RH/100 · e_s(T_air), e_s in the Magnus form of WMO-No. 8. Common practice.

    Example:
        >>> round(leaf_vapour_pressure_deficit_kpa(20.0, 22.0, 95.0), 4)
        -0.1729
    """
    leaf = _temperature("leaf temperature", leaf_temperature_c)
    air = _air(air_temperature_c, relative_humidity_pct)
    return float(leaf_vapour_pressure_deficit_array(leaf, *air)[0])


def dew_point_of_vapour_pressure_c(vapour_pressure_kpa: float) -> float:
    """Return the temperature at which air with this vapour pressure is saturated over water.

    Args:
        vapour_pressure_kpa: Of the water vapour in the air.
            [kPa, saturation at -45 to 60 °C: about 0.0111 to 19.99]

    Returns:
        Dew point; below 0 °C that over supercooled water, not the frost point. [°C]

    Raises:
        OutsideValidity: The pressure is outside the range above, or not a number.

    Shape:
        Scalars only.

    Source:
        WMO-No. 8, Annex 4.B: t_d = 243.12 ln(e / 6.112 hPa) / (17.62 - ln(e / 6.112 hPa)),
        the inverse of the Magnus form, without its enhancement factor.

    Example:
        >>> round(dew_point_of_vapour_pressure_c(2.3326), 2)
        20.0
    """
    low, high = (saturation_vapour_pressure_kpa(bound) for bound in (VALID_LOW_C, VALID_HIGH_C))
    pressure = _one("vapour pressure", vapour_pressure_kpa, low, high, "kPa")
    return float(dew_point_of_vapour_pressure_array(pressure)[0])


def dew_point_c(air_temperature_c: float, relative_humidity_pct: float) -> float:
    """Return the temperature to which the air must cool for dew to form.

    Args:
        air_temperature_c: Dry-bulb temperature of the air. [°C, -45 to 60]
        relative_humidity_pct: Relative to liquid water. [%, above 0, to 100]

    Returns:
        Dew point; below 0 °C that over supercooled water, not the frost point. [°C]

    Raises:
        OutsideValidity: An input is outside the range above, or not a number; or the air is so dry
            that its dew point is below -45 °C.

    Shape:
        Scalars only.

    Source:
        As ``dew_point_of_vapour_pressure_c``, at RH/100 · e_s(T).

    Example:
        >>> round(dew_point_c(20.0, 50.0), 2)
        9.26
    """
    return dew_point_of_vapour_pressure_c(vapour_pressure_kpa(air_temperature_c, relative_humidity_pct))


def absolute_humidity_g_m3(air_temperature_c: float, relative_humidity_pct: float) -> float:
    """Return the mass of water vapour in a cubic metre of air.

    Args:
        air_temperature_c: Dry-bulb temperature of the air. [°C, -45 to 60]
        relative_humidity_pct: Relative to liquid water. [%, 0 to 100]

    Returns:
        Absolute humidity. [g/m³]

    Raises:
        OutsideValidity: An input is outside the range above, or not a number.

    Shape:
        Scalars only.

    Source:
        Ideal gas: e / (R_v T), R_v = 461.5 J/(kg K). Moist air at 1013 hPa holds up to 0.8 % more.

    Example:
        >>> round(absolute_humidity_g_m3(20.0, 75.0), 2)
        12.93
    """
    return float(absolute_humidity_g_m3_array(*_air(air_temperature_c, relative_humidity_pct))[0])


def _air(air_temperature_c: float, relative_humidity_pct: float) -> tuple[Values, Values]:
    temperature = _temperature("air temperature", air_temperature_c)
    return temperature, _one("relative humidity", relative_humidity_pct, 0, 100, "%")


def _temperature(name: str, value_c: float) -> Values:
    return _one(name, value_c, VALID_LOW_C, VALID_HIGH_C, "°C")


def _one(name: str, value: float, low: float, high: float, unit: str) -> Values:
    """Return one value as an array; not a number is outside every range."""
    if not low <= value <= high:
        raise OutsideValidity(name, value, low, high, unit)
    return np.array([value], dtype=np.float64)
