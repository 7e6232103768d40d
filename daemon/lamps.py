"""The table of lamps beside the rules: how many lux one µmol m⁻² s⁻¹ of each makes, and of which none is known.

The rule of this file: a table with a gap is a broken program, so every gap is refused.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Final

from wardian.rules.documents import Parse, nearest, shown

#: How sure a factor is.
MARKS: Final = ("published, read elsewhere", "computed", "from memory")
#: What is accepted instead of a lamp without a factor.
PPFD_INSTEAD: Final = (
    "a sensor that measures ppfd is accepted, or the lux_per_umol that you measured at this very lamp"
)


@dataclass(frozen=True, slots=True)
class LampFactor:
    """One kind of lamp: the illuminance of one µmol m⁻² s⁻¹ of its light, and between which other figures lie [lx]."""

    name: str
    lux_per_umol: float
    least: float
    most: float
    mark: str
    source: str

    def __post_init__(self) -> None:
        """Refuse a factor that cannot be used."""
        if not 0 < self.least <= self.lux_per_umol <= self.most or self.mark not in MARKS or not self.source:
            raise ValueError(
                f"{self} needs a factor between its limits, a source, and a mark: {', '.join(MARKS)}"
            )


@dataclass(frozen=True, slots=True)
class Lamps:
    """Every kind of lamp there is: those with a factor, and why the others have none."""

    factors: Mapping[str, LampFactor]
    refused: Mapping[str, str]

    def named(self, name: str) -> LampFactor:
        """Return the lamp of a name.

        Raises:
            NoSuchLamp: There is none, or it has no factor; with what is accepted instead.
        """
        found = self.factors.get(name)
        if found is not None:
            return found
        if name in self.refused:
            raise NoSuchLamp(self.refused[name], PPFD_INSTEAD)
        names = [*self.factors, *self.refused]
        raise NoSuchLamp(
            f"{shown(name)} is no lamp that is known", nearest(name, names) or "`wardian lamps` lists them"
        )


class NoSuchLamp(Exception):
    """A lamp whose lux cannot be turned into photons: why, and what is accepted instead."""

    def __init__(self, problem: str, hint: str) -> None:
        super().__init__(problem)
        self.problem = problem
        self.hint = hint


@cache
def known_lamps(parse: Parse) -> Lamps:
    """Return the lamps that come with the program, read and checked once.

    Raises:
        ValueError: The table has a gap; tests see to it that it has none.
    """
    table = parse((files("wardian.rules") / "lamps.yaml").read_bytes(), "lamps.yaml").value
    factors = {name: LampFactor(name, **_as_numbers(keys)) for name, keys in table["lamps"].items()}
    return Lamps(factors, dict(table["refused"]))


def _as_numbers(keys: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value if isinstance(value, str) else float(value) for name, value in keys.items()}
