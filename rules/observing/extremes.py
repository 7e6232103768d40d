"""Heat and cold that harm any cutting, whatever its bands say.

The rule of this file: a crop whose own band reaches beyond such a figure is meant to be kept so.
"""

from dataclasses import dataclass
from typing import ClassVar, Final

from wardian.rules.crops import stage_at
from wardian.rules.evidence import Evidence, span, value
from wardian.rules.observing.looks import NORMAL, UNCHANGED, Abnormal, Look, Verdict
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.quantities import QUANTITIES
from wardian.rules.readings import Values

MEDIUM_OVERHEATED: Final = "medium-overheated"
AIR_OVERHEATED: Final = "air-overheated"
MEDIUM_CHILLED: Final = "medium-chilled"


@dataclass(frozen=True, slots=True)
class _Extreme:
    """A temperature at or beyond ``limit`` for ``after``, or at or beyond ``at_once`` for a minute."""

    name: ClassVar[str]
    quantity: ClassVar[str]
    is_high: ClassVar[bool]
    every: ClassVar[int] = 1

    def judge(self, look: Look) -> Verdict:
        """Hold from when it was so for long enough, until it was not for as long, by the deadband."""
        last = self._outward(look.minutes.trace(self.quantity, 1).mean)
        if self.name not in look.standing and not (len(last) and last[0] >= self._figure(look, "limit")):
            return NORMAL
        after_ms = look.figure(self.name, "after")
        recent = self._outward(look.minutes.trace(self.quantity, int(after_ms) // MINUTE_MS).mean)
        outermost, limit = (self._figure(look, name) for name in ("at_once", "limit"))
        if recent[-1] >= outermost:
            return self._abnormal(look, recent, MINUTE_MS, "at_once")
        is_whole = len(recent) * MINUTE_MS >= after_ms
        if is_whole and bool((recent >= limit).all()) and not self._is_meant(look):
            return self._abnormal(look, recent, after_ms, "limit")
        over = recent < limit - look.figure(self.name, "deadband")
        return NORMAL if is_whole and bool(over.all()) else UNCHANGED

    def _outward(self, values: Values) -> Values:
        return values if self.is_high else -values

    def _figure(self, look: Look, name: str) -> float:
        return look.figure(self.name, name) * (1 if self.is_high else -1)

    def _is_meant(self, look: Look) -> bool:
        stage = stage_at(look.plan.spans, look.now_ms)
        band = stage.bands.get(self.quantity) if stage else None
        kept = band.threshold("high" if self.is_high else "low") if band else None
        limit = look.figure(self.name, "limit")
        return kept is not None and (kept > limit if self.is_high else kept < limit)

    def _abnormal(self, look: Look, recent: Values, since_ms: float, figure: str) -> Abnormal:
        now, limit = float(self._outward(recent)[-1]), look.figure(self.name, figure)
        words = f"{QUANTITIES[self.quantity].words} is at {{}}, {'above' if self.is_high else 'below'} {{}} for {{}}"
        evidence = Evidence(words, (value(self.quantity, now), value(self.quantity, limit), span(since_ms)))
        return Abnormal(look.now_ms - int(since_ms), evidence, now, limit)


class MediumOverheated(_Extreme):
    """Roots are being cooked."""

    name: ClassVar[str] = MEDIUM_OVERHEATED
    quantity: ClassVar[str] = "medium_temperature"
    is_high: ClassVar[bool] = True


class AirOverheated(_Extreme):
    """Leaves are being scorched."""

    name: ClassVar[str] = AIR_OVERHEATED
    quantity: ClassVar[str] = "air_temperature"
    is_high: ClassVar[bool] = True


class MediumChilled(_Extreme):
    """A tender crop is being chilled."""

    name: ClassVar[str] = MEDIUM_CHILLED
    quantity: ClassVar[str] = "medium_temperature"
    is_high: ClassVar[bool] = False
