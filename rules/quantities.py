"""The closed list of what is measured and what is derived from it.

A row says the quantity's own unit, in which it is computed and kept, and the range outside which a
reading is refused. A new quantity is one row here, and a formula where it is derived.
"""

import math
from dataclasses import dataclass
from typing import Final

from wardian.rules.units import difference_dimension, own_unit


@dataclass(frozen=True, slots=True)
class Quantity:
    """One quantity: its dimension, what is possible, and how people read it."""

    name: str
    words: str
    dimension: str
    possible_low: float
    possible_high: float
    decimals: int
    derived: bool = False

    @property
    def unit(self) -> str:
        """The quantity's own unit."""
        return own_unit(self.dimension)

    @property
    def difference(self) -> str:
        """The dimension of a difference of two of its values."""
        return difference_dimension(self.dimension)

    def why_impossible(self, value: float) -> str:
        """Return why no sensor can have measured this value, or nothing where one can."""
        if not math.isfinite(value):
            return f"{self.name} is not a finite number"
        if self.possible_low <= value <= self.possible_high:
            return ""
        return (
            f"{self.name} {_in_full(value)} {self.unit} is impossible: "
            f"{_in_full(self.possible_low)} to {_in_full(self.possible_high)} {self.unit} is accepted"
        )


def _in_full(value: float) -> str:
    """Return every digit of a number: rounded, 80.0000001 would read as the bound it is beyond."""
    return repr(float(value)).removesuffix(".0")


def _measured(
    name: str, words: str, dimension: str, possible: tuple[float, float], decimals: int
) -> Quantity:
    return Quantity(name, words, dimension, *possible, decimals)


def _derived(name: str, words: str, dimension: str, decimals: int) -> Quantity:
    return Quantity(name, words, dimension, -math.inf, math.inf, decimals, derived=True)


QUANTITIES: Final[dict[str, Quantity]] = {
    quantity.name: quantity
    for quantity in (
        _measured("air_temperature", "air under the cover", "temperature", (-40, 80), 1),
        _measured("medium_temperature", "medium", "temperature", (-40, 80), 1),
        _measured("leaf_temperature", "leaves", "temperature", (-40, 80), 1),
        _measured("relative_humidity", "humidity under the cover", "relative humidity", (0, 105), 0),
        _measured("illuminance", "light", "illuminance", (0, 200_000), 0),
        _measured("ppfd", "photon flux density", "photon flux density", (0, 3_000), 0),
        _measured("medium_moisture", "water in the medium", "share", (0, 120), 0),
        _measured("tray_mass", "tray mass", "mass", (0, 1_000_000), 0),
        _measured("water_ph", "pH of the water", "acidity", (0, 14), 1),
        _measured("water_ec", "conductivity of the water", "conductivity", (0, 20), 2),
        _derived("vapour_pressure_deficit", "vapour pressure deficit", "pressure", 2),
        _derived("leaf_vapour_pressure_deficit", "leaf vapour pressure deficit", "pressure", 2),
        _derived("dew_point", "dew point", "temperature", 1),
        _derived("light_hours", "light in the last 24 h", "hours", 1),
        _derived("daily_light_integral", "daily light integral", "daily photons", 1),
        _derived("water_lost", "water lost", "share", 0),
    )
}

#: A humidity chip reads a little above saturation when it is wet; it is judged as saturated.
SATURATION_PCT: Final = 100.0

LEAF_DEFICIT: Final = "leaf_vapour_pressure_deficit"
#: Derived quantity → the measured ones it follows from, in the order of its formula, where a tray's plan says
#: nothing else. Light hours are not here: whichever light the lamp's rule names. What a tray weighs full and empty is
#: no series.
DERIVED_FROM: Final = {
    "vapour_pressure_deficit": ("air_temperature", "relative_humidity"),
    "leaf_vapour_pressure_deficit": ("leaf_temperature", "air_temperature", "relative_humidity"),
    "dew_point": ("air_temperature", "relative_humidity"),
    "daily_light_integral": ("ppfd",),
    "water_lost": ("tray_mass",),
}
