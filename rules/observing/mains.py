"""Mains lost: lamp and mat without power at once, while the probes still speak."""

from typing import Final

import numpy as np

from wardian.rules.evidence import Evidence, moment, value
from wardian.rules.observing.lamp import dark_min
from wardian.rules.observing.looks import NORMAL, UNCHANGED, Abnormal, Look, Verdict
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.observing.schedule import meant
from wardian.rules.observing.usual import DARK_SHARE, recent, since_heated_min

_QUANTITY: Final = "medium_temperature"
_LOOKED_BACK_MIN: Final = 24 * 60
_SETTLED_MIN: Final = 5


class MainsLost:
    """The lamp is out when it is meant to burn, and the mat gives no heat since about then."""

    name = "mains-lost"
    quantity = _QUANTITY
    every = 5

    def judge(self, look: Look) -> Verdict:
        """Return whether lamp and mat are both without power."""
        mat, lamp = look.usual.mat, look.usual.lamp
        light = recent(look.minutes, lamp.quantity, _SETTLED_MIN) if lamp else np.nan
        medium_c = recent(look.minutes, _QUANTITY, _SETTLED_MIN)
        now = meant(look.plan.schedule, look.now_ms) if look.plan.schedule else None
        if mat is None or lamp is None or now is None or np.isnan(light + medium_c):
            return UNCHANGED
        quiet_min = since_heated_min(look.minutes.trace(_QUANTITY, _LOOKED_BACK_MIN).mean)
        if light > DARK_SHARE * lamp.level or quiet_min < _SETTLED_MIN or medium_c > mat.on_c:
            return NORMAL
        wait_min = look.figure(self.name, "after") / MINUTE_MS
        dark = min(dark_min(look, lamp), (look.now_ms - now.since_ms) // MINUTE_MS)
        below_k = mat.on_c - medium_c
        if not now.is_on or min(dark, quiet_min) < wait_min or below_k < look.figure(self.name, "below"):
            return UNCHANGED
        since_ms = look.now_ms - dark * MINUTE_MS
        return Abnormal(since_ms, without_power(since_ms, medium_c), medium_c)


def without_power(since_ms: int, medium_c: float) -> Evidence:
    """Return what speaks for mains that were lost."""
    return Evidence(
        "the lamp went out at {} and the mat has given no heat since; the medium is down to {}",
        (moment(since_ms), value(_QUANTITY, medium_c)),
    )
