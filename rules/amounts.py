"""Amounts as people write them: a number and, mostly, a unit.

The rule of this file: what was written is kept exactly, as a fraction, until the very last step.
"""

import difflib
import re
from decimal import Decimal
from fractions import Fraction
from typing import Final, TypeAlias

from wardian.rules.documents import shown
from wardian.rules.units import UNITS, exactly, own_unit, unit_named

#: A number, or text such as ``75 °F``.
Written: TypeAlias = int | Decimal | str

_AMOUNT: Final = re.compile(
    r"\s*(?P<number>[+-]?(?:[0-9]{1,30}(?:\.[0-9]{0,30})?|\.[0-9]{1,30})(?:[eE][+-]?[0-9]{1,2})?)"
    r"\s*(?P<unit>(?:[^\W\d_]|[°%/]).{0,20}?)?\s*"
)
_DECIMAL_COMMA: Final = re.compile(r"\s*[+-]?[0-9]+,[0-9]+(?:\s|$|[^0-9,])")

#: A longer one is a slip of the pen.
LONGEST_DURATION_MS: Final = 366 * 86_400_000
_DURATION_STEPS: Final = ((86_400_000, "d"), (3_600_000, "h"), (60_000, "min"), (1_000, "s"), (1, "ms"))


class NotAnAmount(ValueError):
    """Text that is no amount of what was asked for: what is wrong, and what is accepted where that helps."""

    def __init__(self, problem: str, hint: str = "") -> None:
        """Keep both, and be both as text."""
        self.problem = problem
        self.hint = hint
        super().__init__(problem + (f"; {hint}" if hint else ""))


def split_amount(written: Written) -> tuple[str, str]:
    """Return the number and the unit, which is empty for a bare number.

    Raises:
        NotAnAmount: It is no number with a unit.
    """
    text = written if isinstance(written, str) else str(written)
    found = _AMOUNT.fullmatch(text.replace("\N{MINUS SIGN}", "-"))
    if found is None and _DECIMAL_COMMA.match(text):
        raise NotAnAmount("has a decimal comma", "write a decimal point")
    if found is None:
        raise NotAnAmount("is no number, nor a number with a unit")
    return found["number"], found["unit"] or ""


def exact_amount(written: Written, dimension: str) -> Fraction:
    """Return an amount in its dimension's own unit, exactly; a bare number is in that unit.

    Raises:
        NotAnAmount: It is no amount of this dimension.
    """
    number, name = split_amount(written)
    unit = unit_named(dimension, name or own_unit(dimension))
    if unit is None:
        problem = f"has the unit {shown(name)}, which measures no {dimension}"
        raise NotAnAmount(problem, accepted_units(dimension, name))
    try:
        return exactly(number, unit)
    except ValueError as error:
        raise NotAnAmount("is beyond anything measured") from error


def accepted_units(dimension: str, written: str = "") -> str:
    """Return what units of a dimension may be written, the one that is almost right first."""
    names = [name for name in UNITS[dimension] if name]
    near = difflib.get_close_matches(written, names, n=1, cutoff=0.5)
    return (f"did you mean {near[0]}? " if near else "") + f"accepted: {', '.join(names)}"


def duration_ms(written: Written) -> int:
    """Return a duration in milliseconds; a bare number is in seconds.

    Raises:
        NotAnAmount: It is no duration, is negative, longer than a year or not whole milliseconds.
    """
    milliseconds = exact_amount(written, "duration") * 1000
    if milliseconds.denominator != 1:
        raise NotAnAmount("is not a whole number of milliseconds")
    if not 0 <= milliseconds <= LONGEST_DURATION_MS:
        raise NotAnAmount("is too long or less than nothing", "0 s to 366 d is accepted")
    return int(milliseconds)


def duration_words(milliseconds: int) -> str:
    """Return a duration as people write it, in the largest unit that needs no decimals: ``90 min``."""
    size, unit = next(step for step in _DURATION_STEPS if milliseconds % step[0] == 0)
    return f"{milliseconds // size} {unit}" if milliseconds else "0 s"
