"""Mats that give no heat any more, and mats that do not stop.

The rule of this file: a mat is known by its pulses, the medium rising faster than air and lamp can make it; where
none were ever seen, nothing is said.
"""

from typing import Final

import numpy as np

from wardian.rules.evidence import Evidence, difference, slope, span, value
from wardian.rules.observing.looks import NORMAL, UNCHANGED, Abnormal, Look, Verdict
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.observing.usual import Air, Mat, recent, since_heated_min, state_of

_QUANTITY: Final = "medium_temperature"
_LOOKED_BACK_MIN: Final = 24 * 60
_SETTLED_MIN: Final = 5
_HOUR_MIN: Final = 60
#: A medium without heat falls at least so fast. [K/h] From memory: it relaxes to the room within 1.5 to 4 h.
_FALLS_K_PER_H: Final = 0.2
#: A condition that tells the same, and more.
MAINS_LOST: Final = "mains-lost"
#: A medium without heat comes nearer to the air by so much, where a cold room takes it away from the air. [K]
_LESS_K: Final = 0.2


class HeaterIdle:
    """The mat gives no heat although the medium is cool enough for it."""

    name = "heater-idle"
    quantity = _QUANTITY
    every = 5

    def judge(self, look: Look) -> Verdict:
        """Return whether the medium fell well below where the mat came on, without a pulse of heat."""
        mat = look.usual.mat
        medium_c = recent(look.minutes, _QUANTITY, _SETTLED_MIN)
        if mat is None or np.isnan(medium_c) or MAINS_LOST in look.standing:
            return UNCHANGED
        is_standing, below_k = self.name in look.standing, mat.on_c - medium_c
        if below_k < (0 if is_standing else look.figure(self.name, "below")):
            return NORMAL
        quiet_ms = since_heated_min(look.minutes.trace(_QUANTITY, _LOOKED_BACK_MIN).mean) * MINUTE_MS
        if quiet_ms < look.figure(self.name, "without_heat") / 2:
            return NORMAL
        wait_ms = max(look.figure(self.name, "without_heat"), 1.5 * mat.apart_min * MINUTE_MS)
        if quiet_ms < wait_ms or is_air_ahead(look) or is_slow(look, mat, medium_c):
            return UNCHANGED
        return Abnormal(look.now_ms - quiet_ms, idle(mat, quiet_ms, medium_c), medium_c)


class HeaterRunaway:
    """The mat heats and does not stop."""

    name = "heater-runaway"
    quantity = _QUANTITY
    every = 5

    def judge(self, look: Look) -> Verdict:
        """Return whether the medium rises without a break, and is warmer than where the mat went off."""
        mat = look.usual.mat
        minutes = round(look.figure(self.name, "for") / MINUTE_MS)
        medium = look.minutes.trace(_QUANTITY, minutes + 1).mean
        if mat is None or len(medium) <= minutes or np.isnan(medium).any():
            return UNCHANGED
        if medium[-1] < mat.off_c or medium[-1] < medium[0]:
            return NORMAL
        per_h = float(medium[-1] - medium[0]) * _HOUR_MIN / minutes
        rises = medium[10:] > medium[:-10]
        least = look.figure(self.name, "rise"), look.figure(self.name, "above")
        if per_h < least[0] or medium[-1] - mat.off_c < least[1] or not rises.all():
            return UNCHANGED
        since_ms = look.now_ms - minutes * MINUTE_MS
        return Abnormal(since_ms, runaway(mat, per_h, float(medium[-1])), float(medium[-1]))


def is_air_ahead(look: Look) -> bool:
    """Return whether the air has cooled more than the medium: then the cold comes from outside.

    It lies hardly less below the medium than is usual in this light; where that is not known, it may.
    """
    over_k = recent(look.minutes, _QUANTITY, _SETTLED_MIN) - recent(
        look.minutes, "air_temperature", _SETTLED_MIN
    )
    air = air_usual(look)
    return air is None or not over_k <= air.medium_over_air_k - _LESS_K


def overdue_min(look: Look) -> int:
    """Return for how many minutes the medium has been cool enough for its mat to come on."""
    medium, mat = look.minutes.trace(_QUANTITY, _LOOKED_BACK_MIN).mean, look.usual.mat
    warm = np.flatnonzero(~(medium < mat.on_c)) if mat else np.empty(0)
    return len(medium) - 1 - int(warm[-1]) if len(warm) else len(medium)


def is_slow(look: Look, mat: Mat, medium_c: float) -> bool:
    """Return whether the medium went down more slowly than one without heat does, as a drifting probe does."""
    return (mat.on_c - medium_c) * _HOUR_MIN / max(overdue_min(look), 1) < _FALLS_K_PER_H


def air_usual(look: Look) -> Air | None:
    """Return what is usual of the air in the light that there is now."""
    usual = look.usual
    state = state_of(look.minutes, usual.lamp)
    if usual.lamp is None:
        return usual.dark
    return usual.lit if state == "lit" else usual.dark if state == "dark" else None


def idle(mat: Mat, quiet_ms: float, medium_c: float) -> Evidence:
    """Return what speaks for a mat without heat."""
    return Evidence(
        "the medium has not been heated for {}, though it is at {}, {} below where the mat comes on",
        (span(quiet_ms), value(_QUANTITY, medium_c), difference(_QUANTITY, mat.on_c - medium_c)),
    )


def runaway(mat: Mat, per_h: float, medium_c: float) -> Evidence:
    """Return what speaks for a mat that does not stop."""
    return Evidence(
        "the medium rises by {} without a break and is at {}, {} above where the mat goes off",
        (slope(_QUANTITY, per_h), value(_QUANTITY, medium_c), difference(_QUANTITY, medium_c - mat.off_c)),
    )
