"""Times read the naive way, by counting days: RFC 3339 word by word, and numbers since 1970."""

from fractions import Fraction
from typing import Any

#: The first and the last millisecond of the years 1 to 9999, since 1970 (computed by the proleptic calendar).
YEARS_MS = range(-62_135_596_800_000, 253_402_300_800_000)


class NoMeaning(Exception):
    """The payload means nothing."""


def instant_ms(written: Any, form: str) -> int:
    """Return an instant as a document writes it; ``rfc3339``, ``unix_s`` or ``unix_ms`` says how."""
    if form == "rfc3339":
        if not isinstance(written, str):
            raise NoMeaning
        return within_years(rfc3339_ms(written))
    if not isinstance(written, Fraction):
        raise NoMeaning
    return within_years(written * (1000 if form == "unix_s" else 1))


def within_years(time_ms: Fraction) -> int:
    """Return whole milliseconds, finer ones dropped, of the years that four digits can show."""
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
