"""Care as it shows in the traces: a cover lifted, a misting, a watering; beside what people recorded.

The rule of this file: one deed is one event, whether it was recorded, seen, or both.
"""

from collections.abc import Sequence
from math import isnan
from typing import Final, NamedTuple

from wardian.rules.observing.cover import HUMIDITY, MASS, CoverSeen, Lift
from wardian.rules.observing.looks import LIFTED, MISTED, WATERED, Care
from wardian.rules.observing.minutes import KEPT, MINUTE_MS, Minutes
from wardian.rules.observing.steps import STEP_MINUTES, fall, is_at_rest, rise

#: What a misting and a watering weigh at least, and a watering at most. [g] From memory: a misting brings 5 to
#: 40 g to a tray, a watering 100 to 900; a light mist on a small tray less.
_MIST_G: Final = 3.0
#: A tray that is aired and not misted loses some grams: what it gained over a lift was brought. [g] Chosen.
_GAIN_G: Final = 1.0
_WATER_G: Final = 40.0
_MOST_WATER_G: Final = 900.0
#: Where there is no balance: how far the medium falls by water that is poured on it. [K] From memory.
_WATER_COOLS_K: Final = 0.8
#: And the humidity that a wetted probe shows. [%] From memory.
_WET_PCT: Final = 99.0
#: What is gone again but for a fifth within so long was laid down and taken away. Chosen.
_GONE: Final = 0.2
_GONE_MS: Final = 6 * MINUTE_MS
#: How long after a lift its mist and water show.
_SHOWS_MS: Final = 20 * MINUTE_MS
#: How long the balance needs to be still after the cover is back.
_SETTLES_MS: Final = MINUTE_MS
#: Recorded and seen care of one kind that are no further apart are one.
_SAME_MS: Final = 15 * MINUTE_MS


class Brought(NamedTuple):
    """What a step of the balance brought: when it began, the mass before it and how much it was [g]."""

    from_ms: int
    before_g: float
    grams: float


class CareSeen:
    """What was done at one tray in the last three days."""

    def __init__(self) -> None:
        self._events: list[Care] = []
        self.begin_anew()

    def begin_anew(self) -> None:
        """Forget what is under way in the traces; what was done is remembered."""
        self._cover = CoverSeen()
        #: The lift whose water is still to be weighed.
        self._unweighed: Lift | None = None
        #: What came by a step within the last minutes.
        self._brought: Brought | None = None

    @property
    def events(self) -> Sequence[Care]:
        """Care of the last three days, recorded or seen, in order of beginning."""
        return self._events

    @property
    def lift(self) -> Lift | None:
        """The last time that the cover was lifted, None where it never was."""
        return self._cover.last

    def record(self, care: Care) -> None:
        """Take note of care that a person recorded; it takes the place of the same that was seen."""
        self._events = [one for one in self._events if one.is_recorded or not _is_same(one, care)]
        self._add(care._replace(is_recorded=True))

    def forget_recorded(self) -> None:
        """Forget what people recorded: they may have corrected it."""
        self._events = [one for one in self._events if not one.is_recorded]

    def step(self, minutes: Minutes) -> None:
        """Look at the minute that was just closed."""
        assert minutes.now_ms is not None
        forgotten_ms = minutes.now_ms - KEPT * MINUTE_MS
        if self._events and self._events[0].from_ms < forgotten_ms:
            self._events = [one for one in self._events if one.to_ms >= forgotten_ms]
        lift = self._cover.step(minutes)
        if lift:
            self._unweighed = lift
            self._see(LIFTED, lift.from_ms, lift.to_ms)
        if _is_known(minutes, MASS):
            self._weigh(minutes, minutes.now_ms)
        elif self._cover.last and minutes.now_ms - self._cover.last.from_ms <= _SHOWS_MS:
            self._feel(minutes, self._cover.last)

    def _weigh(self, minutes: Minutes, now_ms: int) -> None:
        """See mist and water on the balance: by what is left of a lift, else by a step."""
        mass, lift = minutes.trace(MASS, STEP_MINUTES), self._unweighed
        if lift and lift.cover_g is not None:
            if lift.back_ms is None or now_ms < lift.back_ms + _SETTLES_MS:
                return
            self._unweighed = None
            if lift.back_ms - lift.from_ms <= _SHOWS_MS:
                self._see_water(float(mass.mean[-1]) - lift.before, lift.from_ms, lift.to_ms)
            return
        self._take_back(float(mass.mean[-1]), now_ms)
        step = None if self._cover.has_just_come_back(now_ms) else rise(mass, _MIST_G)
        if step and is_at_rest(mass, step):
            began_ms, grams = now_ms - step.minutes_ago * MINUTE_MS, float(mass.mean[-1]) - step.before
            self._see_water(grams, began_ms, now_ms)
            self._brought = Brought(began_ms, step.before, grams)

    def _take_back(self, mass_g: float, now_ms: int) -> None:
        """Forget water that was seen to come by a step and is gone again: it was a thing laid down."""
        brought = self._brought
        if brought is None or now_ms - brought.from_ms > _GONE_MS:
            self._brought = None
        elif mass_g - brought.before_g < _GONE * brought.grams:
            self._brought = None
            self._events = [one for one in self._events if one.is_recorded or one.from_ms != brought.from_ms]

    def _feel(self, minutes: Minutes, lift: Lift) -> None:
        """See mist and water without a balance, after a lift."""
        if fall(minutes.trace("medium_temperature", STEP_MINUTES), _WATER_COOLS_K):
            self._see(WATERED, lift.from_ms, lift.to_ms)
        air = minutes.trace(HUMIDITY, 1).mean
        if lift.before < _WET_PCT - 1 and len(air) and air[-1] >= _WET_PCT:
            self._see(MISTED, lift.from_ms, lift.to_ms)

    def _see_water(self, grams: float, from_ms: int, to_ms: int) -> None:
        if _GAIN_G <= grams <= _MOST_WATER_G:
            self._see(WATERED if grams >= _WATER_G else MISTED, from_ms, to_ms)

    def _see(self, event: str, from_ms: int, to_ms: int) -> None:
        """Take note of care that was seen, once; what is seen of it later makes it longer."""
        care = Care(event, from_ms, to_ms)
        same = [one for one in self._events if _is_same(one, care)]
        seen = [one for one in same if not one.is_recorded]
        self._events = [one for one in self._events if one not in seen]
        if len(seen) == len(same):
            begins = min([from_ms, *(one.from_ms for one in seen)])
            self._add(Care(event, begins, max([to_ms, *(one.to_ms for one in seen)])))

    def _add(self, care: Care) -> None:
        self._events.append(care)
        self._events.sort(key=lambda one: one.from_ms)


def _is_same(one: Care, other: Care) -> bool:
    return (
        one.event == other.event
        and one.from_ms <= other.to_ms + _SAME_MS
        and other.from_ms <= one.to_ms + _SAME_MS
    )


def _is_known(minutes: Minutes, quantity: str) -> bool:
    last = minutes.trace(quantity, 1).mean
    return len(last) > 0 and not isnan(last[-1])
