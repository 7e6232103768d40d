"""What one value of a configuration can be: each checked, and turned into what the program uses."""

import re
from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Annotated, Any, Final, NamedTuple, NoReturn
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo, available_timezones

from pydantic import PlainValidator, ValidationInfo

from wardian.daemon.written import described, wrong
from wardian.rules.amounts import (
    NotAnAmount,
    Written,
    duration_ms,
    duration_words,
    exact_amount,
    split_amount,
)
from wardian.rules.documents import nearest, shown
from wardian.rules.faults import FAULTS
from wardian.rules.quantities import QUANTITIES
from wardian.rules.units import UNITS, unit_named

LONGEST_NAME: Final = 40
LONGEST_SENTENCE: Final = 200
#: Of a crop, from sticking on. [d]
LONGEST_DAYS: Final = 3_650
_DAY: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_FIRST_DAY: Final = date(1970, 1, 1)
_LAST_DAY: Final = date(2199, 12, 31)
_INSTANT: Final = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt][0-9]{2}:[0-9]{2}:[0-9]{2}(?:\.[0-9]{1,6})?(?:[Zz]|[+-][0-9]{2}:[0-9]{2})"
)
_CLOCK_TIME: Final = re.compile(r"(?:[01]?[0-9]|2[0-3]):[0-5][0-9]")
_VARIABLE: Final = re.compile(r"[A-Za-z_][A-Za-z0-9_]*")
#: The quantities that a lamp is judged by.
LIGHTS: Final = ("illuminance", "ppfd")
_MEASURED: Final = tuple(name for name, quantity in QUANTITIES.items() if not quantity.derived)


class Duration(int):
    """Whole milliseconds; as text, what a person would write."""

    def __str__(self) -> str:
        return duration_words(self)


def _refused(value: Any, problem: str = "", hint: str = "") -> NoReturn:
    raise wrong(problem or f"is {described(value)}", hint)


def _text(value: Any) -> str:
    if not isinstance(value, str):
        _refused(value)
    return value


def _plain_text(value: Any) -> str:
    if not isinstance(value, (str, dict, list)):
        _refused(value, hint="text is accepted: put quotes around it")
    return _text(value)


def is_amount(value: Any) -> bool:
    """Return whether a value can be an amount at all: a number or text, but no ``true``."""
    return isinstance(value, (int, Decimal, str)) and not isinstance(value, bool)


def _amount(value: Any, read: Callable[[Written], Any]) -> Any:
    if not is_amount(value):
        _refused(value)
    try:
        return read(value)
    except NotAnAmount as error:
        _refused(value, f"{shown(value)} {error.problem}", error.hint)


def refused(value: Any, problem: str) -> NoReturn:
    """Raise that a value cannot be used."""
    _refused(value, problem)


def amount_of(value: Any, dimension: str) -> Fraction:
    """Return an amount of a dimension, exactly, in its own unit."""
    amount: Fraction = _amount(value, lambda written: exact_amount(written, dimension))
    return amount


def _duration(value: Any) -> Duration:
    return Duration(_amount(value, duration_ms))


def _some_time(value: Any) -> Duration:
    duration = _duration(value)
    if duration == 0:
        _refused(value, f"{shown(value)} is no time at all")
    return duration


def _poll_every(value: Any) -> Duration:
    duration = _duration(value)
    if not 1_000 <= duration <= 3_600_000:
        _refused(value, f"{shown(value)} is too often or too seldom", "1 s to 1 h is accepted")
    return duration


def why_no_name(text: str) -> str:
    """Return why a text cannot name anything, or nothing where it can."""
    if not 0 < len(text) <= LONGEST_NAME:
        return f"is {len(text)} letters long"
    strange = next((letter for letter in text if not (letter.isalnum() or letter in " ._-")), None)
    if strange is not None:
        return f"{shown(text)} contains {shown(strange)}"
    if not text[0].isalnum() or text[-1] == " ":
        return f"{shown(text)} does not begin with a letter or a digit, or ends with a space"
    return ""


NAME_ACCEPTS: Final = f"a name of at most {LONGEST_NAME} letters, digits, spaces, . _ and -"
#: What every duration accepts.
TIME: Final = "a duration such as 10 min, 45 s or 1.5 h"


def _name(value: Any) -> str:
    text = _plain_text(value)
    problem = why_no_name(text)
    if problem:
        _refused(value, problem, f"{NAME_ACCEPTS} is accepted")
    return text


SENTENCE_ACCEPTS: Final = f"a text of at most {LONGEST_SENTENCE} letters on one line"


def _sentence(value: Any) -> str:
    text = _plain_text(value)
    if not 0 < len(text.strip()) <= len(text) <= LONGEST_SENTENCE:
        _refused(value, f"is {len(text)} letters long" if text.strip() else "says nothing")
    strange = next((letter for letter in text if not letter.isprintable()), None)
    if strange is not None:
        _refused(value, f"{shown(text)} contains {shown(strange)}")
    return text


def _zone(value: Any) -> ZoneInfo:
    text = _text(value)
    try:
        if text and not text.startswith("localtime"):
            return ZoneInfo(text)
    except (ValueError, OSError, KeyError):
        pass
    near = nearest(text, available_timezones())
    _refused(value, f"{shown(text)} is no time zone", near or "accepted: names such as Europe/Lisbon or UTC")


def _day(value: Any) -> date:
    text = _text(value)
    try:
        day = date.fromisoformat(text) if _DAY.fullmatch(text) else None
    except ValueError:
        day = None
    if day is None:
        _refused(value, f"{shown(text)} is no date")
    if not _FIRST_DAY <= day <= _LAST_DAY:
        _refused(value, f"{shown(text)} is far away", f"{_FIRST_DAY} to {_LAST_DAY} is accepted")
    return day


def _instant_ms(value: Any) -> int:
    text = _text(value)
    try:
        instant = datetime.fromisoformat(text.upper()) if _INSTANT.fullmatch(text) else None
    except ValueError:
        instant = None
    if instant is None or not _FIRST_DAY <= instant.date() <= _LAST_DAY:
        _refused(value, f"{shown(text)} is no time with an offset")
    return (instant - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(milliseconds=1)


def clock_time(value: Any) -> time:
    """Return a time of the day."""
    text = _text(value)
    if not _CLOCK_TIME.fullmatch(text):
        _refused(value, f"{shown(text)} is no time of the day")
    hour, minute = text.split(":")
    return time(int(hour), int(minute))


def _whole(low: int, high: int) -> Callable[[Any], int]:
    def read(value: Any) -> int:
        is_number = isinstance(value, (int, Decimal)) and not isinstance(value, bool)
        if not is_number or value != int(value) or not low <= value <= high:
            _refused(value, hint=f"a whole number from {low} to {high} is accepted")
        return int(value)

    return read


def _pair(value: Any, read: Callable[[Any], Any]) -> tuple[Any, Any]:
    if not isinstance(value, list) or len(value) != 2:
        _refused(value)
    low, high = map(read, value)
    if low > high:
        _refused(value, f"falls from {low:g} to {high:g}", "the lower number is accepted first")
    return low, high


def _nothing_or_more(value: Any) -> float:
    is_number = isinstance(value, (int, Decimal)) and not isinstance(value, bool)
    if not is_number or not 0 <= value <= 10_000:
        _refused(value, hint="a number from 0 to 10000 is accepted")
    return float(value)


def _set_point(value: Any) -> float:
    celsius: Fraction = _amount(value, lambda written: exact_amount(written, "temperature"))
    if not 0 <= celsius <= 60:
        _refused(value, f"{shown(value)} is no heat for cuttings", "0 to 60 °C is accepted")
    return float(celsius)


def _speed(value: Any) -> float:
    is_number = isinstance(value, (int, Decimal)) and not isinstance(value, bool)
    if not is_number or not 1 <= value <= 100_000:
        _refused(value)
    return float(value)


def _path(value: Any, info: ValidationInfo) -> Path:
    text = _text(value)
    if not text or "\0" in text:
        _refused(value, "is no path of a file")
    folder: Path = info.context["folder"] if info.context else Path()
    return folder / text


def _variable(value: Any) -> str:
    text = _text(value)
    if not _VARIABLE.fullmatch(text):
        _refused(value, f"{shown(text)} is no name of an environment variable")
    return text


def _measured(value: Any) -> str:
    text = _text(value)
    if text not in _MEASURED:
        derived = text in QUANTITIES
        problem = f"{shown(text)} is derived, never measured" if derived else f"{shown(text)} is no quantity"
        _refused(value, problem, nearest(text, _MEASURED))
    return text


def _fault(value: Any) -> str:
    text = _text(value)
    if text not in FAULTS:
        _refused(value, f"{shown(text)} is no fault that is known", nearest(text, FAULTS))
    return text


def _web_address(value: Any) -> str:
    text = _text(value)
    try:
        parts = urlsplit(text)
        usable = parts.scheme in ("http", "https") and bool(parts.hostname) and parts.port != 0
    except ValueError:
        usable = False
    if not usable or not text.isprintable() or " " in text:
        _refused(value, "is no address of the web")
    if "@" in parts.netloc:
        _refused(value, "has a user or a password in it", "take both out of the address")
    return text


class Light(NamedTuple):
    """An amount of light and which quantity its unit means, empty for a bare number."""

    quantity: str
    amount: Fraction


def _light(value: Any) -> Light:
    _, unit = _amount(value, split_amount)
    if not unit:
        return Light("", _amount(value, lambda written: exact_amount(written, "illuminance")))
    for quantity in LIGHTS:
        dimension = QUANTITIES[quantity].dimension
        if unit_named(dimension, unit) is not None:
            return Light(quantity, _amount(value, lambda written: exact_amount(written, dimension)))  # noqa: B023 # called at once
    units = [name for quantity in LIGHTS for name in UNITS[QUANTITIES[quantity].dimension]]
    _refused(
        value, f"{shown(value)} has the unit {shown(unit)}, which is none of light", nearest(unit, units)
    )


def _light_limit(value: Any) -> Light:
    light = _light(value)
    if not light.quantity:
        _refused(value, f"{shown(value)} has no unit, and the unit says which light is meant")
    if light.amount < 0:
        _refused(value, f"{shown(value)} is less than nothing")
    return light


def _light_difference(value: Any) -> Light:
    light = _light(value)
    if light.amount < 0:
        _refused(value, f"{shown(value)} is less than nothing")
    return light


def _exact(value: Any, info: ValidationInfo) -> Fraction:
    """Return an amount of the quantity that the context names."""
    dimension: str = info.context["dimension"] if info.context else ""
    amount: Fraction = _amount(value, lambda written: exact_amount(written, dimension))
    return amount


def _exact_difference(value: Any, info: ValidationInfo) -> Fraction:
    dimension: str = info.context["difference"] if info.context else ""
    difference: Fraction = _amount(value, lambda written: exact_amount(written, dimension))
    if difference < 0:
        _refused(value, f"{shown(value)} is less than nothing")
    return difference


def _accuracy(dimension: str, most: str) -> Callable[[Any], Fraction]:
    """Return what reads the limits ± of a sensor's error; beyond the most it measures nothing."""

    def read(value: Any) -> Fraction:
        accuracy: Fraction = _amount(value, lambda written: exact_amount(written, dimension))
        if not 0 <= accuracy <= exact_amount(most, dimension):
            problem = "is less than nothing" if accuracy < 0 else "is no accuracy of a sensor"
            _refused(value, f"{shown(value)} {problem}", f"0 to {most} is accepted")
        return accuracy

    return read


def _between(dimension: str, least: str, most: str) -> Callable[[Any], Fraction]:
    """Return what reads an amount that lies between two others."""

    def read(value: Any) -> Fraction:
        amount: Fraction = _amount(value, lambda written: exact_amount(written, dimension))
        if not exact_amount(least, dimension) <= amount <= exact_amount(most, dimension):
            _refused(value, f"{shown(value)} cannot be meant", f"{least} to {most} is accepted")
        return amount

    return read


LightLimit = Annotated[Light, PlainValidator(_light_limit)]
LightDifference = Annotated[Light, PlainValidator(_light_difference)]
Name = Annotated[str, PlainValidator(_name)]
Text = Annotated[str, PlainValidator(_plain_text)]
Sentence = Annotated[str, PlainValidator(_sentence)]
AnyDuration = Annotated[Duration, PlainValidator(_duration)]
SomeTime = Annotated[Duration, PlainValidator(_some_time)]
PollEvery = Annotated[Duration, PlainValidator(_poll_every)]
Zone = Annotated[ZoneInfo, PlainValidator(_zone)]
Day = Annotated[date, PlainValidator(_day)]
InstantMs = Annotated[int, PlainValidator(_instant_ms)]
ClockTime = Annotated[time, PlainValidator(clock_time)]
Speed = Annotated[float, PlainValidator(_speed)]
Port = Annotated[int, PlainValidator(_whole(1, 65_535))]
DayNumber = Annotated[int, PlainValidator(_whole(0, LONGEST_DAYS))]
DayPair = Annotated[tuple[int, int], PlainValidator(lambda value: _pair(value, _whole(0, LONGEST_DAYS)))]
NumberPair = Annotated[tuple[float, float], PlainValidator(lambda value: _pair(value, _nothing_or_more))]
SetPoint = Annotated[float, PlainValidator(_set_point)]
Seed = Annotated[int, PlainValidator(_whole(0, 2**32 - 1))]
FilePath = Annotated[Path, PlainValidator(_path)]
Variable = Annotated[str, PlainValidator(_variable)]
Measured = Annotated[str, PlainValidator(_measured)]
FaultName = Annotated[str, PlainValidator(_fault)]
WebAddress = Annotated[str, PlainValidator(_web_address)]
Exact = Annotated[Fraction, PlainValidator(_exact)]
ExactDifference = Annotated[Fraction, PlainValidator(_exact_difference)]
LuxPerUmol = Annotated[Fraction, PlainValidator(_between("illuminance", "1 lx", "300 lx"))]
LeafOffset = Annotated[Fraction, PlainValidator(_between("temperature difference", "-10 K", "10 K"))]
TemperatureAccuracy = Annotated[Fraction, PlainValidator(_accuracy("temperature difference", "5 K"))]
HumidityAccuracy = Annotated[Fraction, PlainValidator(_accuracy("relative humidity", "20 %"))]
