"""What a payload means, read the naive way: the standards word by word, with exact fractions and no hurry.

Held against the decoders under test. What it must not mean (RFC 8259, RFC 6901, RFC 8428 and our own bounds)
means nothing here at all; why is not said.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any, NamedTuple, TypeAlias

from reference_json import Members, document, standing, unique, written_number
from reference_times import NoMeaning, instant_ms, within_years

AHEAD_MS = 5 * 60_000
#: SenML times below 2**28 are relative to now (RFC 8428, section 4.5.3).
ABSOLUTE_FROM_S = 2**28
#: Quantity → what is possible, in its own unit.
POSSIBLE: dict[str, tuple[int, int]] = {
    "air_temperature": (-40, 80),
    "medium_temperature": (-40, 80),
    "leaf_temperature": (-40, 80),
    "relative_humidity": (0, 105),
    "illuminance": (0, 200_000),
    "ppfd": (0, 3_000),
    "medium_moisture": (0, 120),
    "tray_mass": (0, 1_000_000),
    "water_ph": (0, 14),
    "water_ec": (0, 20),
}
_TEMPERATURES: dict[str, tuple[Fraction, Fraction]] = {
    **dict.fromkeys(("°C", "Cel", "degC"), (Fraction(1), Fraction(0))),
    **dict.fromkeys(("°F", "degF"), (Fraction(5, 9), Fraction(-160, 9))),
    "K": (Fraction(1), Fraction(-27315, 100)),
}
_SHARES = {"%": (Fraction(1), Fraction(0)), "/": (Fraction(100), Fraction(0))}
#: Quantity → written unit → factor and offset to its own unit; an empty unit is its own everywhere.
UNITS: dict[str, dict[str, tuple[Fraction, Fraction]]] = {
    "air_temperature": _TEMPERATURES,
    "medium_temperature": _TEMPERATURES,
    "leaf_temperature": _TEMPERATURES,
    "relative_humidity": {**_SHARES, "%RH": (Fraction(1), Fraction(0))},
    "illuminance": {"lx": (Fraction(1), Fraction(0)), "klx": (Fraction(1000), Fraction(0))},
    "ppfd": dict.fromkeys(
        ("µmol m⁻² s⁻¹", "umol/m2/s", "µmol/m2/s", "µmol/m²/s"), (Fraction(1), Fraction(0))
    ),
    "medium_moisture": _SHARES,
    "tray_mass": {"g": (Fraction(1), Fraction(0)), "kg": (Fraction(1000), Fraction(0))},
    "water_ph": {"pH": (Fraction(1), Fraction(0))},
    "water_ec": {
        "mS/cm": (Fraction(1), Fraction(0)),
        **dict.fromkeys(("µS/cm", "uS/cm"), (Fraction(1, 1000), Fraction(0))),
        "S/m": (Fraction(10), Fraction(0)),
    },
}


class Meaning(NamedTuple):
    """One reading as it must be kept."""

    time_ms: int
    tray: str
    quantity: str
    value: float


#: Quantity, unit and tray of a value; what is None or empty, its name or the topic tells.
Target: TypeAlias = tuple[str | None, str, str | None]


@dataclass(frozen=True)
class Telling:
    """What one subscription of the bench says of its payloads: the form, and where values belong.

    ``targets`` are by pointer or by SenML name: quantity and unit, each None or empty where the topic or the
    name tells it, or None for a name that is left alone.
    """

    form: str
    targets: Mapping[str, Target | None]
    time_pointer: str | None = None
    time_form: str = "rfc3339"


@dataclass
class Bench:
    """Which trays there are, and what time it is."""

    trays: frozenset[str]
    now_ms: int = 0
    #: Whether something was left alone on purpose: neither read nor refused.
    left_alone: bool = field(default=False)

    def kept(
        self, time_ms: int | None, tray: str | None, quantity: str | None, unit: str, number: Fraction
    ) -> list[Meaning]:
        """Return the reading of one number, or nothing where it cannot be true."""
        if tray not in self.trays or quantity not in POSSIBLE or time_ms is None:
            return []
        if time_ms > self.now_ms + AHEAD_MS:
            return []
        factor, offset = UNITS[quantity].get(unit.replace("μ", "µ"), (None, None)) if unit else (1, 0)
        if factor is None or offset is None:
            return []
        try:
            # What is written is a binary64 first; that stands for its shortest decimal form.
            exact = Fraction(repr(float(number)))
            own = float(exact if unit == "" or (factor == 1 and not offset) else exact * factor + offset)
        except (OverflowError, ValueError):
            return []
        low, high = POSSIBLE[quantity]
        assert tray is not None
        return [Meaning(time_ms, tray, quantity, own + 0.0)] if low <= own <= high else []


def readings(
    telling: Telling, payload: bytes, received_ms: int | None, topic: Mapping[str, str], bench: Bench
) -> list[Meaning]:
    """Return every reading of a payload, in its order; none where it means nothing.

    ``received_ms`` is None for a retained message, whose age nobody knows.
    """
    bench.left_alone = False
    read = {"number": _of_number, "json": _of_document, "senml": _of_pack}[telling.form]
    try:
        return read(_Heard(telling, payload, received_ms, topic, bench))
    except NoMeaning:
        return []


class _Heard(NamedTuple):
    """One payload, and all that tells what it means."""

    telling: Telling
    payload: bytes
    received_ms: int | None
    topic: Mapping[str, str]
    bench: Bench

    def kept(
        self, target: Target, value: Fraction, time_ms: int | None, said: Mapping[str, str] | None = None
    ) -> list[Meaning]:
        """Return the reading of a number of a target; what it leaves open, its name says, or else the topic."""
        quantity, unit, tray = target
        said = {**self.topic, **(said or {})}
        return self.bench.kept(
            time_ms, tray or said.get("tray"), quantity or said.get("quantity"), unit, value
        )


def _of_number(heard: _Heard) -> list[Meaning]:
    if heard.received_ms is None:
        heard.bench.left_alone = True
        return []
    if len(heard.payload) > 64:
        raise NoMeaning
    number = written_number(heard.payload.strip(b" \t\r\n\v\f"))
    return heard.kept(heard.telling.targets[""] or (None, "", None), number, heard.received_ms)


# ------------------------------------------------------------------------------------------ JSON


def _of_document(heard: _Heard) -> list[Meaning]:
    telling, time_ms = heard.telling, heard.received_ms
    if time_ms is None and telling.time_pointer is None:
        heard.bench.left_alone = True
        return []
    whole = document(heard.payload)
    if telling.time_pointer is not None:
        time_ms = instant_ms(standing(whole, telling.time_pointer), telling.time_form)
    found: list[Meaning] = []
    for pointer, target in telling.targets.items():
        value = standing(whole, pointer)
        if isinstance(value, Fraction) and target is not None:
            found += heard.kept(target, value, time_ms)
    return found


# ----------------------------------------------------------------------------------------- SenML

_LETTERS = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789")
_BASES = ("bn", "bt", "bu", "bv", "bs", "bver")
#: Units that SenML names otherwise (RFC 8428, section 12.1; RFC 8798).
_OTHERWISE = {"%": "/", "/100": "%"}


def _of_pack(heard: _Heard) -> list[Meaning]:
    pack = document(heard.payload, Members)
    if not isinstance(pack, list) or not pack or not all(isinstance(record, Members) for record in pack):
        raise NoMeaning
    base: dict[str, Any] = {}
    found: list[Meaning] = []
    heard.bench.left_alone = True
    for members in pack:
        record = unique(members.pairs)  # what stands in a field that nobody reads may be as it likes
        if any(label.endswith("_") for label in record):
            raise NoMeaning
        base |= {label: record[label] for label in _BASES if label in record}
        _check_base(base, heard.received_ms)
        if any(label not in _BASES for label in record):
            found += _of_record(heard, base, record)
    return found


def _check_base(base: Mapping[str, Any], received_ms: int | None) -> None:
    for label, value in base.items():
        if not isinstance(value, str if label in ("bn", "bu") else Fraction):
            raise NoMeaning
    if base.get("bver", 0) > 10:
        raise NoMeaning
    if "bt" in base and (base["bt"] >= ABSOLUTE_FROM_S or received_ms is not None):
        within_years(base["bt"] * 1000)


def _of_record(heard: _Heard, base: Mapping[str, Any], record: Mapping[str, Any]) -> list[Meaning]:
    name, unit = record.get("n", ""), record.get("u", base.get("bu", ""))
    named = _named(heard.telling, base.get("bn", "") + name) if isinstance(name, str) else None
    has_other_value = any(label in record for label in ("vs", "vb", "vd"))
    if (
        named is None
        or not isinstance(unit, str)
        or has_other_value
        or not ({"v"} & record.keys() | {"bv"} & base.keys())
    ):
        return []
    (quantity, target_unit, tray), said = named
    target = quantity, _OTHERWISE.get(unit, unit) or target_unit, tray
    try:
        value = _number(record.get("v", Fraction(0))) + base.get("bv", Fraction(0))
        seconds = base.get("bt", Fraction(0)) + _number(record.get("t", Fraction(0)))
        time_ms: int | None = within_years(seconds * 1000)
    except NoMeaning:
        return []
    if seconds < ABSOLUTE_FROM_S and time_ms is not None:
        time_ms = None if heard.received_ms is None else heard.received_ms + time_ms
    return heard.kept(target, value, time_ms, said)


def _number(value: Any) -> Fraction:
    if not isinstance(value, Fraction):
        raise NoMeaning
    return value


def _named(telling: Telling, name: str) -> tuple[Target, Mapping[str, str]] | None:
    """Return what a SenML name means by the names of the subscription, those written out first."""
    for written in sorted(telling.targets, key=lambda one: "{" in one):
        said = _fills(written, name)
        target = telling.targets[written]
        if said is not None:
            return None if target is None else (target, said)
    return None


def _fills(written: str, name: str) -> dict[str, str] | None:
    """Return what stands at the placeholders of a written name; both parts have no colon or slash in them."""
    before, brace, rest = written.partition("{")
    if not brace:
        return {} if written == name else None
    if not name.startswith(before):
        return None
    placeholder, _, after = rest.partition("}")
    for length in range(len(name) - len(before), 0, -1):
        part = name[len(before) : len(before) + length]
        if all(letter in _LETTERS or letter in "._-" for letter in part):
            inner = _fills(after, name[len(before) + length :])
            if inner is not None:
                return {placeholder: part, **inner}
    return None
