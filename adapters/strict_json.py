"""JSON from outside, read so that no bytes can surprise: size, depth, repeated keys, odd numbers.

Numbers with a fraction or an exponent become decimals, so that nothing is rounded before it is meant to be.
Pointers into a document are those of RFC 6901.
"""

import json
import math
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from decimal import Decimal
from functools import lru_cache
from typing import Any, Final

DEEPEST: Final = 8

#: What a pointer finds where there is nothing; null is something.
NOTHING: Final = object()

_INDEX: Final = re.compile(r"0|[1-9][0-9]{0,8}")
_BAD_ESCAPE: Final = re.compile(r"~(?![01])")
_WORDS: Final = {
    bool: "true or false",
    str: "a text",
    list: "an array",
    dict: "an object",
    type(None): "null",
}


def document(payload: bytes, most_bytes: int, *, in_pairs: bool = False) -> Any:
    """Return the value of a JSON text; numbers are int or Decimal.

    ``in_pairs`` gives each object as the tuple of its members, which is quick; keys that come twice
    are then found by whoever makes a dict of it with ``unique``.

    Raises:
        ValueError: It is too long, not JSON, not UTF-8, too deep, names a key twice or holds NaN or
            Infinity; the message says which.
    """
    if len(payload) > most_bytes:
        raise ValueError(f"has more than {most_bytes} bytes")
    value = _parsed(payload, _IN_PAIRS if in_pairs else _IN_DICTS)
    # The brackets are an upper bound of the depth: only what could be too deep is looked at again.
    if payload.count(b"[") + payload.count(b"{") > DEEPEST and _is_deeper(value, DEEPEST):
        raise ValueError(f"is nested deeper than {DEEPEST} levels")
    return value


def unique(members: Sequence[tuple[str, Any]]) -> dict[str, Any]:
    """Return the members of an object as a dict.

    Raises:
        ValueError: A key comes twice.
    """
    result = dict(members)
    if len(result) == len(members):
        return result
    (twice, _), *_ = Counter(key for key, _ in members).most_common(1)
    raise ValueError(f"names the key {twice[:40]!r} twice")


def number(value: object) -> float:
    """Return a number of a document as a finite binary64.

    Raises:
        ValueError: It is no number, or too large for one.
    """
    if type(value) is not int and type(value) is not Decimal:  # a bool is an int, and is no number
        raise ValueError(f"{_WORDS.get(type(value), 'this')} is not a number")
    try:
        result = float(value)
    except OverflowError:
        result = math.inf
    if math.isfinite(result):
        return result
    raise ValueError("the number is too large")


def exact_number(value: object) -> int | Decimal:
    """Return a number of a document as it was written, known to be finite as binary64 too.

    Raises:
        ValueError: It is no number, or too large for one.
    """
    number(value)
    assert isinstance(value, (int, Decimal))
    return value


@lru_cache(maxsize=1000)
def tokens(pointer: str) -> tuple[str, ...]:
    """Return the reference tokens of an RFC 6901 pointer, unescaped; the empty pointer has none.

    Raises:
        ValueError: It does not begin with /, or a ~ is followed by neither 0 nor 1.
    """
    if pointer and not pointer.startswith("/"):
        raise ValueError(f"pointer {pointer!r} does not begin with /, like /air/0/temperature (RFC 6901)")
    if _BAD_ESCAPE.search(pointer):
        raise ValueError(f"pointer {pointer!r} has a ~ that is not ~0 (for ~) or ~1 (for /)")
    return tuple(token.replace("~1", "/").replace("~0", "~") for token in pointer.split("/")[1:])


def found(value: Any, pointer: str) -> Any:
    """Return what an RFC 6901 pointer leads to, or NOTHING."""
    for token in tokens(pointer):
        if isinstance(value, dict):
            value = value.get(token, NOTHING)
        elif isinstance(value, list) and _INDEX.fullmatch(token) and int(token) < len(value):
            value = value[int(token)]
        else:
            return NOTHING
    return value


def _parsed(payload: bytes, decoder: json.JSONDecoder) -> Any:
    try:
        return decoder.decode(payload.decode())
    except UnicodeDecodeError:
        raise ValueError("is not UTF-8") from None
    except json.JSONDecodeError as error:
        raise ValueError(f"is not JSON: {error}") from error
    except RecursionError:
        raise ValueError(f"is nested deeper than {DEEPEST} levels") from None
    except ArithmeticError:
        raise ValueError("holds a number with an impossible exponent") from None


def _is_deeper(value: Any, levels: int) -> bool:
    if isinstance(value, tuple):
        inner: Iterable[Any] = [member for _, member in value]
    elif isinstance(value, (dict, list)):
        inner = value.values() if isinstance(value, dict) else value
    else:
        return False
    return levels == 0 or any(_is_deeper(one, levels - 1) for one in inner)


def _refuse_constant(name: str) -> None:
    raise ValueError(f"holds {name}, which is not JSON")


_IN_DICTS: Final = json.JSONDecoder(
    object_pairs_hook=unique, parse_constant=_refuse_constant, parse_float=Decimal
)
_IN_PAIRS: Final = json.JSONDecoder(
    object_pairs_hook=tuple, parse_constant=_refuse_constant, parse_float=Decimal
)
