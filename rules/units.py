"""Units that people and sensors write, and the way to each quantity's own unit.

Conversion is exact (rational arithmetic) and is rounded once, to the nearest binary64: 80 °F less
1 °F is the same number whichever way it was written.
"""

import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Final


@dataclass(frozen=True, slots=True)
class Unit:
    """How one written unit becomes the dimension's own: (x + offset) · factor."""

    factor: Fraction = Fraction(1)
    offset: Fraction = Fraction(0)

    @property
    def is_whole(self) -> bool:
        """Whether the unit is a small whole number of own units, such as kg of g."""
        return not self.offset and self.factor.denominator == 1 and self.factor.numerator <= 1_000_000


_OWN = Unit()
_FAHRENHEIT_FACTOR = Fraction(5, 9)

#: What a person or a sensor writes for a number. An exponent of more digits would cost time and memory.
_DECIMAL: Final = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
#: Characters of a number; a binary64 needs 24 of them.
_LONGEST: Final = 1000
#: No quantity comes near it, and a binary64 still holds it with room.
_ENORMOUS: Final = 10**100

#: Dimension → written form → unit. The first written form of a dimension is its own unit.
UNITS: Final[dict[str, dict[str, Unit]]] = {
    "temperature": {
        "°C": _OWN,
        "Cel": _OWN,
        "degC": _OWN,
        "°F": Unit(_FAHRENHEIT_FACTOR, Fraction(-32)),
        "degF": Unit(_FAHRENHEIT_FACTOR, Fraction(-32)),
        "K": Unit(offset=Fraction("-273.15")),
    },
    "temperature difference": {
        "K": _OWN,
        "°C": _OWN,
        "Cel": _OWN,
        "degC": _OWN,
        "°F": Unit(_FAHRENHEIT_FACTOR),
        "degF": Unit(_FAHRENHEIT_FACTOR),
    },
    "relative humidity": {"%": _OWN, "%RH": _OWN, "/": Unit(Fraction(100))},
    "share": {"%": _OWN, "/": Unit(Fraction(100))},
    "pressure": {"kPa": _OWN, "hPa": Unit(Fraction(1, 10)), "Pa": Unit(Fraction(1, 1000))},
    "illuminance": {"lx": _OWN, "klx": Unit(Fraction(1000))},
    "photon flux density": {
        "µmol m⁻² s⁻¹": _OWN,
        "umol/m2/s": _OWN,
        "µmol/m2/s": _OWN,
        "µmol/m²/s": _OWN,
    },
    "daily photons": {"mol m⁻² d⁻¹": _OWN, "mol/m2/d": _OWN, "mol/m²/d": _OWN},
    "mass": {"g": _OWN, "kg": Unit(Fraction(1000))},
    "volume": {"ml": _OWN, "l": Unit(Fraction(1000))},
    "acidity": {"pH": _OWN, "": _OWN},
    "conductivity": {
        "mS/cm": _OWN,
        "µS/cm": Unit(Fraction(1, 1000)),
        "uS/cm": Unit(Fraction(1, 1000)),
        "S/m": Unit(Fraction(10)),
    },
    "hours": {
        "h": _OWN,
        "min": Unit(Fraction(1, 60)),
        "s": Unit(Fraction(1, 3600)),
    },
    "duration": {
        "s": _OWN,
        "ms": Unit(Fraction(1, 1000)),
        "min": Unit(Fraction(60)),
        "h": Unit(Fraction(3600)),
        "d": Unit(Fraction(86400)),
    },
    "length": {
        "mm": _OWN,
        "cm": Unit(Fraction(10)),
        "m": Unit(Fraction(1000)),
        "in": Unit(Fraction(254, 10)),
    },
    "concentration": {
        "mg/l": _OWN,
        "mg/kg": _OWN,
        "ppm": _OWN,
        "g/l": Unit(Fraction(1000)),
        "g/kg": Unit(Fraction(1000)),
        "%": Unit(Fraction(10_000)),
    },
}

#: What a difference of each dimension is measured in, where that is not the dimension itself.
DIFFERENCE_OF: Final = {"temperature": "temperature difference"}


def own_unit(dimension: str) -> str:
    """Return the unit in which a dimension is computed and kept."""
    return next(iter(UNITS[dimension]))


def difference_dimension(dimension: str) -> str:
    """Return the dimension of a difference of two values: a deadband, a step, an error."""
    return DIFFERENCE_OF.get(dimension, dimension)


def unit_named(dimension: str, written: str) -> Unit | None:
    """Return the unit written so, or None where this dimension knows no such unit.

    The Greek letter mu and the micro sign are one.
    """
    return UNITS[dimension].get(written.replace("\N{GREEK SMALL LETTER MU}", "µ"))


def exactly(value: float | str, unit: Unit) -> Fraction:
    """Return a value in its dimension's own unit, exactly as it was written.

    Args:
        value: The text as written, or a float, which stands for its shortest decimal form.
        unit: The unit it was written in.

    Raises:
        ValueError: The text is not a finite decimal number, or is beyond anything measured.
    """
    text = value.strip() if isinstance(value, str) else repr(value)
    if len(text) > _LONGEST or not _DECIMAL.fullmatch(text):
        raise ValueError(f"{text[:40]!r} is not a finite decimal number")
    own = (Fraction(text) + unit.offset) * unit.factor
    if abs(own) >= _ENORMOUS:
        raise ValueError(f"{text[:40]!r} is beyond anything measured")
    return own


def in_own_unit(value: float | str, unit: Unit) -> float:
    """Return a value in its dimension's own unit, rounded once.

    Raises:
        ValueError: The text is not a finite decimal number, or is beyond anything measured.
    """
    if unit is _OWN and isinstance(value, float) and -_ENORMOUS < value < _ENORMOUS:
        return value + 0.0  # nothing to convert; 0.0 takes the sign off a negative zero
    if isinstance(value, float) and unit.is_whole and -_ENORMOUS < value < _ENORMOUS:
        # As exact as a fraction and a good deal quicker: a float has at most 17 digits.
        return float(Decimal(repr(value)) * unit.factor.numerator) + 0.0
    return float(exactly(value, unit))
