"""Days that brought far less or far more light than cuttings want: what a lamp's age, a dirty cover or the sun do.

The rule of this file: whole days on the calendar are judged, and only those that were seen; what was not is never
held against the lamp. Where a band judges the daily light already, its own alarm tells.
"""

from typing import ClassVar, Final, NamedTuple

import numpy as np

from wardian.rules.crops import Aim, Stage, stage_at
from wardian.rules.evidence import Evidence, number, value
from wardian.rules.light_days import day_around_ms
from wardian.rules.observing.looks import NORMAL, UNCHANGED, Abnormal, Look, Verdict
from wardian.rules.observing.minutes import KEPT, MINUTE_MS
from wardian.rules.readings import Values

DAILY_LIGHT_OFF: Final = "daily-light-off"
_QUANTITY: Final = "daily_light_integral"
#: µmol m⁻² s⁻¹ times minutes, to mol m⁻².
_PHOTON_MIN_PER_MOL: Final = 1e6 / 60
_NO_AIM: Final = Aim()


class _Day(NamedTuple):
    """A whole day: when it began, what was aimed at then, and its photons [mol m⁻²]: seen, and at most."""

    from_ms: int
    is_rooted: bool
    aim: Aim
    seen: float
    at_most: float


class DailyLightOff:
    """Two days too dim for roots, or one too bright for cuttings without."""

    name: ClassVar[str] = DAILY_LIGHT_OFF
    quantity: ClassVar[str] = _QUANTITY
    every: ClassVar[int] = 30

    def judge(self, look: Look) -> Verdict:
        """Hold while the last whole day was too bright, or the last two were too dim."""
        if look.plan.photon_light not in look.minutes.quantities:
            return UNCHANGED
        last_ms, _ = day_around_ms(day_around_ms(look.now_ms, look.plan.zone)[0] - 1, look.plan.zone)
        last = _day(look, last_ms)
        if last is None:
            return UNCHANGED
        if _is_bright(look, last):
            return self._bright(look, last)
        if not _is_dim(look, last):
            return NORMAL
        before = _day(look, day_around_ms(last_ms - 1, look.plan.zone)[0])
        if before is None:
            return UNCHANGED
        return self._dim(look, before, last) if _is_dim(look, before) else NORMAL

    def _dim(self, look: Look, before: _Day, last: _Day) -> Verdict:
        assert last.aim.low is not None
        share = look.figure(self.name, "low_share")
        words = "the last two whole days brought at most {} and {} of light, less than {} percent of the {} aimed at"
        figures = (
            value(_QUANTITY, before.at_most),
            value(_QUANTITY, last.at_most),
            number(share),
            value(_QUANTITY, last.aim.low),
        )
        evidence = _told(look, Evidence(words, figures))
        return Abnormal(before.from_ms, evidence, last.at_most, share / 100 * last.aim.low)

    def _bright(self, look: Look, last: _Day) -> Verdict:
        assert last.aim.high is not None
        share = look.figure(self.name, "high_share")
        words = (
            "the last whole day brought {} of light, more than {} percent of the {} at most that is aimed at"
        )
        figures = value(_QUANTITY, last.seen), number(share), value(_QUANTITY, last.aim.high)
        evidence = _told(look, Evidence(words, figures))
        return Abnormal(last.from_ms, evidence, last.seen, share / 100 * last.aim.high)


def _is_dim(look: Look, day: _Day) -> bool:
    low, share = day.aim.low, look.figure(DAILY_LIGHT_OFF, "low_share") / 100
    return day.is_rooted and low is not None and day.at_most < share * low


def _is_bright(look: Look, day: _Day) -> bool:
    high, share = day.aim.high, look.figure(DAILY_LIGHT_OFF, "high_share") / 100
    return not day.is_rooted and high is not None and day.seen > share * high


def _told(look: Look, evidence: Evidence) -> Evidence:
    """Return the evidence, and that it is an estimate where it is made of lux."""
    factor = look.plan.lux_per_umol
    if factor is None:
        return evidence
    words, figures = evidence
    return Evidence(f"{words} (an estimate by {{}} lx per µmol)", (*figures, number(factor)))


def _day(look: Look, from_ms: int) -> _Day | None:
    """Return the day that began at an instant; None where too little of it was seen."""
    spans, (_, to_ms) = look.plan.spans, day_around_ms(from_ms, look.plan.zone)
    light = _flux(look, from_ms, to_ms)
    known = light[np.isfinite(light)]
    minutes = (to_ms - from_ms) // MINUTE_MS
    if len(known) * 100 < look.figure(DAILY_LIGHT_OFF, "seen_share") * minutes or not len(known):
        return None
    stage = stage_at(spans, from_ms)
    seen = float(known.sum()) / _PHOTON_MIN_PER_MOL
    unseen = float(known.max()) * (minutes - len(known)) / _PHOTON_MIN_PER_MOL
    return _Day(from_ms, stage is not spans[0].stage, _aim(stage), seen, seen + unseen)


def _flux(look: Look, from_ms: int, to_ms: int) -> Values:
    """Return photon flux density minute by minute between two instants, as far as it is remembered."""
    begins, ends = ((look.now_ms - at_ms) // MINUTE_MS for at_ms in (from_ms, to_ms))
    light = look.minutes.trace(look.plan.photon_light, min(begins, KEPT)).mean
    return light[: max(len(light) - ends, 0)] / (look.plan.lux_per_umol or 1.0)


def _aim(stage: Stage | None) -> Aim:
    """Return what no band judges of what is aimed at; nothing before the first stage."""
    if stage is None:
        return _NO_AIM
    aim, band = stage.aims.get(_QUANTITY, _NO_AIM), stage.bands.get(_QUANTITY)
    low, high = (band.threshold(limit) if band else None for limit in ("low", "high"))
    return Aim(aim.low if low is None else None, aim.high if high is None else None)
