"""Signs in the temperatures: a mat that gives no heat or too much, a room that is too cold or too hot.

The rule of this file: where the heat goes is told by which follows which. A medium without its mat comes nearer to
the air; a cold room takes the air away from the medium; a mat that does not stop runs ahead of the air; a hot room
is ahead of the medium.
"""

from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

import numpy as np

from wardian.rules.evidence import Evidence, difference, number
from wardian.rules.observing.heater import air_usual, idle, is_air_ahead, is_slow, overdue_min
from wardian.rules.observing.looks import LIFTED, Look
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.observing.usual import PULSE_MIN, heating, recent, since_heated_min

AIR: Final = "air_temperature"
MEDIUM: Final = "medium_temperature"
_SETTLED_MIN: Final = 5
_DAY_MIN: Final = 24 * 60
#: How far the medium must have left the range in which its thermostat keeps it. [K] From memory.
_BELOW_K: Final = 0.5
_ABOVE_K: Final = 0.7
#: How far the air must have left its usual level, and the medium its usual distance. [K] From memory.
_MOVED_K: Final = 1.0
_APART_K: Final = 0.3
_QUIET_MIN: Final = 45
#: Heat of the mat goes on arriving at the probe for so long. From memory.
_LAG_MIN: Final = 3
#: A mat that does not stop lifts the medium by 2 to 6 K/h. [K/h] From memory, with a margin.
_RISES_K_PER_H: Final = 1.5
_RISES_MIN: Final = 30
_AIRING_MS: Final = 45 * MINUTE_MS


class _Now(NamedTuple):
    """Where the temperatures are, against what is usual in this light; not a number where unknown."""

    over_k: float
    usual_over_k: float
    most_over_k: float
    moved_k: float


def heater_dead(look: Look, others: Sequence[Look]) -> tuple[Evidence, ...]:
    """Tell a mat that gives no heat: the medium fell without a pulse and comes nearer to the air."""
    cold = mat_is_cold(look)
    if cold is None or is_air_ahead(look):
        return ()
    now = _now(look)
    nearer = Evidence(
        "the medium is {} warmer than the air, where {} is usual in this light",
        (difference(MEDIUM, now.over_k), difference(MEDIUM, now.usual_over_k)),
    )
    known = [one for one in others if one.usual.mat]
    alive = [one for one in known if has_heated(one, overdue_min(look))]
    if not alive:
        return () if known else (cold, nearer)
    return cold, nearer, Evidence("the mats of {} neighbouring trays heat", (number(len(alive)),))


def has_heated(look: Look, minutes: int) -> bool:
    """Return whether the mat was seen to heat in the last minutes, and not only its last heat to arrive."""
    medium = look.minutes.trace(MEDIUM, max(minutes - _LAG_MIN, 0)).mean
    return len(medium) > PULSE_MIN and bool(heating(medium).any())


def mat_is_cold(look: Look) -> Evidence | None:
    """Return what says that the mat gives no heat although the medium is cool enough for it."""
    mat, medium_c = look.usual.mat, recent(look.minutes, MEDIUM, _SETTLED_MIN)
    if mat is None or not mat.on_c - medium_c >= _BELOW_K:
        return None
    quiet_min = since_heated_min(look.minutes.trace(MEDIUM, _DAY_MIN).mean)
    if quiet_min < max(_QUIET_MIN, 1.2 * mat.apart_min) or is_slow(look, mat, medium_c):
        return None
    return idle(mat, quiet_min * MINUTE_MS, medium_c)


def heater_stuck_on(look: Look, _: Sequence[Look]) -> tuple[Evidence, ...]:
    """Tell a mat that does not stop: the medium is above where the mat goes off, and ahead of the air."""
    mat, now = look.usual.mat, _now(look)
    medium_c = recent(look.minutes, MEDIUM, _SETTLED_MIN)
    if mat is None or not medium_c - mat.off_c >= _ABOVE_K or not now.over_k >= now.most_over_k + _APART_K:
        return ()
    # A lifted cover takes the air away from the medium, too.
    lifted = look.last_care(LIFTED)
    if lifted and look.now_ms - lifted.to_ms < _AIRING_MS and not _rise_k_per_h(look) >= _RISES_K_PER_H:
        return ()
    return (
        Evidence(
            "the medium is {} above where the mat goes off",
            (difference(MEDIUM, medium_c - mat.off_c),),
        ),
        Evidence(
            "it is {} warmer than the air, where {} is usual in this light: the heat comes from below",
            (difference(MEDIUM, now.over_k), difference(MEDIUM, now.usual_over_k)),
        ),
    )


def _rise_k_per_h(look: Look) -> float:
    medium = look.minutes.trace(MEDIUM, _RISES_MIN + 1).mean
    return float(medium[-1] - medium[0]) * 60 / _RISES_MIN if len(medium) > _RISES_MIN else float("nan")


def room_too_cold(look: Look, others: Sequence[Look]) -> tuple[Evidence, ...]:
    """Tell a cold room: the air went down before the medium, here and in the neighbouring trays."""
    return _room(look, others, _is_cold_around, "cooler", "the medium follows behind it")


def room_too_hot(look: Look, others: Sequence[Look]) -> tuple[Evidence, ...]:
    """Tell a hot room: the air went up before the medium, here and in the neighbouring trays."""
    return _room(look, others, _is_hot_around, "warmer", "the medium is not ahead of it")


def _room(
    look: Look, others: Sequence[Look], is_so: Callable[[Look], bool], word: str, follows: str
) -> tuple[Evidence, ...]:
    if not is_so(look):
        return ()
    now = _now(look)
    known = [one for one in others if not np.isnan(_now(one).moved_k)]
    in_step = [one for one in known if is_so(one)]
    if not known or 2 * len(in_step) < len(known):
        return ()
    return (
        Evidence(
            f"the air is {{}} {word} than usual in this light, and {follows}",
            (difference(AIR, abs(now.moved_k)),),
        ),
        Evidence("{} of {} neighbouring trays show the same", (number(len(in_step)), number(len(known)))),
    )


def _is_cold_around(look: Look) -> bool:
    now = _now(look)
    return now.moved_k <= -_MOVED_K and now.over_k >= now.most_over_k + _APART_K


def _is_hot_around(look: Look) -> bool:
    now = _now(look)
    return now.moved_k >= _MOVED_K and now.over_k <= now.usual_over_k - _APART_K


def _now(look: Look) -> _Now:
    air_c, medium_c = (recent(look.minutes, one, _SETTLED_MIN) for one in (AIR, MEDIUM))
    usual = air_usual(look)
    if usual is None:
        return _Now(*[float("nan")] * 4)
    return _Now(medium_c - air_c, usual.medium_over_air_k, usual.most_over_air_k, air_c - usual.air_c)
