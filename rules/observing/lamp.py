"""Lamps that do not burn as their timer is meant to let them.

The rule of this file: nothing is said where light changes as the sun's does, and what one light sensor says is
held against the air, which cools and warms with the lamp.
"""

from typing import Final

import numpy as np

from wardian.rules.evidence import Evidence, Figure, difference, moment, number, value
from wardian.rules.observing.heater import MAINS_LOST
from wardian.rules.observing.looks import NORMAL, UNCHANGED, Abnormal, Look, Verdict
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.observing.schedule import Meant, meant
from wardian.rules.observing.usual import DARK_SHARE, PULSE_MIN, Lamp, Usual, heating, recent
from wardian.rules.readings import Values

#: The lamp must warm the air by so much for the air to answer for it. [K]
_WARMS_K: Final = 0.5
_SETTLED_MIN: Final = 5
#: Half a lamp takes about half of its warmth away, less what the mat makes good.
_FAIR_PART: Final = 0.2
_DAY_MIN: Final = 24 * 60
_COMPARED_MIN: Final = 60
#: Lost mains show within so long after the lamp went out.
_TOLD_APART_MIN: Final = 45


class LampNotOn:
    """The lamp gives no light although it is meant to burn."""

    name = "lamp-not-on"
    quantity = "light_hours"
    every = 5

    def judge(self, look: Look) -> Verdict:
        """Return whether it has been dark for a while since the lamp was meant to be on."""
        lamp, now = look.usual.lamp, _meant(look)
        if not lamp or not now or not now.is_on:
            return UNCHANGED
        wait_ms = look.figure(self.name, "after")
        light = _light(look, lamp, wait_ms)
        dark_lx = look.figure(self.name, "dark_share") / 100 * lamp.level
        if np.isnan(light).any() or look.now_ms - now.since_ms < wait_ms:
            return UNCHANGED
        if light[-1] > dark_lx:
            return NORMAL
        if light.max() > dark_lx:
            return UNCHANGED
        dark = min(dark_min(look, lamp), (look.now_ms - now.since_ms) // MINUTE_MS)
        if self.name not in look.standing and (MAINS_LOST in look.standing or _may_be_mains(look, dark)):
            return UNCHANGED
        since_ms = look.now_ms - dark * MINUTE_MS
        return Abnormal(since_ms, not_on(look, since_ms))


class LampNotOff:
    """The lamp burns although it is meant to be off."""

    name = "lamp-not-off"
    quantity = "light_hours"
    every = 5

    def judge(self, look: Look) -> Verdict:
        """Return whether it has been bright for a while since the lamp was meant to be off."""
        lamp, now = look.usual.lamp, _meant(look)
        if not lamp or not now or now.is_on:
            return UNCHANGED
        wait_ms = look.figure(self.name, "after")
        light = _light(look, lamp, wait_ms)
        lit_lx = look.figure(self.name, "lit_share") / 100 * lamp.level
        if np.isnan(light).any() or look.now_ms - now.since_ms < wait_ms:
            return UNCHANGED
        if light[-1] < lit_lx:
            return NORMAL
        return Abnormal(now.since_ms, not_off(look, lamp, now)) if light.min() > lit_lx else UNCHANGED


class LampWeak:
    """The lamp burns evenly, at a part of what it gave before."""

    name = "lamp-weak"
    quantity = "light_hours"
    every = 5

    def judge(self, look: Look) -> Verdict:
        """Return whether the light has kept for a while to a part of its level."""
        lamp, now = look.usual.lamp, _meant(look)
        if not lamp or not now or not now.is_on:
            return UNCHANGED
        light = _light(look, lamp, look.figure(self.name, "after")) / lamp.level
        least, most = (look.figure(self.name, name) / 100 for name in ("least_share", "most_share"))
        if np.isnan(light).any() or now.since_ms > look.now_ms - len(light) * MINUTE_MS:
            return UNCHANGED
        if light[-_SETTLED_MIN:].min() > (1 + most) / 2:
            return NORMAL
        if light.min() < least or light.max() > most:
            return UNCHANGED
        share_pct = 100 * float(np.median(light))
        return Abnormal(look.now_ms - len(light) * MINUTE_MS, weak(lamp, share_pct), share_pct)


def _may_be_mains(look: Look, dark: int) -> bool:
    """Return whether the mat is due and has not heated since the light went, so that more may be lost than a lamp."""
    mat = look.usual.mat
    if mat is None or dark >= _TOLD_APART_MIN:
        return False
    medium = look.minutes.trace("medium_temperature", dark + PULSE_MIN).mean
    return bool(len(medium)) and bool(medium[-1] < mat.on_c) and not heating(medium).any()


def dark_min(look: Look, lamp: Lamp) -> int:
    """Return for how many minutes it has been dark without a break."""
    light = look.minutes.trace(lamp.quantity, 24 * 60).mean
    bright = np.flatnonzero(~(light <= DARK_SHARE * lamp.level))
    return len(light) - 1 - int(bright[-1]) if len(bright) else len(light)


def not_on(look: Look, since_ms: int) -> Evidence:
    """Return what speaks for a lamp that is out, and whether the air agrees."""
    words = "the light has been below {} percent of the lamp's since {}"
    figures: list[Figure] = [number(100 * DARK_SHARE), moment(since_ms)]
    answered = air_is(look, "dark")
    if answered is None:
        return Evidence(words, tuple(figures))
    if answered:
        air_c = recent(look.minutes, "air_temperature", _SETTLED_MIN)
        return Evidence(
            words + ", and the air has cooled to {} as it does in the dark",
            (*figures, value("air_temperature", air_c)),
        )
    return Evidence(words + ", but the air has not cooled: the light sensor may be at fault", tuple(figures))


def not_off(look: Look, lamp: Lamp, now: Meant) -> Evidence:
    """Return what speaks for a lamp that burns on, and whether the air agrees."""
    level = recent(look.minutes, lamp.quantity, _SETTLED_MIN)
    words = "the light is still {}, and the lamp was meant to go off at {}"
    figures = value(lamp.quantity, level), moment(now.since_ms)
    answered = air_is(look, "lit")
    if answered is False:
        return Evidence(words + ", but the air has cooled: the light sensor may be at fault", figures)
    return Evidence(words + (", and the air stays as warm as under the lamp" if answered else ""), figures)


def weak(lamp: Lamp, share_pct: float) -> Evidence:
    """Return what speaks for a lamp of which a part is out."""
    return Evidence(
        "the light stays even at {} percent of its level of {}",
        (number(share_pct), value(lamp.quantity, lamp.level)),
    )


def air_is(look: Look, state: str, ago_min: int = 0) -> bool | None:
    """Return whether the air is, or was, as warm as it is ``lit`` or ``dark``; None where the two are much alike."""
    usual: Usual = look.usual
    air = look.minutes.trace("air_temperature", ago_min + _SETTLED_MIN).mean[:_SETTLED_MIN]
    if not usual.lit or not usual.dark or not len(air) or np.isnan(air).any():
        return None
    if usual.lit.air_c - usual.dark.air_c < _WARMS_K:
        return None
    is_warm = bool(air.mean() > (usual.lit.air_c + usual.dark.air_c) / 2)
    return is_warm is (state == "lit")


def cooler_than_yesterday(look: Look) -> Figure | None:
    """Return by how much the air is cooler than a day ago, where that is a fair part of what the lamp warms it."""
    air = look.minutes.trace("air_temperature", _DAY_MIN + _COMPARED_MIN).mean
    lit, dark = look.usual.lit, look.usual.dark
    if not lit or not dark or lit.air_c - dark.air_c < _WARMS_K or len(air) < _DAY_MIN + _COMPARED_MIN:
        return None
    cooler_k = float(np.median(air[:_COMPARED_MIN]) - np.median(air[-_COMPARED_MIN:]))
    is_cooler = cooler_k >= _FAIR_PART * (lit.air_c - dark.air_c)
    return difference("air_temperature", cooler_k) if is_cooler else None


def _meant(look: Look) -> Meant | None:
    return meant(look.plan.schedule, look.now_ms) if look.plan.schedule else None


def _light(look: Look, lamp: Lamp, wait_ms: float) -> Values:
    """Return the light of the last minutes; not a number where there are fewer."""
    count = max(round(wait_ms / MINUTE_MS), 1)
    light = look.minutes.trace(lamp.quantity, count).mean
    return light if len(light) == count else np.full(1, np.nan)
