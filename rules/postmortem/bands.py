"""How a batch's time in the tray stood to what its crop wants, stage by stage and quantity by quantity.

The rule of this file: within, above, below and unknown make up each stage's time, to the minute.
"""

from typing import Final, NamedTuple

import numpy as np

from wardian.rules.crops import Aim, Stage
from wardian.rules.postmortem.ground import Flags, Ground, Run, aim_of, hours, runs
from wardian.rules.postmortem.water import water
from wardian.rules.quantities import QUANTITIES
from wardian.rules.readings import Times, Values
from wardian.rules.shares import Span

_LOST: Final = "water_lost"
#: These look back over a day, and are told day by day.
_OF_DAYS: Final = ("light_hours", "daily_light_integral")


class Longest(NamedTuple):
    """The longest time beyond one side without a break, and the value farthest beyond it."""

    side: str
    span: Span
    worst: float


class StageTime(NamedTuple):
    """What became of a quantity in a stage, in hours."""

    stage: str
    span: Span
    quantity: str
    wanted: Aim
    within_h: float
    above_h: float
    below_h: float
    unknown_h: float
    longest: Longest | None


def stage_times(ground: Ground) -> list[StageTime]:
    """Return what became of each quantity that the crop wants something of, in order of stages."""
    return [
        _stage_time(ground, stage, run, quantity)
        for stage, run in ground.stages
        for quantity in QUANTITIES
        if quantity not in _OF_DAYS and aim_of(stage, quantity) != Aim()
        if _is_told(ground, stage, quantity)
    ]


def _is_told(ground: Ground, stage: Stage, quantity: str) -> bool:
    """Return whether a quantity is worth a line: it was seen, or it should have been."""
    is_missed = quantity in stage.bands and quantity not in stage.optional
    return is_missed or not bool(np.isnan(_values(ground, quantity)).all())


def _values(ground: Ground, quantity: str) -> Values:
    """Return a quantity minute by minute; water lost by mass only where somebody said what the tray weighs."""
    if quantity != _LOST:
        return ground.mean(quantity)
    had = water(ground) if ground.case.plan.masses else None
    return 100 * had.lost if had else np.full(len(ground.times_ms), np.nan)


def _stage_time(ground: Ground, stage: Stage, run: Run, quantity: str) -> StageTime:
    aim = aim_of(stage, quantity)
    values = _values(ground, quantity)[run.first : run.last]
    above = values > (np.inf if aim.high is None else aim.high)
    below = values < (-np.inf if aim.low is None else aim.low)
    known = ~np.isnan(values)
    begins = ground.times_ms[run.first : run.last]
    return StageTime(
        stage=stage.name,
        span=(int(begins[0]), int(begins[-1]) + 60_000),
        quantity=quantity,
        wanted=aim,
        within_h=hours(known & ~above & ~below),
        above_h=hours(above),
        below_h=hours(below),
        unknown_h=hours(~known),
        longest=max(
            filter(
                None, (_longest(begins, values, above, "above"), _longest(begins, -values, below, "below"))
            ),
            key=lambda one: one.span[1] - one.span[0],
            default=None,
        ),
    )


def _longest(begins: Times, outward: Values, flags: Flags, side: str) -> Longest | None:
    """Return the longest stretch; ``outward`` grows as it goes farther beyond."""
    stretches = runs(flags)
    if not stretches:
        return None
    first, last = max(stretches, key=lambda run: run.last - run.first)
    worst = float(outward[first:last].max())
    return Longest(
        side, (int(begins[first]), int(begins[last - 1]) + 60_000), worst if side == "above" else -worst
    )
