"""RFC 3339 text and integer milliseconds since 1970 UTC, the only form of time inside the program.

Nothing is guessed: a time without an offset is no time.
"""

import math
import re
from datetime import UTC, datetime, timedelta
from decimal import ROUND_FLOOR, Context, Decimal
from typing import Final

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_MILLISECOND: Final = timedelta(milliseconds=1)

#: The first and the last millisecond that four digits of a year can show.
FIRST_MS: Final = (datetime.min.replace(tzinfo=UTC) - _EPOCH) // _MILLISECOND
LAST_MS: Final = (datetime.max.replace(tzinfo=UTC) - _EPOCH) // _MILLISECOND

#: Exact for every time that anybody means; digits beyond are dropped, never rounded up.
_EXACT: Final = Context(prec=60, rounding=ROUND_FLOOR)

_CLOCK: Final = r"(?:[01][0-9]|2[0-3]):[0-5][0-9]"
_DATE_AND_TIME: Final = rf"[0-9]{{4}}-[0-9]{{2}}-[0-9]{{2}}[Tt ]{_CLOCK}:(?:[0-5][0-9]|60)(?:\.[0-9]+)?"
_RFC3339: Final = re.compile(rf"{_DATE_AND_TIME}(?:[Zz]|[+-]{_CLOCK})")
_WITHOUT_OFFSET: Final = re.compile(_DATE_AND_TIME)

_SECONDS: Final = slice(17, 19)
_ACCEPTED: Final = (
    "RFC 3339 with an offset is accepted, like 2026-03-02T18:00:00Z or 2026-03-02T19:00:00.250+01:00"
)


def parse_ms(text: str) -> int:
    """Return milliseconds since 1970 UTC of a time written as in RFC 3339.

    Digits finer than a millisecond are dropped. A small t or z and a space instead of T are accepted.
    A leap second counts as the second after it, as POSIX time does, and is accepted only where one
    can be: at the end of a month in UTC (ITU-R TF.460; from memory).

    Raises:
        ValueError: The text is anything else; the message says what is accepted.
    """
    if _RFC3339.fullmatch(text) is None:
        raise ValueError(_why_not(text))
    if text[_SECONDS] == "60":
        return _leap_second_ms(text)
    return _in_range_ms(text, text)


def text_of(time_ms: int) -> str:
    """Return a time in UTC as ``YYYY-MM-DDTHH:MM:SS.mmmZ``.

    Raises:
        OverflowError: The time is outside the years 1 to 9999.
    """
    return (_EPOCH + timedelta(milliseconds=time_ms)).isoformat(timespec="milliseconds")[:-6] + "Z"


def floor_sum(one: int | Decimal, other: int | Decimal) -> int | Decimal:
    """Return the sum of two times in seconds, exactly."""
    return _EXACT.add(one, other)


def floor_ms(time: int | Decimal, per_unit: int = 1000) -> int:
    """Return a finite number of seconds as whole milliseconds, finer digits dropped.

    Args:
        time: In seconds, or in what ``per_unit`` says.
        per_unit: How many milliseconds a unit has.

    Raises:
        ValueError: It is outside the years 1 to 9999, counted from 1970.
    """
    time_ms = time * per_unit if isinstance(time, int) else math.floor(_EXACT.multiply(time, per_unit))
    if FIRST_MS <= time_ms <= LAST_MS:
        return time_ms
    raise ValueError("the time is outside the years 1 to 9999")


def _in_range_ms(written: str, text: str) -> int:
    try:
        time_ms = (datetime.fromisoformat(text.upper()) - _EPOCH) // _MILLISECOND
    except ValueError as error:
        raise ValueError(f"time {_shown(written)} does not exist: {error}; {_ACCEPTED}") from error
    if not FIRST_MS <= time_ms <= LAST_MS:
        raise ValueError(f"time {_shown(written)} is outside the years 1 to 9999 in UTC")
    return time_ms


def _leap_second_ms(text: str) -> int:
    time_ms = _in_range_ms(text, text[:17] + "59" + text[19:]) + 1000
    after = _EPOCH + timedelta(milliseconds=min(time_ms, LAST_MS))
    if (after.day, after.hour, after.minute, after.second) != (1, 0, 0, 0):
        raise ValueError(f"time {_shown(text)} has second 60 where no leap second can be; {_ACCEPTED}")
    return time_ms


def _why_not(text: str) -> str:
    why = "has no offset" if _WITHOUT_OFFSET.fullmatch(text) else "is not readable"
    return f"time {_shown(text)} {why}; {_ACCEPTED}"


def _shown(text: str) -> str:
    return repr(text if len(text) <= 40 else text[:40] + "…")
