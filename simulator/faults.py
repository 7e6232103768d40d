"""What can go wrong in the pretended room: a short list, scripted by hours after the start."""

import math
from dataclasses import dataclass
from typing import Final

#: Fault → what it does, for people.
FAULTS: Final = {
    "heater dead": "the heating mat gives no heat any more",
    "heater stuck on": "the heating mat heats whatever the thermostat says",
    "cover left off": "the cover is not put back",
    "lamp dead": "the lamp gives no light any more",
    "sensor silent": "no reading of the tray arrives any more",
}

_MS_PER_HOUR: Final = 3_600_000


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of one tray, from ``after_h`` hours after the start on, for ``lasts_h`` hours."""

    fault: str
    tray: str
    after_h: float
    lasts_h: float = math.inf

    def __post_init__(self) -> None:
        """Refuse an unknown fault and times that never come."""
        if self.fault not in FAULTS:
            raise ValueError(f"fault {self.fault!r} is unknown; {', '.join(FAULTS)} is accepted")
        if not (0 <= self.after_h < math.inf and self.lasts_h > 0):
            raise ValueError(f"{self.fault}: after_h from 0 on and lasts_h above 0 are accepted")

    def holds(self, since_start_ms: int) -> bool:
        """Return whether the fault is there, so many milliseconds after the start."""
        return 0 <= since_start_ms - self.after_h * _MS_PER_HOUR < self.lasts_h * _MS_PER_HOUR
