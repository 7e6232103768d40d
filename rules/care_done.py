"""A tray as its care is planned, and what does each task: a record, a score, or what shows in its traces."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, tzinfo
from typing import Final

from wardian.rules import care_given as given
from wardian.rules.care_advice import AIR, CALLUS, FEED, MIST, POT, ROOTS, STICK, TONE, WATER, WEIGH
from wardian.rules.care_given import Given
from wardian.rules.crops import Crop, StageSpan


@dataclass(frozen=True, slots=True)
class Tended:
    """A tray as its care is planned.

    Attributes:
        crop: What grows in it.
        stuck: The day the cuttings went in.
        zone: The clock on the wall.
        spans: Its stages and the instants at which they begin.
        given: What was done at it since then, in order of time.
        begun_ms: When its batch was stuck, where that is on record.
        has_balance: Whether it is weighed.
        weighed_ms: When its full mass was put on record.
        scored_ms: When roots were scored, in order of time.
        rooted_ms: When roots were found.
        closed_ms: When it was potted on or given up.
    """

    crop: Crop
    stuck: date
    zone: tzinfo
    spans: Sequence[StageSpan]
    given: Sequence[Given] = ()
    begun_ms: int | None = None
    has_balance: bool = False
    weighed_ms: int | None = None
    scored_ms: Sequence[int] = ()
    rooted_ms: int | None = None
    closed_ms: int | None = None


def _cared(*events: str, seen: Sequence[str] = ()) -> Callable[[Tended], Iterator[int]]:
    """Return what yields when some care was given; some of it counts only where it shows in the traces."""

    def done(tray: Tended) -> Iterator[int]:
        for one in tray.given:
            if one.event in events or (one.event in seen and not one.is_recorded):
                yield one.from_ms

    return done


def _looked(*looks: str) -> Callable[[Tended], Iterator[int]]:
    """Return what yields when a look found one of these, any look where none is named, or roots were scored."""

    def done(tray: Tended) -> Iterator[int]:
        yield from tray.scored_ms
        for one in tray.given:
            if one.event == given.LOOKED and (not looks or set(looks) & set(one.looks)):
                yield one.from_ms

    return done


def _at(time_of: Callable[[Tended], int | None]) -> Callable[[Tended], Iterator[int]]:
    """Return what yields one instant that is on record."""

    def done(tray: Tended) -> Iterator[int]:
        time_ms = time_of(tray)
        yield from () if time_ms is None else (time_ms,)

    return done


def _stuck(tray: Tended) -> Iterator[int]:
    """Yield when the cuttings were stuck: by their batch, or since they were cared for."""
    yield from _at(lambda one: one.begun_ms)(tray)
    yield from _cared(*given.EVENTS)(tray)


_ANY_WATER: Final = (given.MISTED, given.WATERED, given.FED)
#: What does each task, in the order in which tasks of one instant are told. A light mist leaves no trace without a
#: balance: there a lifted cover that shows stands for it.
DONE_BY: Final[Mapping[str, Callable[[Tended], Iterator[int]]]] = {
    STICK: _stuck,
    WEIGH: _at(lambda tray: tray.weighed_ms),
    MIST: _cared(*_ANY_WATER, seen=(given.LIFTED,)),
    AIR: _cared(given.LIFTED, given.WIPED, given.CLEANED, *_ANY_WATER),
    TONE: _cared(given.LIFTED),
    WATER: _cared(given.WATERED, given.FED, given.LOOKED),
    FEED: _cared(given.FED),
    CALLUS: _looked(),
    ROOTS: _looked(given.ROOTS, given.NO_ROOTS),
    POT: _at(lambda tray: tray.closed_ms),
}
