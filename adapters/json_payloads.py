"""A JSON document as payload: RFC 6901 pointers say where its values and its time stand.

Nothing is guessed: neither a time from the size of a number, nor a number from a text.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from wardian.adapters.payloads import MOST_BYTES, Address, Target, shown
from wardian.adapters.strict_json import NOTHING, document, exact_number, found, number, tokens
from wardian.adapters.timestamps import floor_ms, parse_ms
from wardian.rules.ports import Decoded, Measured


@dataclass(frozen=True, slots=True)
class JsonForm:
    """The payload is a JSON document; each pointer leads to one number.

    A pointer that leads nowhere is no error, as a device may send only what changed; all of them
    leading nowhere is. Without ``time_pointer`` the time of the arrival is meant; ``time_form`` says how
    a time is written: ``rfc3339``, ``unix_s`` or ``unix_ms``.

    Raises:
        ValueError: A pointer is none, there is none, or the form of the time is unknown.
    """

    pointers: Mapping[str, Target]
    time_pointer: str | None = None
    time_form: str = "rfc3339"
    most_bytes: int = MOST_BYTES

    def __post_init__(self) -> None:
        if not self.pointers:
            raise ValueError("no pointer is given")
        for pointer in (*self.pointers, self.time_pointer or ""):
            tokens(pointer)
        if self.time_form not in TIME_FORMS:
            raise ValueError(f"time form {self.time_form!r} is unknown; accepted: {', '.join(TIME_FORMS)}")

    @property
    def targets(self) -> Mapping[str, Target]:
        """What it brings, by pointer."""
        return self.pointers

    def tells(self, name: str) -> frozenset[str]:  # noqa: ARG002 - other forms need it
        """Return nothing: the targets tell all that the topic does not."""
        return frozenset()

    def at(self, address: Address) -> "JsonPayloads":
        """Return what reads the documents of one address."""
        return JsonPayloads(self, address)


class JsonPayloads:
    """Reads the documents of one address."""

    def __init__(self, form: JsonForm, address: Address) -> None:
        self._form = form
        self._address = address
        self._meant = {pointer: address.meant(target) for pointer, target in form.pointers.items()}

    def decode(self, payload: bytes, received_ms: int | None) -> Decoded:
        """Return the readings of one document; never raises."""
        if received_ms is None and self._form.time_pointer is None:
            return Decoded()
        try:
            whole = document(payload, self._form.most_bytes)
            time_ms = self._time_ms(whole, received_ms)
            standing = self._standing(whole)
        except ValueError as error:
            return self._address.refused_whole(str(error), payload, received_ms, self._form.pointers)
        decoded = Decoded()
        for pointer, value in standing.items():
            self._take(decoded, pointer, value, time_ms)
        return decoded

    def _time_ms(self, whole: Any, received_ms: int | None) -> int | None:
        pointer = self._form.time_pointer
        if pointer is None:
            return received_ms
        written = found(whole, pointer)
        if written is NOTHING:
            raise ValueError(f"no time stands at {pointer or 'the top'}")
        return TIME_FORMS[self._form.time_form](written)

    def _standing(self, whole: Any) -> dict[str, Any]:
        values = {pointer: found(whole, pointer) for pointer in self._meant}
        standing = {pointer: value for pointer, value in values.items() if value is not NOTHING}
        if not standing:
            raise ValueError(f"nothing stands at {', '.join(self._meant)}")
        return standing

    def _take(self, decoded: Decoded, pointer: str, value: Any, time_ms: int | None) -> None:
        series, unit, why = self._meant[pointer]
        measured = 0.0
        try:
            measured = number(value)
        except ValueError as error:
            why = str(error)
        if why or series is None:
            raw = shown(repr(value).encode(errors="backslashreplace"))
            why = f"{pointer}: {why}" if pointer else why
            decoded.refused.append(self._address.refusal(why, raw, time_ms, series))
        else:
            decoded.measured.append(Measured(time_ms, *series, measured, unit))


def _rfc3339_ms(written: Any) -> int:
    if type(written) is not str:
        raise ValueError("the time is not a text of RFC 3339")
    return parse_ms(written)


#: How a document may write its time.
TIME_FORMS: Final[dict[str, Callable[[Any], int]]] = {
    "rfc3339": _rfc3339_ms,
    "unix_s": lambda written: floor_ms(exact_number(written)),
    "unix_ms": lambda written: floor_ms(exact_number(written), per_unit=1),
}
