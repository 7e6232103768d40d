"""What befalls all probes of a tray at once: they fall silent and come back, or jump together.

The rule of this file: such a thing happens at an instant; it stands for as long as somebody should look.
"""

from collections.abc import Iterator
from typing import ClassVar, Final

import numpy as np

from wardian.rules.evidence import Evidence, difference, moment, number, span
from wardian.rules.observing.looks import NORMAL, Abnormal, Look, Verdict
from wardian.rules.observing.minutes import KEPT, MINUTE_MS
from wardian.rules.observing.steps import STEP_MINUTES, fall, rise

_AIR: Final = "air_temperature"
_MEDIUM: Final = "medium_temperature"
#: What else may jump, and what counts as a jump of it; light does with any switch of the lamp. From memory.
_JUMPS: Final = {
    _AIR: 1.0,
    "leaf_temperature": 1.0,
    "relative_humidity": 5.0,
    "tray_mass": 50.0,
    "medium_moisture": 5.0,
}


class PowerReturned:
    """Nothing was read of a tray for hours, and then it was again."""

    name: ClassVar[str] = "power-returned"
    quantity: ClassVar[str] = _AIR
    every: ClassVar[int] = 1

    def __init__(self) -> None:
        self._known_ms: int | None = None
        #: The last long silence.
        self._silence_ms: tuple[int, int] | None = None

    def judge(self, look: Look) -> Verdict:
        """Return whether a long silence ended lately."""
        if _is_anything_known(look):
            begin_ms, self._known_ms = self._known_ms, look.now_ms
            if begin_ms and look.figure(self.name, "after") < look.now_ms - begin_ms <= KEPT * MINUTE_MS:
                self._silence_ms = begin_ms, look.now_ms
        if self._silence_ms is None or look.now_ms - self._silence_ms[1] >= look.figure(self.name, "stands"):
            return NORMAL
        from_ms, to_ms = self._silence_ms
        words = "nothing was read of this tray for {}, from {} on"
        return Abnormal(from_ms, Evidence(words, (span(to_ms - from_ms), moment(from_ms))))


class TrayJumped:
    """All values of a tray step at one time, the medium by what neither heat nor water can do."""

    name: ClassVar[str] = "tray-jumped"
    quantity: ClassVar[str] = _MEDIUM
    every: ClassVar[int] = 1

    def __init__(self) -> None:
        self._last: Abnormal | None = None
        self._jumped_ms = 0

    def judge(self, look: Look) -> Verdict:
        """Return whether there was such a jump lately."""
        medium_k = self._medium_k(look)
        others = list(_others_jump(look)) if medium_k else []
        if medium_k and len(others) + 1 >= look.figure(self.name, "values") and all(others):
            self._last, self._jumped_ms = self._told(look, medium_k, len(others) + 1), look.now_ms
        if self._last is None or look.now_ms - self._jumped_ms >= look.figure(self.name, "stands"):
            return NORMAL
        return self._last

    def _medium_k(self, look: Look) -> float | None:
        """Return by how much the medium jumped: up by a little, or down by more than cold water does."""
        trace = look.minutes.trace(_MEDIUM, STEP_MINUTES)
        up = rise(trace, look.figure(self.name, "medium_rise"))
        down = fall(trace, look.figure(self.name, "medium_fall"))
        found = up or down
        return found.size if found else None

    def _told(self, look: Look, medium_k: float, count: int) -> Abnormal:
        words = "all {} values of this tray jumped at one time, the medium by {} within minutes"
        evidence = Evidence(words, (number(count), difference(_MEDIUM, medium_k)))
        return Abnormal(look.now_ms - 3 * MINUTE_MS, evidence)


def _others_jump(look: Look) -> Iterator[bool]:
    """Yield of each value but the medium's temperature and the light whether it jumped just now."""
    for quantity, least in _JUMPS.items():
        trace = look.minutes.trace(quantity, STEP_MINUTES)
        if len(trace.mean) and not np.isnan(trace.mean[-1]):
            yield bool(rise(trace, least) or fall(trace, least))


def _is_anything_known(look: Look) -> bool:
    minutes = look.minutes
    return any(not np.isnan(minutes.trace(quantity, 1).mean[-1]) for quantity in minutes.quantities)
