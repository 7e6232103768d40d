"""Sensor Measurement Lists in JSON (SenML, RFC 8428): packs of records with base fields.

What makes the whole pack doubtful refuses it whole: a base field of the wrong kind, a field that must be
understood and is not, a newer version. A wrong record refuses itself alone.
"""

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any, Final, NamedTuple, TypeAlias

from wardian.adapters.payloads import MOST_BYTES, Address, Meant, Target, clipped, shown
from wardian.adapters.placeholders import PLACEHOLDERS, expression
from wardian.adapters.strict_json import NOTHING, document, exact_number, number, unique
from wardian.adapters.timestamps import floor_ms, floor_sum
from wardian.rules.ports import Decoded, Measured

#: Times below this are seconds from now, the others seconds since 1970 (RFC 8428, section 4.5.3).
ABSOLUTE_FROM_S: Final = 2**28
VERSION: Final = 10

_BASE_FIELDS: Final = frozenset({"bn", "bt", "bu", "bv", "bs", "bver"})
_FIELDS: Final = _BASE_FIELDS | {"n", "u", "v", "vs", "vb", "vd", "s", "t", "ut"}
_OTHER_VALUES: Final = {"vs": "a text", "vb": "true or false", "vd": "data"}
_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9:./_-]*")
_NAME_RULE: Final = "letters, digits and - : . / _, a letter or digit first (RFC 8428, section 4.5.1)"
_NAME_PART: Final = "[A-Za-z0-9._-]+"

#: Units that SenML names otherwise: its % is a ratio 0 to 1 (RFC 8428, section 12.1), /100 is a
#: percentage (RFC 8798).
_UNITS: Final = {"%": "/", "/100": "%"}

#: Names remembered for one address; a sender that makes names up costs no more memory.
_REMEMBERED: Final = 1000
_UNKNOWN: Final = Meant(None, "")


_Members: TypeAlias = tuple[tuple[str, Any], ...]


class _Base(NamedTuple):
    """The base fields in force at one record; ``time_ms`` is what they alone say, None if unknown."""

    name: str
    time_s: int | Decimal
    unit: str
    value: int | Decimal | None
    time_ms: int | None


@dataclass(frozen=True, slots=True)
class SenmlForm:
    """The payload is a SenML pack; ``names`` say which series each name belongs to.

    A name may hold ``{tray}`` and ``{quantity}``, each for a run of letters, digits and ``. _ -``. A name
    that is given None is known and left alone; a name that is not given is refused. A record without a
    unit has that of its target.

    Raises:
        ValueError: No name is given, or one that SenML has no letters for.
    """

    names: Mapping[str, Target | None]
    most_bytes: int = MOST_BYTES

    def __post_init__(self) -> None:
        if not self.names:
            raise ValueError("no name is given")
        for name in self.names:
            expression(name, _NAME_PART)
            if not _NAME.fullmatch(name.replace("{tray}", "x").replace("{quantity}", "x")):
                raise ValueError(f"{name!r} is no SenML name: {_NAME_RULE}")

    @property
    def targets(self) -> Mapping[str, Target]:
        """What it brings, by name."""
        return {name: target for name, target in self.names.items() if target is not None}

    def tells(self, name: str) -> frozenset[str]:
        """Return which placeholders a name holds."""
        return frozenset(placeholder for placeholder in PLACEHOLDERS if f"{{{placeholder}}}" in name)

    def at(self, address: Address) -> "SenmlPayloads":
        """Return what reads the packs of one address."""
        return SenmlPayloads(self, address)


class SenmlPayloads:
    """Reads the packs of one address."""

    def __init__(self, form: SenmlForm, address: Address) -> None:
        self._form = form
        self._address = address
        # A name that is written out goes before one with placeholders, wherever it stands.
        names = sorted(form.names, key=lambda name: "{" in name)
        self._patterns = [(re.compile(expression(name, _NAME_PART)), name) for name in names]
        self._known: dict[tuple[str, str], Meant] = {}

    def decode(self, payload: bytes, received_ms: int | None) -> Decoded:
        """Return the readings of one pack; never raises."""
        decoded = Decoded()
        try:
            base = _Base("", 0, "", None, received_ms)
            for members in _records(document(payload, self._form.most_bytes, in_pairs=True)):
                if self._took_plain(decoded, base, members):
                    continue
                record = unique(members)
                base = _followed(base, record, received_ms)
                if not record.keys() <= _BASE_FIELDS:
                    self._take(decoded, base, record, received_ms)
        except ValueError as error:
            return self._address.refused_whole(str(error), payload, received_ms, self._form.targets)
        return decoded

    def _took_plain(self, decoded: Decoded, base: _Base, members: _Members) -> bool:
        """Take a record of a known name, unit and number and nothing else: most are, and it is quick."""
        name = unit = value = NOTHING
        for label, item in members:
            if label == "v" and value is NOTHING:
                value = item
            elif label == "n" and name is NOTHING:
                name = item
            elif label == "u" and unit is NOTHING:
                unit = item
            else:
                return False
        if type(name) is not str or type(unit) is not str or base.value is not None:
            return False
        series, own_unit, _ = self._known.get((base.name + name, unit), _UNKNOWN)
        if series is None or base.time_ms is None:
            return False
        try:
            measured = number(value)
        except ValueError:
            return False
        decoded.measured.append(Measured(base.time_ms, series.tray, series.quantity, measured, own_unit))
        return True

    def _take(
        self, decoded: Decoded, base: _Base, record: Mapping[str, Any], received_ms: int | None
    ) -> None:
        series, time_ms, unit, value = None, base.time_ms, "", 0.0
        try:
            name, unit = base.name + _text(record, "n", ""), _text(record, "u", base.unit)
            series, unit, why = self._known.get((name, unit)) or self._meant(name, unit)
            if "t" in record:
                time_ms = _instant_ms(floor_sum(base.time_s, exact_number(record["t"])), received_ms)
            if time_ms is None or (series is None and not why):
                return
            value = _value(record, base.value)
        except ValueError as error:
            why = str(error)
        if why or series is None:
            raw = shown(json.dumps(record, default=str).encode())
            decoded.refused.append(self._address.refusal(why, raw, time_ms, series))
        else:
            decoded.measured.append(Measured(time_ms, *series, value, unit))

    def _meant(self, name: str, unit: str) -> Meant:
        """Return what a name with a unit means; no series and no reason where it is left alone."""
        for pattern, key in self._patterns:
            match = pattern.fullmatch(name)
            if match is not None:
                return self._remembered((name, unit), self._form.names[key], match.groupdict())
        return Meant(None, unit, _why_unknown(name, self._form.names))

    def _remembered(self, named: tuple[str, str], target: Target | None, said: Mapping[str, str]) -> Meant:
        unit = _UNITS.get(named[1], named[1])
        meant = Meant(None, unit)
        if target is not None:
            tray = said.get("tray", self._address.tray)
            quantity = said.get("quantity", self._address.quantity)
            meant = replace(self._address, tray=tray, quantity=quantity).meant(target, unit)
        if not meant.why:
            if len(self._known) >= _REMEMBERED:
                self._known.clear()
            self._known[named] = meant
        return meant


# ------------------------------------------------------------------------------------- records


def _records(pack: Any) -> list[_Members]:
    if type(pack) is not list or not pack:
        raise ValueError("a SenML pack is an array of one record or more")
    for record in pack:
        if type(record) is not tuple:
            raise ValueError("a SenML record is an object")
    return pack


def _followed(base: _Base, record: Mapping[str, Any], received_ms: int | None) -> _Base:
    """Return the base fields in force from a record on.

    Raises:
        ValueError: One of them is not of its kind, or the record must be understood and is not.
    """
    if not record.keys() <= _FIELDS:
        _refuse_not_understood(record)
    if _BASE_FIELDS.isdisjoint(record):
        return base
    if "bver" in record and not exact_number(record["bver"]) <= VERSION:
        raise ValueError(f"its version is newer than {VERSION}, the one understood")
    if "bs" in record:
        number(record["bs"])
    time_s, time_ms = base.time_s, base.time_ms
    if "bt" in record:
        time_s = exact_number(record["bt"])
        time_ms = _instant_ms(time_s, received_ms)
    value = exact_number(record["bv"]) if "bv" in record else base.value
    return _Base(_text(record, "bn", base.name), time_s, _text(record, "bu", base.unit), value, time_ms)


def _refuse_not_understood(record: Mapping[str, Any]) -> None:
    for label in record:
        if label.endswith("_"):
            raise ValueError(f"{clipped(label)} must be understood (RFC 8428, section 4.4) and is not")


def _text(record: Mapping[str, Any], label: str, otherwise: str) -> str:
    value = record.get(label, otherwise)
    if type(value) is not str:
        raise ValueError(f"{label} is not a text")
    return value


def _instant_ms(seconds: int | Decimal, received_ms: int | None) -> int | None:
    """Return the instant of a SenML time, None where it counts from a now that nobody knows."""
    if seconds >= ABSOLUTE_FROM_S:
        return floor_ms(seconds)
    return None if received_ms is None else received_ms + floor_ms(seconds)


def _value(record: Mapping[str, Any], base: int | Decimal | None) -> float:
    if not _OTHER_VALUES.keys().isdisjoint(record):
        raise ValueError(_why_no_number(record))
    if "v" in record:
        return number(record["v"] if base is None else base + exact_number(record["v"]))
    if base is None:
        raise ValueError("a sum alone is no reading" if "s" in record else "has no value")
    return number(base)


def _why_no_number(record: Mapping[str, Any]) -> str:
    present = [label for label in ("v", *_OTHER_VALUES) if label in record]
    if len(present) > 1:
        return f"has more than one value: {', '.join(present)}"
    return f"its value is {_OTHER_VALUES[present[0]]}, not a number"


def _why_unknown(name: str, known: Mapping[str, object]) -> str:
    if not name:
        return "has neither a name nor a base name"
    if not _NAME.fullmatch(name):
        return f"{clipped(name)} is no SenML name: {_NAME_RULE}"
    return f"name {clipped(name)} is not configured; known: {', '.join(list(known)[:12])}"
