"""A series in pieces of five minutes: what it came to, how long that is known, and how long it was within its band.

The rule of this file: a reading stands as the engine lets it stand, and a band is what the plan says for
that very instant, with its deadband; an hour is rolled up from its own readings and one word about what
was before it, so that it does not matter when that is done.
"""

from collections.abc import Iterator, Mapping
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from wardian.rules.crops import Band
from wardian.rules.judging import verdict_runs
from wardian.rules.plans import TrayPlan
from wardian.rules.quantities import SATURATION_PCT
from wardian.rules.readings import Points, Series, Times, Values

PIECE_MS: Final = 300_000
HOUR_MS: Final = 3_600_000
PIECES: Final = HOUR_MS // PIECE_MS
#: How long a reading stands where nobody says.
HOLD_MS: Final = 300_000
_ALWAYS_MS: Final = -(2**62)
_NEVER_MS: Final = 2**62
_Flags = NDArray[np.bool_]


class Rollups(NamedTuple):
    """Pieces of a series in order of time, as arrays of one length; a piece of which nothing is known is left out.

    Attributes:
        from_ms: Where each piece of five minutes begins.
        lowest: The lowest value that stood in it, in the quantity's own unit.
        mean: The mean over its known time.
        highest: The highest value that stood in it.
        known_ms: For how long the value was known.
        judged_ms: For how much of that the quantity had a band.
        within_ms: For how much of that it was within.
    """

    from_ms: Times
    lowest: Values
    mean: Values
    highest: Values
    known_ms: Times
    judged_ms: Times
    within_ms: Times


class Carried(NamedTuple):
    """The last reading before an instant, and the limits it was beyond, as a deadband remembers them."""

    time_ms: int
    value: float
    beyond: tuple[str, ...]


class RolledUp(NamedTuple):
    """An hour's pieces, and what the next one has to know of it; None where nothing was ever read."""

    rollups: Rollups
    carried: Carried | None


def plan_for(tray: str, plans: Mapping[str, TrayPlan]) -> TrayPlan:
    """Return the plan of a tray, or one without bands where nobody watches it any more."""
    return plans.get(tray) or TrayPlan(tray, (), HOLD_MS)


def nothing_rolled_up() -> Rollups:
    """Return no pieces at all."""
    none, no_values = np.empty(0, np.int64), np.empty(0, np.float64)
    return Rollups(none, no_values, no_values, no_values, none, none, none)


def one_after_another(rollups: list[Rollups]) -> Rollups:
    """Return the pieces of several hours, which are in order of time."""
    return Rollups(*map(np.concatenate, zip(*rollups, strict=True))) if rollups else nothing_rolled_up()


def between(rollups: Rollups, from_ms: int, to_ms: int) -> Rollups:
    """Return the pieces that begin at an instant or later and before another."""
    first, last = rollups.from_ms.searchsorted((from_ms, to_ms))
    return Rollups._make(column[first:last] for column in rollups)


class _Verdicts(NamedTuple):
    """From each instant on: whether the quantity has a band, and whether it is beyond it."""

    from_ms: Times
    judged: _Flags
    beyond: _Flags


class _Stood(NamedTuple):
    """Known time cut wherever anything changes: values, and where each part begins and ends."""

    from_ms: Times
    to_ms: Times
    values: Values


def roll_up(points: Points, carried: Carried | None, plan: TrayPlan, place: tuple[Series, int]) -> RolledUp:
    """Return the pieces of one hour of a series.

    Args:
        points: The readings of that hour, in strictly rising order of time, those that came late included.
        carried: What was before the hour.
        plan: Of the series' tray.
        place: The series and where the hour begins.
    """
    series, hour_ms = place
    if carried is not None:
        before = Points(np.array([carried.time_ms]), np.array([carried.value]))
        points = Points._make(map(np.concatenate, zip(before, points, strict=True)))
    if len(points.times_ms) == 0:
        return RolledUp(nothing_rolled_up(), None)
    verdicts, beyond = _judged(points, carried, plan, (series.quantity, hour_ms + HOUR_MS))
    stood = _stood(points, verdicts.from_ms, plan.hold_ms, hour_ms)
    last = Carried(int(points.times_ms[-1]), float(points.values[-1]), tuple(sorted(beyond)))
    return RolledUp(_pieces(stood, verdicts, hour_ms), last)


# ------------------------------------------------------------------------------------- verdicts


def _judged(
    points: Points, carried: Carried | None, plan: TrayPlan, until: tuple[str, int]
) -> tuple[_Verdicts, set[str]]:
    """Return what became of the readings of a quantity up to an instant, and the limits beyond in the end.

    The first of the readings is the carried one, if there is one, whose verdict is known.
    """
    quantity, to_ms = until
    first_ms = int(points.times_ms[0])
    beyond = set(carried.beyond) if carried else set()
    told: list[_Verdicts] = []
    for begins_ms, ends_ms, band in _bands(plan, quantity):
        if ends_ms <= first_ms or begins_ms >= to_ms:
            continue
        own = _of_stage(points, begins_ms, min(ends_ms, to_ms), plan.hold_ms)
        is_carried = carried is not None and begins_ms <= first_ms
        found, beyond = _judged_by(band, _as_judged(own, quantity), beyond, is_carried=is_carried)
        if len(own.times_ms) == 0 or own.times_ms[0] > begins_ms > first_ms:
            told.append(_Verdicts(np.array([begins_ms]), np.array([band is not None]), np.array([False])))
        told.append(_Verdicts(own.times_ms, np.full(len(found), band is not None), found))
    return _Verdicts(*map(np.concatenate, zip(*told, strict=True))), beyond


def _bands(plan: TrayPlan, quantity: str) -> Iterator[tuple[int, int, Band | None]]:
    """Yield from when to when which band holds, the time before all stages included."""
    starts = [(_ALWAYS_MS, None), *((span.from_ms, span.stage) for span in plan.spans), (_NEVER_MS, None)]
    for (begins_ms, stage), (ends_ms, _) in pairwise(starts):
        yield begins_ms, ends_ms, stage.bands.get(quantity) if stage else None


def _of_stage(points: Points, begins_ms: int, ends_ms: int, hold_ms: int) -> Points:
    """Return what a stage judges: its readings, and at its start the value that stands then."""
    first, last = points.times_ms.searchsorted((begins_ms, ends_ms))
    own = Points(points.times_ms[first:last], points.values[first:last])
    stands = first > 0 and points.times_ms[first - 1] + hold_ms > begins_ms
    if not stands or begins_ms in own.times_ms[:1]:
        return own
    return Points(
        np.concatenate(([begins_ms], own.times_ms)),
        np.concatenate(([points.values[first - 1]], own.values)),
    )


def _as_judged(points: Points, quantity: str) -> Values:
    return np.minimum(points.values, SATURATION_PCT) if quantity == "relative_humidity" else points.values


def _judged_by(
    band: Band | None, values: Values, former: set[str], *, is_carried: bool
) -> tuple[_Flags, set[str]]:
    """Return which values are beyond any limit of a band, and which limits are beyond after the last.

    Where the first value is carried, its verdict is the former one.
    """
    any_beyond = np.zeros(len(values), np.bool_)
    after = set()
    for limit in band.limits if band else ():
        was_beyond = limit.name in former
        of_limit = np.full(len(values), was_beyond)
        if len(values) > is_carried:
            ends = (limit.threshold, limit.clear)
            column = values[is_carried:]
            no_breaks = np.zeros(len(column) - 1, np.bool_)
            begins, verdicts = verdict_runs(column, no_breaks, ends, former=was_beyond, high=limit.is_high)
            lengths = np.diff(np.append(begins, len(column)))
            of_limit[is_carried:] = np.repeat(verdicts, lengths)
        any_beyond |= of_limit
        if of_limit[-1] if len(of_limit) else was_beyond:
            after.add(limit.name)
    return any_beyond, after


# --------------------------------------------------------------------------------------- pieces


def _stood(points: Points, changes_ms: Times, hold_ms: int, hour_ms: int) -> _Stood:
    """Return an hour's known time in parts, none of which a piece's edge or a change of verdict cuts."""
    until_ms = np.minimum(points.times_ms + hold_ms, np.append(points.times_ms[1:], _NEVER_MS))
    edges = np.arange(hour_ms, hour_ms + HOUR_MS + 1, PIECE_MS)
    cuts = np.unique(np.concatenate((points.times_ms, until_ms, changes_ms, edges)))
    cuts = cuts[cuts.searchsorted(hour_ms) : cuts.searchsorted(hour_ms + HOUR_MS) + 1]
    reading = points.times_ms.searchsorted(cuts[:-1], side="right") - 1
    known = (reading >= 0) & (cuts[:-1] < until_ms[reading])
    return _Stood(cuts[:-1][known], cuts[1:][known], points.values[reading[known]])


def _pieces(stood: _Stood, verdicts: _Verdicts, hour_ms: int) -> Rollups:
    if len(stood.from_ms) == 0:
        return nothing_rolled_up()
    length_ms = stood.to_ms - stood.from_ms
    verdict = verdicts.from_ms.searchsorted(stood.from_ms, side="right") - 1
    judged_ms = np.where(verdicts.judged[verdict], length_ms, 0)
    within_ms = np.where(verdicts.beyond[verdict], 0, judged_ms)
    piece = (stood.from_ms - hour_ms) // PIECE_MS
    first = np.flatnonzero(np.diff(piece, prepend=-1))
    known_ms = np.add.reduceat(length_ms, first)
    lowest, highest = np.minimum.reduceat(stood.values, first), np.maximum.reduceat(stood.values, first)
    mean = np.add.reduceat(stood.values * length_ms, first) / known_ms
    return Rollups(
        from_ms=hour_ms + piece[first] * PIECE_MS,
        lowest=lowest,
        mean=np.clip(mean, lowest, highest),
        highest=highest,
        known_ms=known_ms,
        judged_ms=np.add.reduceat(judged_ms, first),
        within_ms=np.add.reduceat(within_ms, first),
    )
