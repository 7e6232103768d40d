"""What the sensors of a tray did not see, and what can therefore not be said.

The rule of this file: a probe that rests at one value, or at its end, is as good as none; that is told beside what it
showed and takes nothing away from it.
"""

from collections.abc import Mapping, Sequence
from typing import Final, NamedTuple

import numpy as np

from wardian.rules.evidence import Evidence
from wardian.rules.observing.looks import LIFTED
from wardian.rules.postmortem.ground import (
    AIR,
    HUMIDITY,
    MASS,
    MEDIUM,
    Flags,
    Ground,
    hours,
    lasting,
    minute_of,
    runs,
)
from wardian.rules.postmortem.harm import (
    CHILLED,
    LITTLE_LIGHT,
    MEDIUM_DRY,
    MUCH_LIGHT,
    TOO_COLD,
    TOO_DRY_AIR,
    TOO_HOT,
    TOO_WET,
    UNSEEN,
    Harm,
    hours_figure,
)

#: What each finding is read from; one of a row's names is enough.
READ_FROM: Final[Mapping[str, tuple[tuple[str, ...], ...]]] = {
    TOO_COLD: ((MEDIUM,),),
    CHILLED: ((MEDIUM,),),
    TOO_HOT: ((MEDIUM,),),
    TOO_DRY_AIR: ((HUMIDITY,), (AIR,)),
    TOO_WET: ((HUMIDITY,),),
    LITTLE_LIGHT: (("illuminance", "ppfd"),),
    MUCH_LIGHT: (("illuminance", "ppfd"),),
    MEDIUM_DRY: ((MASS, "medium_moisture"),),
}
_QUANTITIES: Final = (MEDIUM, AIR, HUMIDITY, "illuminance", "ppfd", MASS, "medium_moisture")
#: Temperatures and humidity under a cover never rest for so long. [min] Chosen: a coarse probe in a tray whose mat is
#: cold may rest for hours.
_RESTS: Final = 12 * 60
_RESTING: Final = (MEDIUM, AIR, HUMIDITY)
#: Humidity at its end for so long although the cover was lifted is water on the probe. [%], [min] From memory.
_FULL_PCT: Final = 99.0
_FULL: Final = 6 * 60
#: With more than this share of a time not seen its findings are unsafe; with more than a third, or half of the first
#: three days, too little was seen to say. Chosen.
_UNSAFE: Final = 0.2
_UNSEEN: Final = 1 / 3
_FIRST: Final = 72 * 60
_FIRST_UNSEEN: Final = 0.5


class Blind(NamedTuple):
    """What was not seen of a quantity [h]: unknown, at rest, at its end; and how many of its readings were refused.

    ``unsafe`` is the share of the time before toning for which nothing of it can be trusted [0 to 1].
    """

    quantity: str
    unknown_h: float
    stuck_h: float
    saturated_h: float
    refused: int
    unsafe: float


def blindness(ground: Ground, refused: Mapping[str, int]) -> list[Blind]:
    """Return what was not seen of each quantity that was read, or that the crop's bands need."""
    stages = [span.stage for span in ground.case.plan.spans]
    wanted = {quantity for stage in stages for quantity in stage.bands if quantity not in stage.optional}
    return [
        _blind(ground, quantity, refused.get(quantity, 0))
        for quantity in _QUANTITIES
        if quantity in ground.seen.columns or quantity in wanted or refused.get(quantity)
    ]


def _blind(ground: Ground, quantity: str, refused: int) -> Blind:
    unknown = np.isnan(ground.mean(quantity))
    still = stuck(ground, quantity)
    full = saturated(ground) if quantity == HUMIDITY else np.zeros_like(unknown)
    unsafe = (unknown | still | full)[ground.without_roots]
    share = float(unsafe.mean()) if len(unsafe) else 1.0
    return Blind(quantity, hours(unknown), hours(still), hours(full), refused, share)


def stuck(ground: Ground, quantity: str) -> Flags:
    """Return the minutes in which a probe rested that never does."""
    column = ground.seen.columns.get(quantity)
    if column is None or quantity not in _RESTING:
        return np.zeros(ground.seen.minutes, dtype=np.bool_)
    still = ~column.moved & ~np.isnan(column.mean)
    if quantity == HUMIDITY:
        still &= column.mean < _FULL_PCT
    return lasting(still, _RESTS)


def saturated(ground: Ground) -> Flags:
    """Return the minutes in which water sat on the humidity probe: a lifted cover left it at its end."""
    full = np.zeros(ground.seen.minutes, dtype=np.bool_)
    lifts = [minute_of(one.from_ms, ground.seen) for one in ground.seen.care if one.event == LIFTED]
    for first, last in runs(lasting(ground.mean(HUMIDITY) >= _FULL_PCT, _FULL)):
        full[first:last] = any(first < lift < last for lift in lifts)
    return full


def unsafe_findings(blind: Sequence[Blind]) -> frozenset[str]:
    """Return the findings that too little trustworthy was seen for, to name them or to leave them out."""
    share = {one.quantity: one.unsafe for one in blind}
    return frozenset(
        name
        for name, rows in READ_FROM.items()
        if any(min(share.get(quantity, 1.0) for quantity in row) > _UNSAFE for row in rows)
    )


def harm_of_blindness(ground: Ground) -> Harm:
    """Return how far too little was seen of what a batch hangs on most: its warmth and its air."""
    before = ground.without_roots
    shares = {}
    for quantity in (MEDIUM, HUMIDITY):
        unknown = np.isnan(ground.mean(quantity))
        in_all = float(unknown[before].mean()) if before.any() else 1.0
        first = float(unknown[:_FIRST].mean()) if len(unknown) else 1.0
        shares[quantity] = max(in_all / _UNSEEN, first / _FIRST_UNSEEN)
    weight = max(shares.values())
    unknown = np.isnan(ground.mean(MEDIUM)) | np.isnan(ground.mean(HUMIDITY))
    words = "medium or humidity were unknown for {} of {}, for {} of the first three days"
    figures = (
        hours_figure(hours(unknown)),
        hours_figure(len(unknown) / 60),
        hours_figure(hours(unknown[:_FIRST])),
    )
    return Harm(UNSEEN, weight, (Evidence(words, figures),))
