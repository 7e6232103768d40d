"""One pair of temperature and humidity, as ``wardian air`` prints it."""

from collections.abc import Iterator, Mapping
from typing import Final

from wardian.rules import air
from wardian.rules.amounts import exact_amount
from wardian.rules.errors import OutsideValidity

_WORDS: Final = {
    "saturation_vapour_pressure_kpa": ("saturation vapour pressure", "kPa", 3),
    "vapour_pressure_kpa": ("vapour pressure", "kPa", 3),
    "vapour_pressure_deficit_kpa": ("vapour pressure deficit", "kPa", 3),
    "leaf_vapour_pressure_deficit_kpa": ("leaf vapour pressure deficit", "kPa", 3),
    "dew_point_c": ("dew point", "°C", 2),
    "absolute_humidity_g_m3": ("absolute humidity", "g/m³", 2),
}


def air_of(temperature: str, humidity: str, leaf_temperature: str | None = None) -> dict[str, float | None]:
    """Return what follows from amounts as people write them, by name and unit.

    The dew point is None where air is so dry that it would lie below the range of the formula.

    Raises:
        ValueError: An amount is no amount, or outside the range in which the formula holds.
    """
    air_c = _amount("temperature", temperature, "temperature")
    humidity_pct = _amount("humidity", humidity, "relative humidity")
    result: dict[str, float | None] = {
        "saturation_vapour_pressure_kpa": air.saturation_vapour_pressure_kpa(air_c),
        "vapour_pressure_kpa": air.vapour_pressure_kpa(air_c, humidity_pct),
        "vapour_pressure_deficit_kpa": air.vapour_pressure_deficit_kpa(air_c, humidity_pct),
        "dew_point_c": _dew_point_c(air_c, humidity_pct),
        "absolute_humidity_g_m3": air.absolute_humidity_g_m3(air_c, humidity_pct),
    }
    if leaf_temperature is not None:
        leaf_c = _amount("leaf temperature", leaf_temperature, "temperature")
        result["leaf_vapour_pressure_deficit_kpa"] = air.leaf_vapour_pressure_deficit_kpa(
            leaf_c, air_c, humidity_pct
        )
    return result


def _dew_point_c(air_c: float, humidity_pct: float) -> float | None:
    try:
        return air.dew_point_c(air_c, humidity_pct)
    except OutsideValidity:
        return None


def air_words(result: Mapping[str, float | None]) -> Iterator[str]:
    """Yield a line for each value, with its unit; the dew point in both temperature units."""
    for name, (words, unit, decimals) in _WORDS.items():
        if name in result:
            value = result[name]
            if value is None:
                yield f"{words + ':':<30}     none in air so dry"
                continue
            fahrenheit = f"  ({value * 9 / 5 + 32:.1f} °F)" if unit == "°C" else ""
            yield f"{words + ':':<30}{value:8.{decimals}f} {unit}{fahrenheit}"


def _amount(name: str, written: str, dimension: str) -> float:
    try:
        return float(exact_amount(written, dimension))
    except ValueError as error:
        raise ValueError(f"{name}: {written!r} {error}") from error
