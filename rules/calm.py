"""The usual case of a few live readings: nothing can change, which is seen without any array.

A tray is calm while the verdict of every limit agrees with its alarm. Then each limit leaves a range in
which a value changes nothing, and a reading is news only outside the ranges, after a gap, or at the
start of a stage. Whatever is not surely calm is left to the rules themselves, from the same readings.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import inf, nextafter
from typing import Final, NamedTuple

import numpy as np

from wardian.rules.crops import Limit
from wardian.rules.derived import Formula
from wardian.rules.health import Silence
from wardian.rules.judging import LimitState, Stand
from wardian.rules.light import LitTime
from wardian.rules.plans import Masses
from wardian.rules.quantities import SATURATION_PCT
from wardian.rules.readings import Reading
from wardian.rules.water import lost_pct, masses_at

#: More readings than this are cheaper as arrays.
MOST_READINGS: Final = 64


class Range(NamedTuple):
    """The values that change nothing, ends included: as judged by the low limits and by the high ones."""

    low_from: float = -inf
    low_to: float = inf
    high_from: float = -inf
    high_to: float = inf

    def narrowed(self, limit: Limit, *, beyond: bool) -> "Range":
        """Return the part of the range in which one more limit keeps its verdict."""
        if limit.is_high and beyond:
            return self._replace(high_from=max(self.high_from, nextafter(limit.clear, inf)))
        if limit.is_high:
            return self._replace(high_to=min(self.high_to, limit.threshold))
        if beyond:
            return self._replace(low_to=min(self.low_to, nextafter(limit.clear, -inf)))
        return self._replace(low_from=max(self.low_from, limit.threshold))

    def holds(self, for_low: float, for_high: float) -> bool:
        """Return whether a value changes nothing."""
        return self.low_from <= for_low <= self.low_to and self.high_from <= for_high <= self.high_to


def ranges(limits: Iterable[tuple[str, Limit, LimitState]]) -> dict[str, Range] | None:
    """Return by quantity the values that change nothing, or None while a delay runs somewhere."""
    found: dict[str, Range] = {}
    for quantity, limit, state in limits:
        if state.beyond != state.raised:
            return None
        found[quantity] = found.get(quantity, Range()).narrowed(limit, beyond=state.beyond)
    return found


@dataclass(slots=True)
class Calm:
    """What is needed to see that a tray stays calm.

    Attributes:
        until_ms: The next stage; what reaches beyond its start is not calm.
        ranges: By quantity with limits, the values that change nothing.
        derived: The derived quantities that are judged, and how.
        lit: Light hours and the quantity they come from, where they are judged or shown.
        hold_ms: How long a reading stands.
        silences: The series whose silence is an alarm.
        masses: What the tray weighs full and dry, where the water that it lost is judged or shown.
    """

    until_ms: float
    ranges: Mapping[str, Range]
    derived: Mapping[str, Formula]
    lit: LitTime | None
    lamp_quantity: str
    hold_ms: int
    silences: Mapping[str, Silence]
    masses: Sequence[Masses] = ()
    _stands: dict[str, Stand] = field(default_factory=dict)
    _lit_until_ms: int = 0

    def passes(
        self, readings: Sequence[Reading], stands: Mapping[str, Stand], to_ms: int
    ) -> Mapping[str, Stand] | None:
        """Return what stands after some readings, in order of time, or None if anything may change.

        Nothing else is changed unless they pass.
        """
        if to_ms > self.until_ms:
            return None
        self._stands, self._lit_until_ms = dict(stands), 0
        last = len(readings) - 1
        touched: list[str] = []
        for place, (time_ms, _, quantity, value) in enumerate(readings):
            if not self._takes(time_ms, quantity, value):
                return None
            touched.append(quantity)
            if place == last or readings[place + 1].time_ms != time_ms:
                if not self._derives(time_ms, touched):
                    return None
                touched.clear()
        if self._anything_missed(to_ms):
            return None
        if self.lit and self._lit_until_ms:
            self.lit.extend(self._lit_until_ms)
        return self._stands

    def _takes(self, time_ms: int, quantity: str, value: float) -> bool:
        if quantity == "relative_humidity" and value > SATURATION_PCT:
            value = SATURATION_PCT
        stood = self._stands.get(quantity)
        if stood is None or not stood.from_ms < time_ms <= stood.until_ms:
            return False
        calm = self.ranges.get(quantity)
        self._stands[quantity] = Stand(time_ms, time_ms + self.hold_ms, value, value)
        return calm is None or calm.holds(value, value)

    def _derives(self, time_ms: int, touched: Sequence[str]) -> bool:
        for quantity, (names, values) in self.derived.items():
            if any(name in touched for name in names):
                inputs = [self._stands.get(name) for name in names]
                known = [one for one in inputs if one is not None and one.until_ms > time_ms]
                if len(known) < len(names):
                    continue
                value = float(values(*(np.float64(one.for_high) for one in known)))
                until_ms = min(one.until_ms for one in known)
                if value != value or not self._stays(quantity, Stand(time_ms, until_ms, value, value)):  # noqa: PLR0124  # not a number
                    return False
        if "tray_mass" in touched and not self._weighs(time_ms):
            return False
        return self.lamp_quantity not in touched or self._lights()

    def _weighs(self, time_ms: int) -> bool:
        masses, weighed = masses_at(self.masses, time_ms), self._stands["tray_mass"]
        if masses is None:
            return True
        if "water_lost" not in self._stands:
            return False
        lost = lost_pct(weighed.for_high, masses)
        return self._stays("water_lost", Stand(time_ms, weighed.until_ms, lost, lost))

    def _lights(self) -> bool:
        assert self.lit is not None
        light = self._stands[self.lamp_quantity]
        hours = self.lit.hours_if_unchanged(light)
        self._lit_until_ms = light.until_ms
        return hours is not None and self._stays("light_hours", hours)

    def _stays(self, quantity: str, stand: Stand) -> bool:
        self._stands[quantity] = stand
        calm = self.ranges.get(quantity)
        return calm is None or calm.holds(stand.for_low, stand.for_high)

    def _anything_missed(self, to_ms: int) -> bool:
        for quantity, silence in self.silences.items():
            stand = self._stands.get(quantity)
            unknown_ms = stand.from_ms + self.hold_ms if stand else silence.missed_from_ms
            if silence.raised or (unknown_ms is not None and unknown_ms + silence.delay_ms < to_ms):
                return True
        return False
