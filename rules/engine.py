"""The rule engine: readings in, transitions out, the same for a second as for a week.

The rule of this file: no clock, no chance. Everything before ``until`` is judged by ``advance``,
from readings fed before it; what lies at ``until`` itself waits, because another reading of that
very instant may still come.
"""

from collections.abc import Iterable, Mapping
from itertools import chain
from typing import Any

from wardian.rules.moving import Moving, moved_state
from wardian.rules.plans import TrayPlan
from wardian.rules.readings import Chunk, Reading
from wardian.rules.transitions import Transition
from wardian.rules.tray_engine import TrayEngine


class Engine:
    """All trays, each judged by itself."""

    def __init__(
        self, plans: Iterable[TrayPlan], states: Mapping[str, Mapping[str, Any]] | None = None
    ) -> None:
        """Begin anew, or go on exactly from the states that ``state`` gave.

        A tray without a state begins anew; a state without a tray is not looked at.
        """
        known = states or {}
        self.trays = {plan.tray: TrayEngine(plan, known.get(plan.tray)) for plan in plans}

    def feed(self, chunk: Chunk) -> int:
        """Take readings, in any order of time; return how many came too late to be judged.

        A repeated (time, series) is ignored: the first stands. Trays nobody planned are not looked at.
        """
        return sum(
            self.trays[series.tray].feed(series.quantity, points)
            for series, points in chunk.items()
            if series.tray in self.trays
        )

    def take(self, readings: Iterable[Reading]) -> list[Reading]:
        """Take live readings as they come; return those that came too late to be judged."""
        trays = self.trays
        return [one for one in readings if one.tray in trays and not trays[one.tray].take(one)]

    def refuse(self, time_ms: int, tray: str, quantity: str) -> None:
        """Take note of a refused reading: it doubts its sensor and judges nothing else."""
        if tray in self.trays:
            self.trays[tray].refuse(time_ms, quantity)

    def expect(self, from_ms: int) -> None:
        """Miss, from this instant on, every expected series that was never heard."""
        for tray in self.trays.values():
            tray.expect(from_ms)

    def move(self, by_ms: int) -> None:
        """Go on at another time: a clock was set, and all that lasted goes on lasting."""
        moving = Moving(1, by_ms)
        for name, tray in self.trays.items():
            self.trays[name] = TrayEngine(tray.plan, moved_state(tray.state(), moving))

    def advance(self, until_ms: int | Mapping[str, int]) -> list[Transition]:
        """Judge all before an instant (of all trays, or one for each) and tell what changed.

        Returns:
            Transitions in the order of the journal: time, tray, quantity, limit, raised before
            returned. Going back in time does nothing.
        """
        told = chain.from_iterable(
            tray.advance(until_ms if isinstance(until_ms, int) else until_ms[name])
            for name, tray in self.trays.items()
        )
        return sorted(told, key=lambda transition: transition.order)

    def raised(self) -> set[tuple[str, str, str]]:
        """Return the alarms that stand: tray, quantity, and limit or sensor condition."""
        return {(name, *alarm) for name, tray in self.trays.items() for alarm in tray.raised()}

    def state(self) -> dict[str, dict[str, Any]]:
        """Return all that is remembered, by tray, as plain JSON values."""
        return {name: tray.state() for name, tray in self.trays.items()}
