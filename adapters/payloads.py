"""What the bytes of a message mean: where its values belong, and the simplest form, a plain number.

JSON documents and SenML packs have files of their own. A form is settings; what reads the messages of one
address is made from it once. Nothing here raises because of a payload: what is no reading is among the
refused, with the reason. A value of unknown age is no reading either: it is left out.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, NamedTuple, Protocol

from wardian.rules.ports import Decoded, Measured, Refused, Stranger
from wardian.rules.quantities import QUANTITIES, Quantity
from wardian.rules.readings import Series
from wardian.rules.units import UNITS, unit_named

MOST_BYTES: Final = 4096
_LONGEST_NUMBER_BYTES: Final = 64
_SHOWN_BYTES: Final = 200
_NUMBER: Final = re.compile(rb"[+-]?[0-9]+(?:\.[0-9]+)?(?:[eE][+-]?[0-9]+)?")
_ASCII_SPACE: Final = b" \t\r\n\v\f"


@dataclass(frozen=True, slots=True)
class Target:
    """Which series a value belongs to; what is None is told by the message's own address or name.

    Raises:
        ValueError: The quantity is unknown or derived, or the unit is none of the quantity.
    """

    quantity: str | None = None
    tray: str | None = None
    unit: str = ""

    def __post_init__(self) -> None:
        if self.quantity is not None:
            known_quantity(self.quantity)
            fitting_unit(self.quantity, self.unit)
        elif self.unit and not any(_fits(quantity, self.unit) for quantity in QUANTITIES.values()):
            raise ValueError(f"unit {clipped(self.unit)} is that of no quantity")


class Meant(NamedTuple):
    """What a value stands for: a series and a unit, or why it is none."""

    series: Series | None
    unit: str
    why: str = ""


@dataclass(frozen=True, slots=True)
class Address:
    """Where messages come from, what that tells of tray and quantity, and which trays there are."""

    source: str
    trays: frozenset[str]
    tray: str | None = None
    quantity: str | None = None

    def meant(self, target: Target, unit: str = "") -> Meant:
        """Return what a value of this target stands for here; ``unit`` is the sender's own, if any."""
        tray, quantity = target.tray or self.tray, target.quantity or self.quantity
        if tray not in self.trays:
            known = ", ".join(sorted(self.trays)[:12])
            return Meant(None, unit, f"unknown tray {clipped(tray)}; known: {known}")
        try:
            series = Series(tray, known_quantity(quantity or ""))
        except ValueError as error:
            return Meant(None, unit, str(error))
        try:
            return Meant(series, fitting_unit(series.quantity, unit or target.unit))
        except ValueError as error:
            return Meant(series, unit, str(error))

    def refusal(
        self, why: str, raw: str, time_ms: int | None = None, series: Series | None = None
    ) -> Refused:
        """Return what is kept of a value that is no reading; without a series it is of nobody we know."""
        if series is None:
            return Stranger(self.source, why, raw, time_ms)
        return Refused(self.source, why, raw, time_ms, *series)

    def refused_whole(
        self, why: str, payload: bytes, received_ms: int | None, targets: Mapping[str, Target]
    ) -> Decoded:
        """Return the outcome of a payload of which nothing can be used.

        It casts doubt on a series only where no other can be meant.
        """
        series = self.meant(next(iter(targets.values()))).series if len(targets) == 1 else None
        tray, quantity = series or (None, None)
        return Decoded(refused=[Refused(self.source, why, shown(payload), received_ms, tray, quantity)])


class Payloads(Protocol):
    """Reads the payloads of one address."""

    def decode(self, payload: bytes, received_ms: int | None) -> Decoded:
        """Return the readings of one payload; never raises.

        ``received_ms`` is None where the arrival tells nothing of the age, as of a retained message.
        """


class Form(Protocol):
    """How payloads of one kind are read."""

    @property
    def targets(self) -> Mapping[str, Target]:
        """What they bring, by the name it has in the payload."""

    @property
    def most_bytes(self) -> int:
        """How long a payload may be."""

    def tells(self, name: str) -> frozenset[str]:
        """Return which of ``tray`` and ``quantity`` the payload itself tells with this name."""

    def at(self, address: Address) -> Payloads:
        """Return what reads the payloads of one address."""


# ------------------------------------------------------------------------------ a plain number


@dataclass(frozen=True, slots=True)
class NumberForm:
    """The payload is one decimal number as text. It carries no time: that of the arrival is meant."""

    target: Target
    most_bytes: int = _LONGEST_NUMBER_BYTES

    @property
    def targets(self) -> Mapping[str, Target]:
        """What it brings: one thing without a name."""
        return {"": self.target}

    def tells(self, name: str) -> frozenset[str]:  # noqa: ARG002 - other forms need it
        """Return nothing: a number tells only itself."""
        return frozenset()

    def at(self, address: Address) -> "NumberPayloads":
        """Return what reads the numbers of one address."""
        return NumberPayloads(self, address)


class NumberPayloads:
    """Reads the numbers of one address."""

    def __init__(self, form: NumberForm, address: Address) -> None:
        self._form = form
        self._address = address
        self._series, self._unit, self._why = address.meant(form.target)

    def decode(self, payload: bytes, received_ms: int | None) -> Decoded:
        """Return the reading of one payload; never raises."""
        if received_ms is None:
            return Decoded()
        try:
            value = _plain_number(payload, self._form.most_bytes)
            why = self._why
        except ValueError as error:
            why = str(error)
        if why or self._series is None:
            return Decoded([], [self._address.refusal(why, shown(payload), received_ms, self._series)])
        return Decoded([Measured(received_ms, *self._series, value, self._unit)], [])


def _plain_number(payload: bytes, most_bytes: int) -> float:
    text = payload.strip(_ASCII_SPACE)
    if len(payload) > most_bytes or _NUMBER.fullmatch(text) is None:
        raise ValueError("is not a plain number like 21.5")
    value = float(text)
    if not math.isfinite(value):
        raise ValueError("the number is too large")
    return value


# --------------------------------------------------------------------------------------- words


def known_quantity(name: str) -> str:
    """Return the name of a quantity that sensors measure.

    Raises:
        ValueError: There is none of this name, or it is derived.
    """
    quantity = QUANTITIES.get(name)
    if quantity is not None and not quantity.derived:
        return name
    why = "unknown quantity" if quantity is None else "no sensor measures"
    known = ", ".join(one.name for one in QUANTITIES.values() if not one.derived)
    raise ValueError(f"{why} {clipped(name)}; known: {known}")


def _fits(quantity: Quantity, unit: str) -> bool:
    return not quantity.derived and unit_named(quantity.dimension, unit) is not None


def fitting_unit(quantity: str, unit: str) -> str:
    """Return a unit in which this quantity may be written; empty is its own.

    Raises:
        ValueError: It is none of this quantity; the message says which are.
    """
    dimension = QUANTITIES[quantity].dimension
    if unit and unit_named(dimension, unit) is None:
        accepted = ", ".join(name for name in UNITS[dimension] if name)
        raise ValueError(f"unit {clipped(unit)} is none of {quantity}; accepted: {accepted}")
    return unit


def shown(payload: bytes) -> str:
    """Return the beginning of a payload so that a line of text can hold it."""
    text = payload[:_SHOWN_BYTES].decode(errors="backslashreplace")
    if text.isprintable():
        return text
    return "".join(
        letter if letter.isprintable() else letter.encode("unicode_escape").decode() for letter in text
    )


def clipped(text: str | None) -> str:
    """Return a name from outside as an error may quote it: short, in quotes, on one line."""
    return repr(text if text is None or len(text) <= 60 else text[:60] + "…")
