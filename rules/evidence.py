"""What was seen that speaks for something: words with places for figures, which people read in their own units.

The rule of this file: figures are kept as they were computed; only who prints them knows °F, zones and digits.
"""

from typing import Final, NamedTuple

#: What a figure is: a value or a difference of a quantity, its change in an hour, a length of time or an
#: instant in milliseconds, or a bare number.
VALUE: Final = "value"
DIFFERENCE: Final = "difference"
SLOPE: Final = "slope"
SPAN: Final = "span"
MOMENT: Final = "moment"
NUMBER: Final = "number"


class Figure(NamedTuple):
    """One figure; ``quantity`` is empty for times and bare numbers, a value is in the quantity's own unit."""

    kind: str
    number: float
    quantity: str = ""


class Evidence(NamedTuple):
    """A clause without capital and full stop, with ``{}`` for each figure in order."""

    words: str
    figures: tuple[Figure, ...] = ()


def value(quantity: str, number: float) -> Figure:
    """Return a value of a quantity, in its own unit."""
    return Figure(VALUE, float(number), quantity)


def difference(quantity: str, number: float) -> Figure:
    """Return a difference of two values of a quantity, in the unit of its differences."""
    return Figure(DIFFERENCE, float(number), quantity)


def slope(quantity: str, number_per_h: float) -> Figure:
    """Return how much a quantity changes in an hour."""
    return Figure(SLOPE, float(number_per_h), quantity)


def span(milliseconds: float) -> Figure:
    """Return a length of time, in milliseconds."""
    return Figure(SPAN, float(milliseconds))


def moment(time_ms: int) -> Figure:
    """Return an instant, in milliseconds since 1970 UTC."""
    return Figure(MOMENT, float(time_ms))


def number(count: float) -> Figure:
    """Return a bare number."""
    return Figure(NUMBER, float(count))
