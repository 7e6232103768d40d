"""Figures of the library: each as it is written, with its reason and how sure that is."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from wardian.rules.amounts import NotAnAmount, Written, duration_ms, exact_amount, split_amount

#: How sure a figure of the library is.
MARKS: Final = ("common practice, no source", "from memory", "published")
#: What a figure of a condition may have beside the dimensions of amounts.
_DURATION: Final = "duration"
_NUMBER: Final = "number"


@dataclass(frozen=True, slots=True)
class Reasoned:
    """A value as it is written in the library, why it is so, and how sure that is."""

    text: str
    why: str
    mark: str

    def __str__(self) -> str:
        return f"{self.why} ({self.mark})"


@dataclass(frozen=True, slots=True)
class ConditionFigure:
    """A figure of a condition, and its dimension: ``duration``, ``number``, or one of ``units.UNITS``."""

    reasoned: Reasoned
    dimension: str

    @property
    def amount(self) -> float:
        """The figure in the dimension's own unit; ms for a duration."""
        return self.read(self.reasoned.text)

    def written(self, text: str | None) -> "ConditionFigure":
        """Return this figure with another value; the same where none is given."""
        return self if text is None else replace(self, reasoned=replace(self.reasoned, text=text))

    def read(self, text: Written) -> float:
        """Return what was written as a figure of this kind.

        Raises:
            NotAnAmount: It is none.
        """
        if self.dimension == _DURATION:
            return float(duration_ms(text))
        if self.dimension != _NUMBER:
            return float(exact_amount(text, self.dimension))
        number, unit = split_amount(text)
        if unit:
            raise NotAnAmount(f"has the unit {unit}", "a bare number is accepted")
        return float(number)


def reasoned(keys: Mapping[str, Any]) -> Reasoned:
    """Return a value of the library.

    Raises:
        ValueError: Something is missing, or its mark is none.
    """
    found = Reasoned(str(keys["value"]), keys["why"], keys["mark"])
    if found.mark.partition(": ")[0] not in MARKS or not found.why or keys.keys() != {"value", "why", "mark"}:
        raise ValueError(f"{found} needs value, why and mark, one of {', '.join(MARKS)}")
    return found


def condition_figure(keys: Mapping[str, Any]) -> ConditionFigure:
    """Return a figure of a condition; ``of`` names its dimension.

    Raises:
        ValueError: It cannot be used.
    """
    named = {name: value for name, value in keys.items() if name != "of"}
    figure = ConditionFigure(reasoned(named), keys["of"])
    figure.read(figure.reasoned.text)  # once, so that it cannot fail later
    return figure
