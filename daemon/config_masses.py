"""What a tray weighs full and dry, as its owner writes it."""

from collections.abc import Callable
from typing import Annotated, Any, Self

from pydantic import PlainValidator, model_validator

from wardian.daemon.config_types import amount_of, refused
from wardian.daemon.written import Section, key, wrong
from wardian.rules.amounts import NotAnAmount, exact_amount
from wardian.rules.fill import estimated_dry_g
from wardian.rules.plans import Masses
from wardian.rules.quantities import QUANTITIES

#: More than any tray: what the quantity of that name can be at most. [g]
_MOST_G = QUANTITIES["tray_mass"].possible_high


def _some(dimension: str, most: float) -> Callable[[Any], float]:
    def read(value: Any) -> float:
        amount = float(amount_of(value, dimension))
        if not 0 < amount <= most:
            refused(value, f"{value} is too {'little' if amount <= 0 else 'much'}")
        return amount

    return read


Mass = Annotated[float, PlainValidator(_some("mass", _MOST_G))]
Volume = Annotated[float, PlainValidator(_some("volume", _MOST_G))]


class MassKeys(Section):
    """What a tray weighs on its balance, cover included, and whether that is taken anew after a watering."""

    saturated: Mass | None = key("a mass such as 3000 g, watered through and drained for an hour,", None)
    dry: Mass | None = key("a mass such as 1200 g, with the medium dry,", None)
    volume: Volume | None = key(
        "a volume of peat and perlite such as 9 l, where nobody weighed it dry,", None
    )
    empty: Mass | None = key("a mass such as 500 g, of tray and cover without medium, beside a volume,", None)
    retake: bool = key(
        "true or false", True, "cuttings grow and medium settles: full is what it weighs after a watering"
    )

    @model_validator(mode="after")
    def _belong_together(self) -> Self:
        if self.dry is not None and self.volume is not None:
            raise wrong("has both dry and volume", "a volume is for a tray that nobody weighed dry")
        if self.empty is not None and self.volume is None:
            raise wrong("has empty without volume", "empty is accepted beside a volume only")
        if (self.saturated is None) != (self.dry is None and self.volume is None):
            raise wrong("says half of what is needed", "saturated with dry or with volume is accepted")
        masses = self.masses(0)
        if masses and not masses.dry_g < masses.saturated_g:
            raise wrong(not_below(masses), "a dry mass below the saturated one is accepted")
        return self

    def masses(self, from_ms: int) -> Masses | None:
        """Return what is written as masses from an instant on, or None where nothing is."""
        if self.saturated is None:
            return None
        if self.dry is not None:
            return Masses(from_ms, self.saturated, self.dry)
        assert self.volume is not None
        return Masses(from_ms, self.saturated, estimated_dry_g(self.volume, self.empty or 0.0), True)


def mass_g(option: str, text: str) -> float:
    """Return the mass that an option of a command says, in g.

    Raises:
        ValueError: It is none, or no tray weighs so much.
    """
    try:
        mass = float(exact_amount(text, "mass"))
    except NotAnAmount as error:
        raise ValueError(f"{option} {text!r} {error}") from error
    if not 0 < mass <= _MOST_G:
        raise ValueError(f"{option} {text}: more than 0 g and at most {_MOST_G / 1000:g} kg is accepted")
    return mass


def not_below(masses: Masses) -> str:
    """Return in words that a dry mass is not below the saturated one."""
    estimated = ", estimated from the volume," if masses.is_estimated else ""
    return f"dry {masses.dry_g:g} g{estimated} is not below saturated {masses.saturated_g:g} g"
