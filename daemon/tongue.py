"""How a site reads numbers and times: in its own units and zone, with sensible digits."""

import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Final, Self

from wardian.daemon.config import Site
from wardian.rules.crops import Band, wall_time
from wardian.rules.evidence import DIFFERENCE, MOMENT, SLOPE, SPAN, VALUE, Evidence, Figure
from wardian.rules.quantities import QUANTITIES, Quantity
from wardian.rules.uncertainty import is_saturated

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Tongue:
    """How a site reads numbers and times: its zone, and °F or °C."""

    zone: tzinfo
    fahrenheit: bool = False

    @classmethod
    def of(cls, site: Site) -> Self:
        """Return how a site reads them, as its configuration says."""
        return cls(site.zone, fahrenheit=site.units == "US")

    def value(self, quantity: Quantity, value: float) -> str:
        """Return a value in the unit people here use, with sensible digits."""
        if self.fahrenheit and quantity.dimension == "temperature":
            return f"{value * 9 / 5 + 32:z.{quantity.decimals}f} °F"
        return f"{value:z.{quantity.decimals}f} {quantity.unit}"

    def difference(self, quantity: Quantity, difference: float) -> str:
        """Return a difference of two values; of temperatures in °F or K."""
        if quantity.dimension != "temperature":
            return self.value(quantity, difference)
        if self.fahrenheit:
            return f"{difference * 9 / 5:.{quantity.decimals}f} °F"
        return f"{difference:.{quantity.decimals}f} K"

    def uncertain(
        self, quantity: Quantity, value: float, uncertainty: float | None, none_at_all: str = "saturated"
    ) -> str:
        """Return a value as ``0.26 ± 0.09 kPa``; a deficit that may be none as ``saturated (below 0.14 kPa)``.

        The uncertainty is the expanded one; the bound is where the interval ends that it spans.
        """
        if not uncertainty:
            return self.value(quantity, value)
        if is_saturated(quantity.name, value, uncertainty):
            steps = 10**quantity.decimals
            # What lies a hair above a step for being computed in binary is that step.
            bound = math.ceil(round((value + uncertainty) * steps, 6)) / steps
            return f"{none_at_all} (below {self.value(quantity, bound)})"
        number, _, unit = self.value(quantity, value).partition(" ")
        spread, _, _ = self.difference(quantity, max(uncertainty, 10**-quantity.decimals)).partition(" ")
        return f"{number} ± {spread} {unit}"

    def band(self, quantity: Quantity, band: Band | None) -> str:
        """Return a band as ``68.0 to 77.0 °F``, ``at least 90 %`` or ``at most 0.40 kPa``."""
        low, high = (band.threshold(name) if band else None for name in ("low", "high"))
        if low is not None and high is not None:
            number, _, _ = self.value(quantity, low).partition(" ")
            return f"{number} to {self.value(quantity, high)}"
        if low is not None:
            return f"at least {self.value(quantity, low)}"
        return f"at most {self.value(quantity, high)}" if high is not None else "no band"

    def evidence(self, evidence: Evidence) -> str:
        """Return what was seen as a clause, its figures in the units people here use."""
        return evidence.words.format(*map(self._figure, evidence.figures))

    def _figure(self, figure: Figure) -> str:
        kind, number, name = figure
        if kind == SPAN:
            return span_words(round(number))
        if kind == MOMENT:
            return self.moment(round(number))
        if kind == VALUE:
            return self.value(QUANTITIES[name], number)
        if kind in (DIFFERENCE, SLOPE):
            return self.difference(QUANTITIES[name], number) + (" an hour" if kind == SLOPE else "")
        return f"{number:g}"

    def moment(self, time_ms: int) -> str:
        """Return an instant as the clock at the bench shows it: ``Wed 4 Mar 06:12``."""
        local = wall_time(time_ms, self.zone)
        return f"{local:%a} {local.day} {local:%b %H:%M}"


def by_factor(lux_per_umol: float | None) -> str:
    """Return what is to be said of photons that are made of lux, nothing where they are measured."""
    return "" if lux_per_umol is None else f" (an estimate by {lux_per_umol:g} lx per µmol)"


def span_words(milliseconds: int) -> str:
    """Return a span of time in the words of a person: ``40 s``, ``58 min``, ``2 h 10 min``, ``3 days``."""
    minutes = round(milliseconds / 60_000)
    if milliseconds < 90_000:
        return f"{round(milliseconds / 1000)} s"
    if minutes < 120:
        return f"{minutes} min"
    if minutes < 48 * 60:
        return f"{minutes // 60} h {minutes % 60} min".removesuffix(" 0 min")
    return f"{round(minutes / 1440)} days"


def ms_of(text: str) -> int:
    """Return the instant that ``utc_text`` gave as text."""
    return round(datetime.fromisoformat(text).timestamp() * 1000)


def utc_text(time_ms: int) -> str:
    """Return an instant as RFC 3339 in UTC with milliseconds."""
    return (
        (_EPOCH + timedelta(milliseconds=time_ms)).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    )
