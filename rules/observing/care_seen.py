"""Care as it shows in the traces: a cover lifted, a misting, a watering; beside what people recorded."""

from collections.abc import Sequence

from wardian.rules.observing.looks import Care
from wardian.rules.observing.minutes import KEPT, MINUTE_MS, Minutes
from wardian.rules.plans import TrayPlan


class CareSeen:
    """What was done at one tray in the last three days."""

    def __init__(self, plan: TrayPlan) -> None:
        self._plan = plan
        self._events: list[Care] = []

    @property
    def events(self) -> Sequence[Care]:
        """Care of the last three days, recorded or seen, in order of beginning."""
        return self._events

    def record(self, care: Care) -> None:
        """Take note of care that a person recorded."""
        self._events.append(care)
        self._events.sort(key=lambda one: one.from_ms)

    def step(self, minutes: Minutes) -> None:
        """Look at the minute that was just closed."""
        assert minutes.now_ms is not None
        forgotten_ms = minutes.now_ms - KEPT * MINUTE_MS
        self._events = [one for one in self._events if one.to_ms >= forgotten_ms]
