"""The loop with fakes around it: a sensor that hands over what it is given, a teller of few words, a flaky store."""

from collections.abc import Mapping, Sequence
from datetime import UTC
from typing import TYPE_CHECKING, Any

from fake_clock import FakeClock

from wardian.adapters.stores.memory import MemoryStore
from wardian.daemon.lives import Lives
from wardian.daemon.loop import Loop
from wardian.daemon.recording import Recording
from wardian.daemon.tongue import Tongue, utc_text
from wardian.rules.crops import Band, Limit, Stage, StageSpan
from wardian.rules.engine import Engine
from wardian.rules.life import Impossible
from wardian.rules.plans import TrayPlan
from wardian.rules.ports import (
    Alarm,
    Arrival,
    Decoded,
    DueMessage,
    HandOver,
    Kept,
    Measured,
    Message,
    Round,
)
from wardian.rules.readings import Series
from wardian.rules.records import Record
from wardian.rules.transitions import Transition
from wardian.rules.wire_health import SensorHealth

if TYPE_CHECKING:
    from wardian.rules.errors import StoreFailed

MINUTE_MS = 60_000
BEGIN_MS = 1_772_400_000_000
SETTLE_MS = 5_000


class FakeSensor:
    """Hands over lists of measured values and refusals as they are."""

    name = "bench"
    expected: frozenset[Series] = frozenset()
    poll_every_s: float | None = None

    def __init__(self) -> None:
        self.acknowledged: list[Arrival] = []
        self.works = True
        self.live: list[bool] = []

    def start(self, hand_over: HandOver) -> None:
        self.hand_over = hand_over

    def poll(self) -> None: ...

    def decode(self, arrival: Arrival) -> Decoded:
        content: Decoded = arrival.message
        return content

    def acknowledge(self, arrivals: Sequence[Arrival]) -> None:
        self.acknowledged += arrivals

    def hear_live(self, *, only: bool) -> None:
        self.live.append(only)

    def health(self) -> SensorHealth:
        return SensorHealth(self.works, "connected" if self.works else "no connection")

    def stop(self) -> None: ...


class FakeTeller:
    """Says little, to one channel."""

    channels = ("bell",)
    tongue = Tongue(UTC)

    def __init__(self) -> None:
        self.nudged = 0

    def fields(self, transition: Transition, cause: object = None) -> dict[str, Any]:
        return {
            "time": utc_text(transition.time_ms),
            "since": utc_text(transition.since_ms),
            "tray": transition.tray,
            "quantity": transition.quantity,
            "limit": transition.limit,
            "condition": transition.condition,
            "event": transition.event,
            "message": f"{transition.event}.",
            "alarm": "too-warm" if transition.limit else transition.condition,
        }

    def message(self, fields: Mapping[str, Any]) -> Message:
        key = f"{fields['tray']}{fields['quantity']}{fields['condition']}{fields['event']}{fields['time']}"
        return Message(key, "subject", "body", fields)

    def messages(self, message: Message) -> list[DueMessage]:
        return [DueMessage("bell", message)]

    def retired(self, fields: Mapping[str, Any], now_ms: int) -> dict[str, Any]:
        return {**fields, "event": "returned"}

    def notices(self, fields: Mapping[str, Any]) -> list[DueMessage]:
        return [DueMessage("bell", Message(f"retired {fields['tray']}", "subject", "body", fields))]

    def nudge(self, due: Sequence[DueMessage]) -> None:
        self.nudged += len(due)


class FlakyStore(MemoryStore):
    """A store that fails as often as it is told to."""

    def __init__(self) -> None:
        super().__init__()
        self.failures: list[StoreFailed] = []
        self.announced: list[str] = []

    def announce(self, trouble: str) -> None:
        self.announced.append(trouble)

    def keep(self, round_: Round) -> Kept:
        if self.failures:
            raise self.failures.pop(0)
        return super().keep(round_)


def plan(high: float = 25.0) -> TrayPlan:
    band = Band("air_temperature", (Limit("high", high, high - 0.5, MINUTE_MS, 0),))
    stage = Stage("callusing", 0, {"air_temperature": band})
    return TrayPlan("tray-a", (StageSpan(BEGIN_MS - 86_400_000, stage),), 5 * MINUTE_MS)


def name(alarm: Alarm) -> dict[str, Any]:
    """Return what says of an alarm that never was what an entry says; only trays on the bench are known."""
    if not alarm.tray.startswith("tray-"):
        raise Impossible(f"nobody watches {alarm.tray}")
    return {**alarm._asdict(), "limit": alarm.condition, "alarm": "too-warm", "since": None}


class Rig:
    """A loop on one tray, or on those of some plans, with a clock that a test steps."""

    def __init__(self, store: FlakyStore | None = None, *plans: TrayPlan, begun_minutes: float = 0) -> None:
        self.clock = FakeClock(BEGIN_MS + round(begun_minutes * MINUTE_MS))
        self.sensor = FakeSensor()
        self.teller = FakeTeller()
        self.store = store or FlakyStore()
        self.engine = Engine(plans or (plan(),), self.store.states())
        settle_ms = dict.fromkeys(self.engine.trays, SETTLE_MS)
        self.loop = Loop(self.engine, self.store, self.teller, settle_ms, self.clock)  # type: ignore[arg-type]  # it needs no more of a teller
        self.sensor.start(self.loop.queue.hand_over)
        self.loop.quiet_s = 0.0
        self.loop.lives = Lives(self.store.last_of_alarms(), names=name)
        self.loop.bring_up_to_date(self.clock.now_ms)
        stuck_ms = dict.fromkeys(self.engine.trays, BEGIN_MS - 86_400_000)
        self.loop.before = [Recording(self.store, self.teller.tongue, stuck_ms, self._replan)]

    def _replan(self, tray: str, records: Sequence[Record]) -> None:
        self.loop.replan(self.engine.trays[tray].plan, records)

    def arrive(self, *values: float, minutes: float = 0, tray: str = "tray-a") -> Arrival:
        time_ms = BEGIN_MS + round(minutes * MINUTE_MS)
        measured = [Measured(time_ms + n, tray, "air_temperature", value) for n, value in enumerate(values)]
        return self.hand_over(Decoded(measured))

    def hand_over(self, decoded: Decoded) -> Arrival:
        arrival = Arrival(self.sensor, self.clock.now_ms, decoded)
        assert self.sensor.hand_over(arrival)
        return arrival

    def round_at(self, minutes: float) -> None:
        self.clock.step_to(BEGIN_MS + round(minutes * MINUTE_MS))
        self.loop.round([self.sensor])

    def events(self) -> list[tuple[int, str]]:
        return [(entry.time_ms - BEGIN_MS, entry.fields["event"]) for entry in self.store.journal()]
