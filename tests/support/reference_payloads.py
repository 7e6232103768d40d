"""What a payload means, read the naive way: the standards word by word, with exact fractions and no hurry.

Held against the decoders under test. What it must not mean (RFC 8259, RFC 6901, RFC 8428 and our own bounds)
means nothing here at all; why is not said.
"""

import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any, NamedTuple

DEEPEST = 8
MOST_BYTES = 4096
AHEAD_MS = 5 * 60_000
#: SenML times below 2**28 are relative to now (RFC 8428, section 4.5.3).
ABSOLUTE_FROM_S = 2**28
#: The first and the last millisecond of the years 1 to 9999, since 1970 (computed by the proleptic calendar).
YEARS_MS = range(-62_135_596_800_000, 253_402_300_800_000)

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


@dataclass(frozen=True)
class Telling:
    """What one subscription of the bench says of its payloads: the form, and where values belong.

    ``targets`` are by pointer or by SenML name: quantity and unit, each None or empty where the topic or the
    name tells it, or None for a name that is left alone.
    """

    form: str
    targets: Mapping[str, tuple[str | None, str, str | None] | None]
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


class NoMeaning(Exception):
    """The payload means nothing."""


def readings(
    telling: Telling, payload: bytes, received_ms: int | None, topic: Mapping[str, str], bench: Bench
) -> list[Meaning]:
    """Return every reading of a payload, in its order; none where it means nothing.

    ``received_ms`` is None for a retained message, whose age nobody knows.
    """
    bench.left_alone = False
    try:
        if telling.form == "number":
            return _of_number(telling, payload, received_ms, topic, bench)
        if telling.form == "json":
            return _of_document(telling, payload, received_ms, topic, bench)
        return _of_pack(telling, payload, received_ms, topic, bench)
    except NoMeaning:
        return []


def _of_number(
    telling: Telling, payload: bytes, received_ms: int | None, topic: Mapping[str, str], bench: Bench
) -> list[Meaning]:
    if received_ms is None:
        bench.left_alone = True
        return []
    quantity, unit, tray = telling.targets[""] or (None, "", None)
    if len(payload) > 64:
        raise NoMeaning
    number = written_number(payload.strip(b" \t\r\n\v\f"))
    return bench.kept(received_ms, tray or topic.get("tray"), quantity or topic.get("quantity"), unit, number)


def written_number(text: bytes) -> Fraction:
    """Return what sign, digits, point, digits, e, sign, digits stand for; read letter by letter."""
    letters, place = text.decode("latin-1"), 0

    def digits() -> str:
        nonlocal place
        begun = place
        while place < len(letters) and letters[place] in "0123456789":
            place += 1
        if place == begun:
            raise NoMeaning
        return letters[begun:place]

    def sign() -> int:
        nonlocal place
        if letters[place : place + 1] in ("+", "-"):
            place += 1
            return -1 if letters[place - 1] == "-" else 1
        return 1

    negative, whole, fraction, exponent = sign(), digits(), "", 0
    if letters[place : place + 1] == ".":
        place += 1
        fraction = digits()
    if letters[place : place + 1] in ("e", "E"):
        place += 1
        exponent = sign() * int(digits())
    if place != len(letters):
        raise NoMeaning
    return _scaled(negative * int(whole + fraction), exponent - len(fraction))


def _scaled(mantissa: int, exponent: int) -> Fraction:
    """Return mantissa · 10^exponent; far beyond binary64 it is nothing, far below it is next to nothing."""
    size = len(str(abs(mantissa))) + exponent
    if mantissa == 0:
        return Fraction(0)
    if size < -400:
        return Fraction(1 if mantissa > 0 else -1, 10**400)
    if size > 400:
        raise NoMeaning
    return Fraction(mantissa * 10**exponent) if exponent >= 0 else Fraction(mantissa, 10**-exponent)


# ------------------------------------------------------------------------------------------ JSON


def _of_document(
    telling: Telling, payload: bytes, received_ms: int | None, topic: Mapping[str, str], bench: Bench
) -> list[Meaning]:
    if received_ms is None and telling.time_pointer is None:
        bench.left_alone = True
        return []
    whole, time_ms = _json(payload), received_ms
    if telling.time_pointer is not None:
        time_ms = _instant(_standing(whole, telling.time_pointer), telling.time_form)
    found: list[Meaning] = []
    for pointer, target in telling.targets.items():
        value = _standing(whole, pointer)
        if isinstance(value, Fraction) and target is not None:
            quantity, unit, tray = target
            found += bench.kept(
                time_ms, tray or topic.get("tray"), quantity or topic.get("quantity"), unit, value
            )
    return found


def _json(payload: bytes, made: Callable[[list[tuple[str, Any]]], Any] | None = None) -> Any:
    """Return a document with fractions for numbers; a key twice, a NaN, or too much of it is nothing.

    ``made`` makes something else of the members of an object.
    """
    if len(payload) > MOST_BYTES:
        raise NoMeaning
    try:
        value = json.loads(
            payload.decode("utf-8"),
            parse_int=_json_number,
            parse_float=_json_number,
            parse_constant=_nothing,
            object_pairs_hook=made or _object,
        )
    except (ValueError, RecursionError):
        raise NoMeaning from None
    if _depth(value) > DEEPEST:
        raise NoMeaning
    return value


#: A number beyond binary64: something stands there, and it is no number to anybody.
_HUGE = object()
#: An exponent of more digits than this is no number that any reader can hold.
_IMPOSSIBLE_EXPONENT = 10**18


def _json_number(text: str) -> Any:
    exponent = text.lower().partition("e")[2]
    if exponent and abs(int(exponent)) >= _IMPOSSIBLE_EXPONENT:
        raise NoMeaning
    try:
        number = written_number(text.encode())
        float(number)
    except (NoMeaning, OverflowError):
        return _HUGE
    return number


def _nothing(_text: str) -> Any:
    raise NoMeaning


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, value in pairs:
        if name in found:
            raise NoMeaning
        found[name] = value
    return found


@dataclass(frozen=True)
class _Members:
    """The members of an object, some of them perhaps twice."""

    pairs: list[tuple[str, Any]]


def _depth(value: Any) -> int:
    depth, level = 0, [value]
    while level := [one for one in level if isinstance(one, (dict, list, _Members))]:
        depth += 1
        level = [inner for one in level for inner in _inside(one)]
    return depth


def _inside(one: Any) -> Iterable[Any]:
    if isinstance(one, _Members):
        return [value for _, value in one.pairs]
    return one.values() if isinstance(one, dict) else one


_ABSENT = object()


def _standing(whole: Any, pointer: str) -> Any:
    """Return what stands at a pointer (RFC 6901, section 4), or a mark that nothing does."""
    for written in pointer.split("/")[1:]:
        token = written.replace("~1", "/").replace("~0", "~")
        if isinstance(whole, dict) and token in whole:
            whole = whole[token]
        elif isinstance(whole, list) and token in [str(place) for place in range(len(whole))]:
            whole = whole[int(token)]
        else:
            return _ABSENT
    return whole


def _instant(written: Any, form: str) -> int:
    if form == "rfc3339":
        if not isinstance(written, str):
            raise NoMeaning
        return _within_years(rfc3339_ms(written))
    if not isinstance(written, Fraction):
        raise NoMeaning
    return _within_years(written * (1000 if form == "unix_s" else 1))


def _within_years(time_ms: Fraction) -> int:
    whole = time_ms.numerator // time_ms.denominator
    if whole not in YEARS_MS:
        raise NoMeaning
    return whole


#: Days before each month of a year that is no leap year.
_BEFORE_MONTH = (0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334, 365)


def rfc3339_ms(text: str) -> Fraction:
    """Return milliseconds since 1970 (RFC 3339, section 5.6), by counting days."""
    date, clock, rest = text[:10], text[11:19], text[19:]
    if len(text) < 20 or text[10] not in "Tt " or date[4] + date[7] != "--" or clock[2] + clock[5] != "::":
        raise NoMeaning
    year, month, day = (_digits(part) for part in (date[:4], date[5:7], date[8:]))
    hour, minute, second = (_digits(part) for part in (clock[:2], clock[3:5], clock[6:]))
    fraction = Fraction(0)
    if rest[:1] == ".":
        digits = rest[1:][: len(rest[1:]) - len(rest[1:].lstrip("0123456789"))]
        fraction = Fraction(_digits(digits), 10 ** len(digits))
        rest = rest[1 + len(digits) :]
    days = _days(year, month, day)
    if hour > 23 or minute > 59 or second > 60:
        raise NoMeaning
    seconds = days * 86_400 + hour * 3600 + minute * 60 + second - _offset_s(rest)
    if second == 60 and not _begins_a_month(seconds):
        raise NoMeaning
    return (seconds + fraction) * 1000


def _digits(text: str) -> int:
    if not text or text.strip("0123456789"):
        raise NoMeaning
    return int(text)


def _is_leap(year: int) -> bool:
    return year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)


def _days(year: int, month: int, day: int) -> int:
    """Return days since 1970 of a date of the proleptic calendar that there is."""
    if not (1 <= year <= 9999 and 1 <= month <= 12):
        raise NoMeaning
    length = _BEFORE_MONTH[month] - _BEFORE_MONTH[month - 1] + (month == 2 and _is_leap(year))
    if not 1 <= day <= length:
        raise NoMeaning
    before = year - 1
    leaps = before // 4 - before // 100 + before // 400
    this_year = _BEFORE_MONTH[month - 1] + (month > 2 and _is_leap(year)) + day - 1
    return before * 365 + leaps + this_year - 719_162


def _offset_s(rest: str) -> int:
    if rest in ("Z", "z"):
        return 0
    if len(rest) != 6 or rest[0] not in "+-" or rest[3] != ":":
        raise NoMeaning
    hours, minutes = _digits(rest[1:3]), _digits(rest[4:])
    if hours > 23 or minutes > 59:
        raise NoMeaning
    return (hours * 3600 + minutes * 60) * (-1 if rest[0] == "-" else 1)


def _begins_a_month(seconds: int) -> bool:
    """Return whether the second after a leap second is the first one of a month in UTC."""
    days, rest = divmod(seconds, 86_400)
    return rest == 0 and any(
        days == _days(year, month, 1)
        for year in range(max(1, 1969 + days * 400 // 146_097), min(9999, 1972 + days * 400 // 146_097))
        for month in range(1, 13)
    )


# ----------------------------------------------------------------------------------------- SenML

_LETTERS = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789")
_BASES = ("bn", "bt", "bu", "bv", "bs", "bver")
#: Units that SenML names otherwise (RFC 8428, section 12.1; RFC 8798).
_OTHERWISE = {"%": "/", "/100": "%"}


def _of_pack(
    telling: Telling, payload: bytes, received_ms: int | None, topic: Mapping[str, str], bench: Bench
) -> list[Meaning]:
    pack = _json(payload, _Members)
    if not isinstance(pack, list) or not pack or not all(isinstance(record, _Members) for record in pack):
        raise NoMeaning
    base: dict[str, Any] = {}
    found: list[Meaning] = []
    bench.left_alone = True
    for members in pack:
        record = _object(members.pairs)  # what stands in a field that nobody reads may be as it likes
        if any(label.endswith("_") for label in record):
            raise NoMeaning
        base |= {label: record[label] for label in _BASES if label in record}
        _check_base(base, received_ms)
        if any(label not in _BASES for label in record):
            found += _of_record(telling, base, record, received_ms, topic, bench)
    return found


def _check_base(base: Mapping[str, Any], received_ms: int | None) -> None:
    for label, value in base.items():
        if not isinstance(value, str if label in ("bn", "bu") else Fraction):
            raise NoMeaning
    if base.get("bver", 0) > 10:
        raise NoMeaning
    if "bt" in base and (base["bt"] >= ABSOLUTE_FROM_S or received_ms is not None):
        _within_years(base["bt"] * 1000)


def _of_record(
    telling: Telling,
    base: Mapping[str, Any],
    record: Mapping[str, Any],
    received_ms: int | None,
    topic: Mapping[str, str],
    bench: Bench,
) -> list[Meaning]:
    try:
        name, unit = record.get("n", ""), record.get("u", base.get("bu", ""))
        if not isinstance(name, str) or not isinstance(unit, str):
            raise NoMeaning
        seconds = base.get("bt", Fraction(0)) + _number(record.get("t", Fraction(0)))
        if seconds >= ABSOLUTE_FROM_S:
            time_ms: int | None = _within_years(seconds * 1000)
        else:
            relative_ms = _within_years(seconds * 1000)
            time_ms = None if received_ms is None else received_ms + relative_ms
        if any(label in record for label in ("vs", "vb", "vd")) or ("v" not in record and "bv" not in base):
            raise NoMeaning
        value = _number(record.get("v", Fraction(0))) + _number(base.get("bv", Fraction(0)))
    except NoMeaning:
        return []
    told = _named(telling, base.get("bn", "") + name)
    if told is None:
        return []
    (quantity, target_unit, tray), said = told
    unit = _OTHERWISE.get(unit, unit) or target_unit
    tray = tray or said.get("tray") or topic.get("tray")
    return bench.kept(time_ms, tray, quantity or said.get("quantity") or topic.get("quantity"), unit, value)


def _number(value: Any) -> Fraction:
    if not isinstance(value, Fraction):
        raise NoMeaning
    return value


def _named(
    telling: Telling, name: str
) -> tuple[tuple[str | None, str, str | None], Mapping[str, str]] | None:
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
