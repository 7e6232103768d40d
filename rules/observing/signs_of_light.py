"""Signs in the light: a lamp that is out, late, on for too long, or half out.

The rule of this file: a light sensor alone is not believed; the air must agree. Mats and neighbours only say that
there is power.
"""

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from wardian.rules.evidence import Evidence, moment, number, span
from wardian.rules.observing.lamp import air_is, cooler_than_yesterday, weak
from wardian.rules.observing.looks import Look
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.observing.schedule import meant_on
from wardian.rules.observing.usual import DARK_SHARE, heating, state_of
from wardian.rules.readings import Values

_DAY_MIN: Final = 24 * 60
#: A lamp out for less is a hand, or a slow start.
_LEAST_MIN: Final = 14
#: A lamp that comes on within so long after its time is late, not dead.
_LATE_MIN: Final = 180
#: One that comes on at most so long before its time is early.
_EARLY_MIN: Final = 90
#: A lamp that is said to be on or off has to be so for so long.
_SURE_MIN: Final = 25
#: Shares of the level between which a part of the lamp burns.
_PART: Final = (0.3, 0.7)
#: The light of one minute to the next changes by less where no lamp is switched.
_STEP_SHARE: Final = 0.15


class Dark(NamedTuple):
    """A stretch of dark while the lamp was meant to burn: its beginning and end, minutes ago.

    ``from_on`` is whether it began with the time at which the lamp was meant to come on.
    """

    began_min: int
    ended_min: int
    from_on: bool


def dark_runs(look: Look, minutes: int = 2 * _DAY_MIN) -> list[Dark]:
    """Return the stretches of dark in lit hours, the last first; none where there is no lamp to judge."""
    seen = _seen(look, minutes)
    if seen is None:
        return []
    light, on, level = seen
    return [
        Dark(len(light) - begin, len(light) - end, not on[begin - 1])
        for begin, end in reversed(_runs(on & (light < DARK_SHARE * level)))
        if end - begin >= _LEAST_MIN and begin > 0
    ]


def lamp_dead(look: Look, others: Sequence[Look]) -> tuple[Evidence, ...]:
    """Tell a lamp that went out: dark in lit hours, the air cooled with it, and there is power beside it."""
    runs = [
        run
        for run in dark_runs(look, _DAY_MIN)
        if not run.from_on or run.began_min - run.ended_min > _LATE_MIN
    ]
    if not runs:
        return ()
    run = runs[0]
    dark = Evidence(
        "it has been dark for {} of the hours in which the lamp is meant to burn, from {} on",
        (span((run.began_min - run.ended_min) * MINUTE_MS), moment(look.now_ms - run.began_min * MINUTE_MS)),
    )
    if not air_is(look, "dark", _middle(run)):
        return ()
    lit = [one for one in others if not run.ended_min and state_of(one.minutes, one.usual.lamp) == "lit"]
    medium = look.minutes.trace("medium_temperature", run.began_min).mean
    heats = bool(heating(medium[: len(medium) - run.ended_min]).any())
    if not (lit or heats):
        return ()
    signs = [dark, Evidence("the air has cooled with it")]
    if heats:
        signs.append(Evidence("the mat goes on heating, so there is power"))
    if lit:
        signs.append(Evidence("the lamps of {} neighbouring trays burn", (number(len(lit)),)))
    return tuple(signs)


def _middle(run: Dark) -> int:
    """Return how many minutes ago a stretch had settled: now where it goes on, else in the middle of it."""
    return (run.began_min + run.ended_min) // 2 if run.ended_min else 0


def lamp_on_late(look: Look, _: Sequence[Look]) -> tuple[Evidence, ...]:
    """Tell a lamp that comes on late: dark from its time on, then lit; or so yesterday and dark today."""
    runs = dark_runs(look)
    from_on = [run for run in runs if run.from_on and run.began_min - run.ended_min <= _LATE_MIN]
    late = [run for run in from_on if run.ended_min]
    if not late or len(from_on) < len(runs) or air_is(look, "dark", _middle(late[0])) is False:
        return ()
    words = "the lamp was meant to come on at {} and came on {} late"
    return tuple(
        Evidence(words, (moment(look.now_ms - began * MINUTE_MS), span((began - ended) * MINUTE_MS)))
        for began, ended, _ in late
    )


def lamp_never_off(look: Look, others: Sequence[Look]) -> tuple[Evidence, ...]:
    """Tell a lamp that burns on: lit while it is meant to be off, and the air agrees."""
    seen = _seen(look, _DAY_MIN)
    if seen is None:
        return ()
    light, on, level = seen
    burning = _runs(~on & (light > _PART[0] * level))
    # A lamp, or a clock, that is early by an hour or so is another thing.
    runs = [one for one in burning if one[1] - one[0] >= _SURE_MIN and not _is_early(look, on, one[0])]
    if not runs:
        return ()
    begin, end = runs[-1]
    burns = Evidence(
        "the lamp has burnt for {} in the hours in which it is meant to be off",
        (span(sum(to - since for since, to in runs) * MINUTE_MS),),
    )
    middle = len(light) - (begin + end) // 2
    if not air_is(look, "lit", 0 if end == len(light) else middle):
        return ()
    dark = [one for one in others if _was_dark(one, middle)]
    beside = Evidence("the lamps of {} neighbouring trays went off", (number(len(dark)),))
    signs = burns, Evidence("the air stays as warm as under the lamp")
    return (*signs, beside) if dark else signs


def _is_early(look: Look, on: NDArray[np.bool_], begin: int) -> bool:
    """Return whether a burning began, rather than went on, shortly before the lamp is meant to come on."""
    schedule, before = look.plan.schedule, np.flatnonzero(on[:begin])
    if schedule is None or not len(before) or before[-1] == begin - 1:
        return schedule is None or not len(before)
    off_for = begin - 1 - int(before[-1])
    return (schedule.on_min - schedule.off_min) % _DAY_MIN - off_for <= _EARLY_MIN


def half_the_lamp(look: Look, others: Sequence[Look]) -> tuple[Evidence, ...]:
    """Tell a lamp of which a part is out: it keeps evenly to a part of its level, and the air is cooler for it."""
    seen = _seen(look, _DAY_MIN)
    if seen is None:
        return ()
    light, on, level = seen
    part = on & (light > _PART[0] * level) & (light < _PART[1] * level)
    runs = [one for one in _runs(part) if one[1] - one[0] >= _SURE_MIN]
    if not runs or runs[-1][1] < len(light):
        return ()
    if np.abs(np.diff(light[slice(*runs[-1])])).max() > _STEP_SHARE * level:
        return ()
    share_pct = 100 * float(np.median(light[slice(*runs[-1])])) / level
    cooler = cooler_than_yesterday(look)
    if not cooler or not look.usual.lamp:
        return ()
    signs = (
        weak(look.usual.lamp, share_pct),
        Evidence("the air is {} cooler than a day ago under the whole lamp", (cooler,)),
    )
    full = [one for one in others if state_of(one.minutes, one.usual.lamp) == "lit"]
    beside = Evidence("the lamps of {} neighbouring trays burn as ever", (number(len(full)),))
    return (*signs, beside) if full else signs


def _seen(look: Look, minutes: int) -> tuple[Values, NDArray[np.bool_], float] | None:
    """Return light, whether the lamp was meant to burn, and its level; None where that is not known."""
    lamp, schedule = look.usual.lamp, look.plan.schedule
    if lamp is None or schedule is None:
        return None
    light = look.minutes.trace(lamp.quantity, minutes).mean
    return light, meant_on(schedule, look.now_ms, len(light)), lamp.level


def _was_dark(look: Look, ago_min: int) -> bool:
    seen = _seen(look, ago_min)
    return seen is not None and len(seen[0]) > 0 and bool(seen[0][0] < DARK_SHARE * seen[2])


def _runs(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return where flags are set in a row: from, to (not included)."""
    edges = np.flatnonzero(np.diff(flags.astype(np.int8), prepend=0, append=0))
    return [(int(begin), int(end)) for begin, end in edges.reshape(-1, 2)]
