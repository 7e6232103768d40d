"""What may be said of a batch, word by word: how it is read from what people write, and written so that it reads back.

The rule of this file: a command and a column of a file read a thing by the same function, and what is written reads
back as exactly the same value.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from datetime import date, timedelta, tzinfo
from typing import Any, Final, NamedTuple

from wardian.daemon import recorded
from wardian.daemon.acts import one_line
from wardian.daemon.batch_words import (
    COUNT,
    DEGREES,
    DURATION,
    EC,
    LENGTH,
    NAMES,
    PH,
    STRENGTH,
    TEXT,
    TIME,
    WORDS,
    YES_NO,
    Word,
)
from wardian.daemon.config_types import LONGEST_SENTENCE, NAME_ACCEPTS, why_no_name
from wardian.daemon.tongue import utc_text
from wardian.rules.amounts import NotAnAmount, exact_amount
from wardian.rules.batch_checks import MOST
from wardian.rules.batches import REASONS, SCORE_WORDS
from wardian.rules.crops import day_start_ms
from wardian.rules.documents import nearest, shown
from wardian.rules.units import own_unit

_DAY: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_NUMBER: Final = re.compile(r"[0-9]{1,7}")
_HALF_DAY_MS: Final = 43_200_000


class Bench(NamedTuple):
    """Where and when something is said: what a bare day means hangs on it."""

    zone: tzinfo
    now_ms: int


#: Reads what was written; raises NotAnAmount or ValueError with what is wrong, as said of it: "is no number".
Read = Callable[[str, Bench], Any]


class Field(NamedTuple):
    """A word of a batch, how it is read, and the unit that is shown behind its number."""

    word: Word
    read: Read
    unit: str = ""

    @property
    def name(self) -> str:
        """Its name in ``Details``."""
        return self.word.name

    @property
    def column(self) -> str:
        """Its name at the head of a column, where its unit must stand."""
        return self.word.word if self.word.kind in (TIME, YES_NO) else self.word.name


def text(written: str, _bench: Bench) -> str:
    """Return words on one line."""
    line = one_line(written)
    if not 0 < len(line) <= LONGEST_SENTENCE:
        raise NotAnAmount("is too long or says nothing", f"at most {LONGEST_SENTENCE} letters are accepted")
    return line


def name(written: str, _bench: Bench) -> str:
    """Return a name, as of a tray or a batch."""
    problem = why_no_name(written)
    if problem:
        raise NotAnAmount(problem.removeprefix(f"{shown(written)} "), f"{NAME_ACCEPTS} is accepted")
    return written


def names(written: str, bench: Bench) -> list[str]:
    """Return names with commas between them."""
    return [name(one.strip(), bench) for one in written.split(",")]


def whole(written: str, _bench: Bench) -> int:
    """Return a whole number, none included."""
    if not _NUMBER.fullmatch(written.strip()) or int(written) > MOST:
        raise NotAnAmount("is no whole number", f"0 to {MOST} is accepted")
    return int(written)


def yes_or_no(written: str, _bench: Bench) -> bool:
    """Return whether it is so."""
    if written not in ("yes", "no"):
        raise NotAnAmount("says neither yes nor no")
    return written == "yes"


def moment_ms(written: str, bench: Bench) -> int:
    """Return an instant that is not ahead of the clock; a bare day is its noon, today's at the latest now."""
    if not _DAY.fullmatch(written):
        time_ms = recorded.instant_ms(written)
    else:
        time_ms = _noon_ms(_day(written), bench.zone)
        if time_ms - _HALF_DAY_MS <= bench.now_ms < time_ms:
            return bench.now_ms
    if time_ms > bench.now_ms:
        raise NotAnAmount("lies ahead of the clock")
    return time_ms


def _day(written: str) -> date:
    try:
        day = date.fromisoformat(written)
    except ValueError as error:
        raise NotAnAmount("is no day of the calendar") from error
    if not 1900 <= day.year <= 9000:
        raise NotAnAmount("is no day of this time")
    return day


def _noon_ms(day: date, zone: tzinfo) -> int:
    return (day_start_ms(day, zone) + day_start_ms(day + timedelta(days=1), zone)) // 2


def _amount(dimension: str, low: float, high: float) -> tuple[Read, str]:
    """Return how an amount is read, and its unit."""
    unit = own_unit(dimension)

    def read(written: str, _bench: Bench) -> float:
        amount = exact_amount(written, dimension)
        if not low <= amount <= high:
            raise NotAnAmount("is out of reach", f"{low:g} to {high:g} {unit} is accepted")
        # Nobody measures finer, and such a number is written without an exponent that is out of reach.
        return round(float(amount), 6)

    return read, unit


def counts(written: str, accepted: Sequence[str], bench: Bench) -> dict[str, int]:
    """Return how many of each, as in ``rot=3,wilt=1``; nothing written is none of any."""
    found: dict[str, int] = {}
    for part in (one.strip() for one in written.split(",") if written.strip()):
        what, equals, number = (piece.strip() for piece in part.partition("="))
        if not equals or what not in accepted:
            hint = nearest(what, accepted) or f"accepted: {', '.join(accepted)}, each with = and how many"
            raise NotAnAmount(f"has {shown(part)}, which is no count of anything here", hint)
        if what in found:
            raise NotAnAmount(f"counts {shown(what)} twice")
        try:
            found[what] = whole(number, bench)
        except NotAnAmount as error:
            raise NotAnAmount(f"has {shown(part)}: {shown(number)} {error.problem}", error.hint) from error
    return found


def score_counts(written: str, bench: Bench) -> list[int]:
    """Return how many cuttings had each root score, as in ``0=2,3=6``."""
    scores = [str(score) for score in range(len(SCORE_WORDS))]
    found = counts(written, scores, bench)
    return [found.get(score, 0) for score in scores]


def reason_counts(written: str, bench: Bench) -> dict[str, int]:
    """Return how many were lost for each reason, as in ``rot=3,wilt=1``."""
    return counts(written, REASONS, bench)


def written_counts(found: Mapping[str, int] | Sequence[int]) -> str:
    """Return counts as ``counts`` reads them."""
    pairs = found.items() if isinstance(found, Mapping) else enumerate(found)
    return ",".join(f"{what}={number}" for what, number in pairs if number)


def written(field: Field, value: Any) -> str:
    """Return a value as the field reads it; nothing for what nobody said."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if field.read is moment_ms:
        return utc_text(value)
    if isinstance(value, tuple | list):
        return ", ".join(value)
    return repr(value) if isinstance(value, float) else str(value)


_READ: Final[Mapping[str, tuple[Read, str]]] = {
    TEXT: (text, ""),
    COUNT: (whole, ""),
    YES_NO: (yes_or_no, ""),
    TIME: (moment_ms, ""),
    NAMES: (names, ""),
    LENGTH: _amount("length", 0, 5000),
    DEGREES: _amount("temperature", -40, 80),
    PH: _amount("acidity", 0, 14),
    EC: _amount("conductivity", 0, 20),
    STRENGTH: _amount("concentration", 0, 1e6),
    DURATION: _amount("duration", 0, 604_800),
}

#: In the order of Details.
FIELDS: Final = tuple(Field(word, *_READ[word.kind]) for word in WORDS)
