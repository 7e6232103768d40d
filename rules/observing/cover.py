"""A cover that is lifted and put back, as it shows in the traces: on the balance it rides on, else in the air.

The rule of this file: where the cover has been seen to ride on the balance, only the balance tells of it;
a fall of humidity alone is then no lifted cover.
"""

from dataclasses import dataclass
from math import isnan
from typing import Final

from wardian.rules.observing.minutes import KEPT, MINUTE_MS, Minutes, Trace
from wardian.rules.observing.steps import STEP_MINUTES, Step, fall, is_at_rest

HUMIDITY: Final = "relative_humidity"
MASS: Final = "tray_mass"
#: Air under a lifted cover dries within 1 to 3 min by tens of per cent, under leaves and in open vents by
#: less. [%] From memory.
_DIPS_PCT: Final = 8.0
#: A cover weighs 150 to 400 g, with the drops on it. [g] From memory, with a margin.
_COVER_G: Final = (100.0, 600.0)
#: How much of its mass must come back to say that the cover is on.
_BACK: Final = 0.6
#: Humidity that has risen so far from its lowest value says that the cover is on. [%] Chosen.
_RISEN_PCT: Final = 3.0
#: An airing is over in 45 min (common practice, no source); a cover that is off for longer was left off.
AIRING_MS: Final = 45 * MINUTE_MS
#: Dips of humidity so soon after the last lift come from that.
_AFTERMATH_MS: Final = 30 * MINUTE_MS
#: A cover off for so long is taken for one that does not belong on the tray.
_FORGOTTEN_MS: Final = 2 * 24 * 60 * MINUTE_MS


@dataclass(slots=True)
class Lift:
    """One lifted cover; ``to_ms`` moves on while it is off, for 45 min at most.

    ``cover_g`` is what the balance lost, None where only the air tells; ``before`` is the level before of
    the trace that told, ``lowest`` the lowest since; ``back_ms`` is when the cover was seen to be on again.
    """

    from_ms: int
    to_ms: int
    before: float
    lowest: float
    cover_g: float | None = None
    back_ms: int | None = None

    @property
    def is_off(self) -> bool:
        """Whether the cover is still off."""
        return self.back_ms is None


class CoverSeen:
    """The cover of one tray; ``last`` is the last time that it was lifted, if ever."""

    def __init__(self) -> None:
        self.last: Lift | None = None
        self._on_balance_ms: int | None = None

    @property
    def is_off(self) -> bool:
        """Whether the cover is off, however long."""
        return self.last is not None and self.last.is_off

    def has_just_come_back(self, now_ms: int) -> bool:
        """Return whether the cover was put back in the minutes that a step is seen against."""
        back_ms = self.last.back_ms if self.last else None
        return back_ms is not None and now_ms - back_ms <= STEP_MINUTES * MINUTE_MS

    def step(self, minutes: Minutes) -> Lift | None:
        """Look at the minute that was just closed; return a lift that begins with it, or goes on."""
        now_ms = minutes.now_ms
        assert now_ms is not None
        air, mass = minutes.trace(HUMIDITY, STEP_MINUTES), minutes.trace(MASS, STEP_MINUTES)
        pulse = fall(mass, _COVER_G[0])
        is_cover = pulse is not None and pulse.size <= _COVER_G[1] and is_at_rest(mass, pulse)
        if pulse and is_cover and not (self.is_off and self.last and self.last.cover_g):
            self._on_balance_ms = now_ms
            return self._weighed(pulse, mass, now_ms)
        if self.last and self.last.is_off:
            return self._go_on(self.last, air, mass, now_ms)
        dip = None if self._rides(mass, now_ms) else fall(air, _DIPS_PCT)
        if dip and (self.last is None or now_ms - self.last.to_ms > _AFTERMATH_MS):
            self.last = Lift(_began_ms(dip, now_ms), now_ms, dip.before, float(air.mean[-1]))
            return self.last
        return None

    def _rides(self, mass: Trace, now_ms: int) -> bool:
        """Return whether the balance would tell, because it did in the last three days and is read."""
        seen_ms = self._on_balance_ms
        return seen_ms is not None and now_ms - seen_ms < KEPT * MINUTE_MS and not isnan(mass.mean[-1])

    def _weighed(self, pulse: Step, mass: Trace, now_ms: int) -> Lift:
        from_ms = _began_ms(pulse, now_ms)
        if self.last and self.last.is_off:
            from_ms = min(from_ms, self.last.from_ms)
        self.last = Lift(from_ms, now_ms, pulse.before, float(mass.high[-1]), pulse.size)
        return self.last

    def _go_on(self, lift: Lift, air: Trace, mass: Trace, now_ms: int) -> Lift | None:
        is_airing = now_ms - lift.from_ms <= AIRING_MS
        if lift.cover_g is None:
            self._follow_air(lift, air, now_ms)
        elif mass.low[-1] >= lift.lowest + _BACK * lift.cover_g or now_ms - lift.from_ms > _FORGOTTEN_MS:
            lift.back_ms = now_ms
        if is_airing and (lift.is_off or lift.cover_g is not None):
            lift.to_ms = now_ms
        return lift if is_airing else None

    def _follow_air(self, lift: Lift, air: Trace, now_ms: int) -> None:
        if air.mean[-1] < lift.lowest:
            lift.lowest = float(air.mean[-1])
        if air.mean[-1] >= lift.lowest + _RISEN_PCT or now_ms - lift.from_ms > AIRING_MS:
            lift.back_ms = now_ms


def _began_ms(step: Step, now_ms: int) -> int:
    return now_ms - step.minutes_ago * MINUTE_MS
