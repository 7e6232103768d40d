"""JSON and numbers read the naive way, with exact fractions (RFC 8259, RFC 6901)."""

import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from reference_times import NoMeaning

DEEPEST = 8
MOST_BYTES = 4096


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


def document(payload: bytes, made: Callable[[list[tuple[str, Any]]], Any] | None = None) -> Any:
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
            object_pairs_hook=made or unique,
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


def unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Return members as a dict; one that comes twice means nothing."""
    found: dict[str, Any] = {}
    for name, value in pairs:
        if name in found:
            raise NoMeaning
        found[name] = value
    return found


@dataclass(frozen=True)
class Members:
    """The members of an object, some of them perhaps twice."""

    pairs: list[tuple[str, Any]]


def _depth(value: Any) -> int:
    depth, level = 0, [value]
    while level := [one for one in level if isinstance(one, (dict, list, Members))]:
        depth += 1
        level = [inner for one in level for inner in _inside(one)]
    return depth


def _inside(one: Any) -> Iterable[Any]:
    if isinstance(one, Members):
        return [value for _, value in one.pairs]
    return one.values() if isinstance(one, dict) else one


_ABSENT = object()


def standing(whole: Any, pointer: str) -> Any:
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
