"""How far the medium was from the warmth that a crop roots in, and what that may have done.

The rule of this file: each minute counts for one thing alone: cold that an open cover brought is the cover's, and what
chills is more than too cold.
"""

from typing import Final, NamedTuple

import numpy as np

from wardian.rules.evidence import Evidence, difference, moment, span, value
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.postmortem.ground import MEDIUM, MINUTES_AN_HOUR, Flags, Ground, hour_sum, hours, runs
from wardian.rules.postmortem.harm import CHILLED, TOO_COLD, TOO_HOT, Harm, hours_figure
from wardian.rules.readings import Values

#: So far beyond what a crop wants nothing is said: a thermostat swings, and probes are off by as much. [K] Chosen.
_SLACK_K: Final = 1.0
#: What harms, in kelvin-hours beyond that: 2 K for 12 h, for rooting stalls after half a day or a day without heat
#: (from memory). [K h]
_COLD_K_H: Final = 24.0
#: Heat harms sooner. [K h] Chosen.
_HOT_K_H: Final = 12.0
#: From 32 °C even poinsettia roots no more (J. Amer. Soc. Hort. Sci. 130(3):302-307, 2005); from 38 °C for an hour
#: tissue dies (from memory). [°C], and how many hours of each harm.
_COOKS_C: Final = 32.0
_COOKS_H: Final = 3.0
_KILLS_C: Final = 38.0
_KILLS_H: Final = 0.5
#: Below it tender crops are injured within hours; others far lower. [°C], [h] From memory.
_CHILLS_C: Final = 12.0
_FREEZES_C: Final = 5.0
_CHILLS_H: Final = 3.0
#: A crop that wants its medium at least as warm as this to callus is tender. [°C] From memory.
_TENDER_C: Final = 20.0
#: The warmth comes back within hours after a cover was put back. [min] From memory.
COMES_BACK: Final = 6 * MINUTES_AN_HOUR


class _Bound(NamedTuple):
    """What the medium was beyond, minute by minute: the limit, its side, and by how much more at least [K]."""

    limits: Values
    side: str
    slack_k: float


def too_hot(ground: Ground) -> Flags:
    """Return the minutes without roots in which the medium was hotter than the crop wants."""
    medium, high = ground.mean(MEDIUM), ground.want(MEDIUM).high
    limit = np.where(np.isnan(high), _COOKS_C, high + _SLACK_K)
    return ground.without_roots & (medium > limit)


def chilled(ground: Ground) -> Flags:
    """Return the minutes without roots in which the medium was so cold that it injures."""
    return ground.without_roots & (ground.mean(MEDIUM) < _chills_c(ground))


def harm_of_heat(ground: Ground) -> Harm:
    """Return what a hot medium may have done."""
    medium, high, hot = ground.mean(MEDIUM), ground.want(MEDIUM).high, too_hot(ground)
    over = hour_sum(medium - high - _SLACK_K, hot)
    cooked, killed = (hours(hot & (medium >= limit)) for limit in (_COOKS_C, _KILLS_C))
    weight = over / _HOT_K_H + cooked / _COOKS_H + killed / _KILLS_H
    limits = np.where(np.isnan(high), _COOKS_C - _SLACK_K, high)
    evidence = _told(ground, hot, _Bound(limits, "above", _SLACK_K))
    if cooked:
        evidence = (
            *evidence,
            Evidence("{} of it at {} or more", (hours_figure(cooked), value(MEDIUM, _COOKS_C))),
        )
    return Harm(TOO_HOT, weight, evidence)


def harm_of_cold(ground: Ground, open_air: Flags) -> Harm:
    """Return what a cold medium may have done, but where an open cover is behind it."""
    medium, low = ground.mean(MEDIUM), ground.want(MEDIUM).low
    cold = ground.without_roots & (medium < low - _SLACK_K)
    cold &= ~_around_chill(cold, chilled(ground)) & ~open_air
    weight = hour_sum(low - _SLACK_K - medium, cold) / _COLD_K_H
    return Harm(TOO_COLD, weight, _told(ground, cold, _Bound(low, "below", _SLACK_K)))


def _around_chill(cold: Flags, chill: Flags) -> Flags:
    """Return the cold in whose midst it was cold enough to injure for long enough: that is the chill's."""
    around = chill.copy()
    for first, last in runs(cold | chill):
        if hours(chill[first:last]) >= _CHILLS_H:
            around[first:last] = True
    return around


def harm_of_chill(ground: Ground) -> Harm:
    """Return what chilling may have done."""
    cold = chilled(ground)
    limits = np.full(len(cold), _chills_c(ground))
    return Harm(CHILLED, hours(cold) / _CHILLS_H, _told(ground, cold, _Bound(limits, "below", 0.0)))


def degree_hours(ground: Ground, base_c: float) -> float:
    """Return the sum over time of how far the medium was above a base [K h]; unknown time adds nothing.

    Source:
        Thermal time on root-zone temperature: Wilkerson, Gates, Zolnier, Kester & Geneve, J. Amer. Soc. Hort. Sci.
        130(3):302-307 (2005), who take daily means and a base of 21 °C for poinsettia; here minute by minute.
    """
    medium = ground.mean(MEDIUM)
    return hour_sum(medium - base_c, medium > base_c)


def _chills_c(ground: Ground) -> float:
    """Return below which temperature of the medium the crop is injured [°C]."""
    spans = ground.case.plan.spans
    bands = [span.stage.bands[MEDIUM] for span in spans if MEDIUM in span.stage.bands]
    limits = [limit for band in bands if (limit := band.threshold("low_low")) is not None]
    if limits:
        return min(limits)
    low = ground.want(MEDIUM).low
    return _CHILLS_C if np.nanmax(low, initial=-np.inf) >= _TENDER_C else _FREEZES_C


def _told(ground: Ground, flags: Flags, bound: _Bound) -> tuple[Evidence, ...]:
    """Return when and how far it was beyond a bound: in all, and the longest time."""
    if not flags.any():
        return ()
    limits, side, slack_k = bound
    medium = ground.mean(MEDIUM)
    first, last = max(runs(flags), key=lambda run: run.last - run.first)
    beyond = np.abs(medium - limits)
    place = first + int(np.nanargmax(beyond[first:last]))
    far = "" if slack_k == 0 else "more than {} "
    words = f"the medium was {far}{side} {{}} for {{}} in all, the longest time from {{}} for {{}}"
    figures = (
        *(() if slack_k == 0 else (difference(MEDIUM, slack_k),)),
        value(MEDIUM, float(limits[place])),
        hours_figure(hours(flags)),
        moment(int(ground.times_ms[first])),
        span((last - first) * MINUTE_MS),
    )
    worst = Evidence(
        "at worst it was at {}, {} beyond",
        (
            value(MEDIUM, float(medium[place])),
            difference(MEDIUM, float(beyond[place])),
        ),
    )
    return Evidence(words, figures), worst
