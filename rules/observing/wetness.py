"""Too much water in the air and in the medium, and a medium that dries too fast.

The rule of this file: nothing is said of time that was not seen.
"""

from typing import ClassVar, Final

import numpy as np

from wardian.rules.evidence import Evidence, number, slope, span, value
from wardian.rules.observing.looks import MISTED, NORMAL, UNCHANGED, Abnormal, Look, Verdict
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.readings import Values
from wardian.rules.water import mass_at, masses_at

WET_TOO_LONG: Final = "wet-too-long"
OVER_MISTED: Final = "over-misted"
DRYING_FAST: Final = "drying-fast"
_HUMIDITY: Final = "relative_humidity"
_MASS: Final = "tray_mass"
_HOUR: Final = 60
_DAY: Final = 24 * _HOUR
_DAY_MS: Final = _DAY * MINUTE_MS
#: How much of a time must be known before something is said of it.
_KNOWN: Final = 0.9


class WetTooLong:
    """The air under a cover has hardly been dry for a day or two."""

    name: ClassVar[str] = WET_TOO_LONG
    quantity: ClassVar[str] = _HUMIDITY
    every: ClassVar[int] = 10

    def judge(self, look: Look) -> Verdict:
        """Hold while the dry minutes of a day or two do not add up to a dry spell."""
        long_ms = look.figure(self.name, "with_roots" if look.has_roots else "without_roots")
        if look.plan.is_dry:
            long_ms *= look.figure(self.name, "dry_crops") / 100
        long, limit = int(long_ms) // MINUTE_MS, look.figure(self.name, "limit")
        air = look.minutes.trace(_HUMIDITY, long).mean
        dry = int(np.count_nonzero(air < limit))
        if dry * MINUTE_MS >= look.figure(self.name, "dry_spell"):
            return NORMAL
        if len(air) < long or np.count_nonzero(np.isnan(air)) > (1 - _KNOWN) * long:
            return UNCHANGED
        evidence = Evidence(
            "humidity has been below {} for no more than {} in the last {}",
            (value(_HUMIDITY, limit), span(int(dry) * MINUTE_MS), span(long_ms)),
        )
        now = None if np.isnan(air[-1]) else float(air[-1])
        return Abnormal(look.now_ms - int(long_ms), evidence, now, limit)


class OverMisted:
    """A tray gets more water than it uses."""

    name: ClassVar[str] = OVER_MISTED
    quantity: ClassVar[str] = _MASS
    every: ClassVar[int] = 30

    def judge(self, look: Look) -> Verdict:
        """Hold while there are too many mistings in a day, the tray is heavier each day, or fuller than full."""
        mists = [one for one in look.care if one.event == MISTED and one.from_ms > look.now_ms - _DAY_MS]
        mistings, grams = len(mists), sum(one.grams or 0.0 for one in mists)
        most = look.figure(self.name, "most_a_day")
        if mistings > most:
            evidence = Evidence("misted {} times in the last {}", (number(mistings), span(_DAY_MS)))
            return Abnormal(look.now_ms - _DAY_MS, evidence)
        if grams > look.figure(self.name, "most_grams"):
            brought = (value(_MASS, grams), span(_DAY_MS))
            return Abnormal(
                look.now_ms - _DAY_MS, Evidence("misted with {} of water in the last {}", brought)
            )
        gains = _daily_gains(look.minutes.trace(_MASS, 3 * _DAY).mean)
        if len(gains) and gains.min() >= look.figure(self.name, "heavier"):
            evidence = Evidence(
                "the tray is heavier by {} than three days ago, and was each day",
                (value(_MASS, gains.sum()),),
            )
            return Abnormal(look.now_ms - 3 * _DAY_MS, evidence)
        if overfull := self._overfull(look):
            return overfull
        return UNCHANGED if self.name in look.standing and mistings == most else NORMAL

    def _overfull(self, look: Look) -> Abnormal | None:
        """Return that the tray has been heavier for hours than when it was watered through and drained."""
        long_ms = look.figure(self.name, "overfull_for")
        mass, now = look.minutes.trace(_MASS, int(long_ms) // MINUTE_MS).mean, look.now_ms
        masses = masses_at(look.plan.masses, now - int(long_ms))
        if masses is None or len(mass) * MINUTE_MS < long_ms or np.isnan(mass[-1]):
            return None
        known = mass[~np.isnan(mass)]
        limit_g = mass_at(-look.figure(self.name, "overfull") / 100, masses.saturated_g, masses.dry_g)
        if len(known) < _KNOWN * len(mass) or known.min() <= limit_g:
            return None
        over_g = float(known.min()) - masses.saturated_g
        evidence = Evidence(
            "for {} the tray has been {} heavier than full and drained", (span(long_ms), value(_MASS, over_g))
        )
        return Abnormal(now - int(long_ms), evidence, float(mass[-1]), limit_g)


class DryingFast:
    """A tray loses water several times as fast as it does."""

    name: ClassVar[str] = DRYING_FAST
    quantity: ClassVar[str] = _MASS
    every: ClassVar[int] = 30

    def judge(self, look: Look) -> Verdict:
        """Hold while an hour after the other loses so much more than the hours of this stage before them."""
        hours = int(look.figure(self.name, "lasts")) // MINUTE_MS // _HOUR
        losses = _hourly_losses(look)
        now, before = losses[-hours:], losses[:-hours]
        usual_of = before[before > 0]
        least = look.figure(self.name, "known_for") / MINUTE_MS / _HOUR
        if len(usual_of) < least or len(now) < hours or np.isnan(now).any():
            return UNCHANGED
        usual, limit = float(np.median(usual_of)), look.figure(self.name, "at_least")
        if now.min() < max(look.figure(self.name, "times") * usual, limit):
            return NORMAL
        evidence = Evidence(
            "the tray loses {} where {} was usual", (slope(_MASS, now.min()), slope(_MASS, usual))
        )
        return Abnormal(look.now_ms - hours * _HOUR * MINUTE_MS, evidence)


def _daily_gains(mass: Values) -> Values:
    """Return how much heavier a tray was than a day before, now and on the two days before; none where unknown."""
    if len(mass) < 3 * _DAY:
        return np.empty(0)
    ends = (slice(0, _HOUR), *(slice(day * _DAY - _HOUR, day * _DAY) for day in (1, 2, 3)))
    levels = np.array([np.median(mass[end]) for end in ends])
    return np.diff(levels) if not np.isnan(levels).any() else np.empty(0)


def _hourly_losses(look: Look) -> Values:
    """Return how much was lost in each hour of this stage up to now; unknown where care was given or nothing read."""
    begun_ms = max(span.from_ms for span in look.plan.spans if span.from_ms <= look.now_ms)
    minutes = min(3 * _DAY, (look.now_ms - begun_ms) // MINUTE_MS)
    mass = look.minutes.trace(_MASS, minutes - minutes % _HOUR).mean
    mass = mass[len(mass) % _HOUR :].reshape(-1, _HOUR)
    losses: Values = mass[:, :10].mean(axis=1) - mass[:, -10:].mean(axis=1)
    hour_ms = _HOUR * MINUTE_MS
    for one in look.care:
        first = (look.now_ms - one.from_ms) // hour_ms + 1
        last = (look.now_ms - one.to_ms) // hour_ms + 1
        losses[max(len(losses) - first, 0) : max(len(losses) - last + 1, 0)] = np.nan
    return losses * _HOUR / (_HOUR - 10)
