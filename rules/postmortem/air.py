"""Air that was too dry for cuttings without roots, and a tray that was kept too wet.

The rule of this file: ordinary airings are not held against anybody, and dry air that a hot mat or a dry medium
brought is theirs.
"""

from typing import Final

import numpy as np

from wardian.rules.evidence import Evidence, moment, number, span, value
from wardian.rules.observing.looks import MISTED
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.postmortem.blindness import saturated, stuck
from wardian.rules.postmortem.ground import (
    DEFICIT,
    HUMIDITY,
    MINUTES_AN_HOUR,
    Flags,
    Ground,
    hour_sum,
    hours,
    lasting,
    runs,
)
from wardian.rules.postmortem.harm import TOO_DRY_AIR, TOO_WET, Harm, hours_figure
from wardian.rules.readings import Values

#: An airing is over in 45 min (common practice, no source).
_AIRING: Final = 45
#: Above its limit by less than its uncertainty a deficit is no fact: ±3 % of humidity at 75 °F. [kPa] Computed.
_SLACK_KPA: Final = 0.1
#: What harms: an open cover for two hours or so in the first three days, when cuttings wilt within hours; later they
#: stand more. [kPa h] Chosen; most losses are set in the first 72 hours (from memory).
_HARMS_FIRST_KPA_H: Final = 2.0
_HARMS_CALLUSING_KPA_H: Final = 4.0
_HARMS_ROOTING_KPA_H: Final = 8.0
FIRST_HOURS: Final = 72
#: Leaves stay wet and grey mould grows from here on (UMass Extension, Greenhouse Updates 2018). [%]
WET_PCT: Final = 93.0
SODDEN_PCT: Final = 97.0
#: Wet without a dry spell for longer than this is too long; half of it for crops that want it dry. [h] From memory.
_WITHOUT_ROOTS_H: Final = 48
_WITH_ROOTS_H: Final = 24
#: Drier minutes in all that count as aired. Chosen: a covered tray has no whole hour of them.
_DRY_SPELL: Final = 15
#: Of a time that must be known before something is said of it.
_KNOWN: Final = 0.9
#: What harms: a day beyond that; or two days with more mistings than four. From memory; two or three mistings a day
#: are the practice (common practice, no source).
_WET_DAYS: Final = 1.0
_MISTED_DAYS: Final = 2.0
_MOST_MISTINGS: Final = 4
_DAY: Final = 24 * MINUTES_AN_HOUR


def dry_air(ground: Ground) -> Flags:
    """Return the minutes without roots in which the air was too dry for longer than an airing."""
    over = ground.deficit_kpa > ground.deficit_limit_kpa + _SLACK_KPA
    return ground.without_roots & lasting(over, _AIRING)


def harm_of_dry_air(ground: Ground, elsewhere: Flags) -> Harm:
    """Return what dry air may have done, but in the minutes in which something else brought it."""
    dry = dry_air(ground) & ~elsewhere
    over = ground.deficit_kpa - ground.deficit_limit_kpa
    early = np.arange(len(dry)) < FIRST_HOURS * MINUTES_AN_HOUR
    callusing = ground.callusing & ~early
    weight = (
        hour_sum(over, dry & early) / _HARMS_FIRST_KPA_H
        + hour_sum(over, dry & callusing) / _HARMS_CALLUSING_KPA_H
        + hour_sum(over, dry & ~early & ~callusing) / _HARMS_ROOTING_KPA_H
    )
    return Harm(TOO_DRY_AIR, weight, _dry_words(ground, dry))


def _dry_words(ground: Ground, dry: Flags) -> tuple[Evidence, ...]:
    if not dry.any():
        return ()
    first, last = max(runs(dry), key=lambda run: run.last - run.first)
    words = "the vapour pressure deficit was above what the crop wants for {} in all, the longest time from {} for {}"
    figures = hours_figure(hours(dry)), moment(int(ground.times_ms[first])), span((last - first) * MINUTE_MS)
    worst = Evidence(
        "at worst it was at {}, with {} wanted at most",
        (
            value(DEFICIT, float(np.nanmax(ground.deficit_kpa[first:last]))),
            value(DEFICIT, float(np.nanmedian(ground.deficit_limit_kpa[first:last]))),
        ),
    )
    off = ground.seen.cover_off & dry
    cover = (
        (Evidence("the cover was seen to be off for {} of it", (hours_figure(hours(off)),)),)
        if off.any()
        else ()
    )
    return Evidence(words, figures), worst, *cover


def wet_too_long(ground: Ground) -> Flags:
    """Return the minutes up to which there was no dry spell for too long; with a probe that is wet or stuck nobody knows."""
    untold = saturated(ground) | stuck(ground, HUMIDITY)
    humidity = np.where(untold, np.nan, ground.mean(HUMIDITY))
    early, late = _windows(ground)
    return np.where(
        ground.callusing, _without_dry_spell(humidity, early), _without_dry_spell(humidity, late)
    ).astype(np.bool_)


def _windows(ground: Ground) -> tuple[int, int]:
    """Return how long it may be wet while cuttings callus and later [min]."""
    share = 0.5 if ground.case.crop.is_dry else 1.0
    return round(_WITHOUT_ROOTS_H * share) * MINUTES_AN_HOUR, round(_WITH_ROOTS_H * share) * MINUTES_AN_HOUR


def _without_dry_spell(humidity: Values, window: int) -> Flags:
    """Return the minutes before which a whole window was known and hardly any of it dry."""
    dry, known = (_trailing(flags, window) for flags in (humidity < WET_PCT, ~np.isnan(humidity)))
    flags: Flags = (dry < _DRY_SPELL) & (known >= _KNOWN * window)
    flags[: window - 1] = False
    return flags


def _trailing(flags: Flags, window: int) -> Values:
    sums = np.concatenate(([0], np.cumsum(flags)))
    before = np.maximum(np.arange(1, len(sums)) - window, 0)
    trailing: Values = sums[1:] - sums[before]
    return trailing


def mistings(ground: Ground) -> Values:
    """Return how many mistings each day after sticking had, the last one as far as it went."""
    first_ms = ground.seen.span[0]
    days = -(-ground.seen.minutes // _DAY)
    places = [
        (one.from_ms - first_ms) // (_DAY * MINUTE_MS) for one in ground.seen.care if one.event == MISTED
    ]
    return np.bincount(np.array(places, dtype=np.int64), minlength=days).astype(np.float64)


def harm_of_wet(ground: Ground) -> Harm:
    """Return what air that never dried, and too much mist, may have done."""
    wet, misted = wet_too_long(ground), mistings(ground)
    heavy = misted > _MOST_MISTINGS
    weight = hours(wet) / 24 / _WET_DAYS + int(heavy.sum()) / _MISTED_DAYS
    evidence: list[Evidence] = []
    if wet.any():
        first, last = max(runs(wet), key=lambda run: run.last - run.first)
        before_ms = (
            (_WITHOUT_ROOTS_H if ground.callusing[first] else _WITH_ROOTS_H) * MINUTES_AN_HOUR * MINUTE_MS
        )
        words = "up to {} humidity had not been below {} for {} or longer, and so it stayed for {}"
        shown = moment(int(ground.times_ms[first])), value(HUMIDITY, WET_PCT), span(before_ms)
        evidence.append(Evidence(words, (*shown, span((last - first) * MINUTE_MS))))
    if heavy.any():
        words = "on {} days it was misted more than {} times, {} times at most"
        evidence.append(Evidence(words, (number(heavy.sum()), number(_MOST_MISTINGS), number(misted.max()))))
    return Harm(TOO_WET, weight, tuple(evidence))
