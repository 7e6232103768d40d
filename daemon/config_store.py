"""The keys of how what is kept is looked after: backups, and for how long what is kept for."""

from datetime import time
from typing import Annotated, Any, Final, Self

from pydantic import PlainValidator, model_validator

from wardian.daemon.config_types import Duration, amount_of, clock_time, is_amount, refused
from wardian.daemon.written import Section, described, key, wrong
from wardian.rules.documents import shown

DAY_MS: Final = 86_400_000
#: Whoever removes sooner removes what a batch is explained from, or what the last messages were.
LEAST_READINGS_MS: Final = 30 * DAY_MS
LEAST_MESSAGES_MS: Final = 7 * DAY_MS
_LONGEST_MS: Final = 36_500 * DAY_MS
NEVER: Final = "never"
_MOST_BACKUPS: Final = 1000


def _at_or_never(value: Any) -> time | None:
    return None if value == NEVER else clock_time(value)


def _folder(value: Any) -> str:
    if not isinstance(value, str) or not value.strip() or "\0" in value:
        raise wrong(f"is {described(value)}")
    return value


def _number(value: Any) -> int:
    is_number = isinstance(value, int) and not isinstance(value, bool)
    if not is_number or not 1 <= value <= _MOST_BACKUPS:
        raise wrong(f"is {described(value)}")
    return int(value)


def _age(value: Any, least_ms: int) -> Duration:
    age = (
        round(amount_of(value, "duration") * 1000)
        if is_amount(value)
        else refused(value, f"is {described(value)}")
    )
    if not least_ms <= age <= _LONGEST_MS:
        raise wrong(
            f"{shown(value)} is too short or too long",
            f"{Duration(least_ms)} to {Duration(_LONGEST_MS)} is accepted, or no key where it stays for good",
        )
    return Duration(age)


_ReadingsAge = Annotated[Duration, PlainValidator(lambda value: _age(value, LEAST_READINGS_MS))]
_MessagesAge = Annotated[Duration, PlainValidator(lambda value: _age(value, LEAST_MESSAGES_MS))]


class BackupKeys(Section):
    """A copy of the database each night."""

    at: Annotated[time | None, PlainValidator(_at_or_never)] = key(
        "a time of the day such as 03:30, or never,",
        time(3, 30),
        "a damaged card then costs a day at most; the copy writes as much as the database is large, "
        "which after a year of 40 sensors is about what the watching itself writes in a day",
    )
    folder: Annotated[str, PlainValidator(_folder)] = key(
        "a folder, relative to that of the database,",
        "backups",
        "beside the database it outlives damage to the file; on another drive it outlives the card",
    )
    keep: Annotated[int, PlainValidator(_number)] = key(
        f"a whole number from 1 to {_MOST_BACKUPS}", 3, "damage that is found late is not in all of them yet"
    )


class KeepKeys(Section):
    """For how long what was kept stays; what people put on record and the journal stay for good."""

    readings: _ReadingsAge | None = key("a duration of 30 d or more, such as 400 d,", None)
    rollups: _ReadingsAge | None = key("a duration of 30 d or more, such as 1000 d,", None)
    messages: _MessagesAge | None = key("a duration of 7 d or more, such as 90 d,", None)

    @model_validator(mode="after")
    def _outlive(self) -> Self:
        if self.rollups is not None and (self.readings is None or self.readings > self.rollups):
            raise wrong(
                "keeps readings longer than what they came to", "rollups of at least `readings` are accepted"
            )
        return self
