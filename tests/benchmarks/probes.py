"""What the figures about a running loop need: a wire that hands over what it is given, and no words."""

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, cast

from fake_clock import FakeClock

from wardian.adapters.stores.sql import SqlStore
from wardian.daemon.loop import Loop
from wardian.rules.engine import Engine
from wardian.rules.plans import TrayPlan
from wardian.rules.ports import Arrival, Decoded, DueMessage, HandOver
from wardian.rules.readings import Series
from wardian.rules.transitions import Transition
from wardian.rules.wire_health import SensorHealth

if TYPE_CHECKING:
    from wardian.daemon.words import Teller


class Probes:
    """Decodes as it is told."""

    name = "probes"
    expected: frozenset[Series] = frozenset()
    poll_every_s: float | None = None

    def __init__(self, decode: Callable[[Arrival], Decoded]) -> None:
        self.decode = decode

    def start(self, hand_over: HandOver) -> None: ...

    def poll(self) -> None: ...

    def acknowledge(self, arrivals: Sequence[Arrival]) -> None: ...

    def hear_live(self, *, only: bool) -> None: ...

    def health(self) -> SensorHealth:
        return SensorHealth(works=True, words="")

    def stop(self) -> None: ...


class Silent:
    """Puts a change into the journal and tells nobody."""

    def fields(self, transition: Transition) -> dict[str, Any]:
        return {"quantity": transition.quantity, "condition": transition.condition, "event": transition.event}

    def messages(self, transition: Transition, fields: Mapping[str, Any]) -> list[DueMessage]:
        return []

    def nudge(self, due: Sequence[DueMessage]) -> None: ...


def loop_over(store: SqlStore, plans: Sequence[TrayPlan], clock: FakeClock) -> Loop:
    """Return the real loop on a stepped clock, ready to judge."""
    engine = Engine(plans)
    loop = Loop(engine, store, cast("Teller", Silent()), dict.fromkeys(engine.trays, 5000), clock)
    loop.quiet_s = 0.0
    loop.bring_up_to_date(clock.wall_ms())
    return loop
