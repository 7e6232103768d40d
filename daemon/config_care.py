"""The keys of care: when rounds are made, and whether people are reminded of what is due."""

from datetime import time
from itertools import pairwise
from typing import Annotated, Final, Self

from pydantic import model_validator

from wardian.daemon.config_types import ClockTime
from wardian.daemon.written import SOME, Section, key, wrong

#: Nobody is reminded unless this section is there.
SECTION: Final = "care"
#: Morning, noon and evening: common practice, no source.
ROUNDS: Final = (time(8), time(13), time(18, 30))
_MOST_ROUNDS: Final = 6
#: Closer ones could fall together in a night in which the clock leaps.
_APART_MIN: Final = 120


class CareKeys(Section):
    """When the rounds of a day are, and whether people are told of them."""

    rounds: Annotated[tuple[ClockTime, ...], SOME] = key(
        "a list of times of the day such as [08:00, 13:00, 18:30]",
        ROUNDS,
        "airing and misting two to three times a day is common practice",
    )
    remind: bool = key("true or false", default=True, why="who writes this section does rounds")

    @model_validator(mode="after")
    def _can_be_walked(self) -> Self:
        if len(self.rounds) > _MOST_ROUNDS:
            raise wrong(f"has {len(self.rounds)} rounds", f"at most {_MOST_ROUNDS} are accepted")
        minutes = [_minute(one) for one in self.rounds]
        if any(later - earlier < _APART_MIN for earlier, later in pairwise(minutes)):
            raise wrong(
                "has rounds that are less than 2 h apart or not in the order of the day",
                "times of one day that rise by 2 h or more are accepted",
            )
        return self


def _minute(at: time) -> int:
    return at.hour * 60 + at.minute
