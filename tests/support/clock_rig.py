"""A loop on one tray whose machine has a clock that a test sets, and what the watch makes of it."""

from collections.abc import Callable, Mapping
from typing import Final

from fake_clock import FakeClock
from loop_rig import MINUTE_MS, SETTLE_MS, FakeSensor, FakeTeller, FlakyStore

from wardian.adapters.yaml_file import parse
from wardian.daemon.bench_clock import BenchClock
from wardian.daemon.clock_watch import Anew, ClockWatch
from wardian.daemon.library import library
from wardian.daemon.lives import Lives
from wardian.daemon.loop import Loop
from wardian.daemon.own_troubles import OwnTroubles
from wardian.daemon.wiring import known_ms
from wardian.rules.crops import Band, Limit, Stage, StageSpan
from wardian.rules.engine import Engine
from wardian.rules.plans import TrayPlan
from wardian.rules.ports import Arrival, Decoded, JournalEntry, Measured
from wardian.rules.transitions import WATCH

AIR: Final = "air_temperature"
ROUND_MS: Final = 10_000
_ADVICE: Final = library(parse).watch
_EARLY_MS: Final = 1_767_225_600_000  # 2026-01-01, so that every day of a test is one of the stage


def plan() -> TrayPlan:
    """Too warm after 5 min above 25 °C, silent 10 min after a value is 5 min old; power returns after 2 h without a word."""
    band = Band(AIR, (Limit("high", 25.0, 24.5, 5 * MINUTE_MS, 0),))
    spans = (StageSpan(_EARLY_MS - 400 * 86_400_000, Stage("callusing", 0, {AIR: band})),)
    power = {"after": 2 * 60 * MINUTE_MS, "stands": 4 * 60 * MINUTE_MS}
    silent_after_ms = {AIR: 10 * MINUTE_MS}
    return TrayPlan(
        "tray-a", spans, 5 * MINUTE_MS, silent_after_ms=silent_after_ms, figures={"power-returned": power}
    )


class ClockRig:
    """Watches one tray; ``machine`` is the machine's own clock, ``minute`` what has really passed."""

    def __init__(self, machine: FakeClock, store: FlakyStore | None = None, *, can_move: bool = True) -> None:
        self.machine = machine
        self.store = store or FlakyStore()
        self.can_move = can_move
        self.judged_ms: list[int] = []
        self.begun_anew = 0
        self._begun_ms = machine.passed_ms
        self._open(BenchClock(machine, known_ms(self.store)), None)

    def _open(self, clock: BenchClock, anew: Anew | None) -> None:
        self.clock = clock
        self.sensor, self.teller = FakeSensor(), FakeTeller()
        self.engine = Engine([plan()], self.store.states())
        self.loop = Loop(self.engine, self.store, self.teller, {"tray-a": SETTLE_MS}, clock)  # type: ignore[arg-type]  # it needs no more of a teller
        self.loop.quiet_s = 0.0
        self.loop.lives = Lives(self.store.last_of_alarms())
        self.troubles = OwnTroubles(_ADVICE, self.teller)  # type: ignore[arg-type]  # the same
        self.loop.beside = [self.troubles]
        self.watch = ClockWatch(clock, self.loop, self.store, self.troubles)
        self.watch.can_move = self.can_move
        self.sensor.start(self.loop.queue.hand_over)
        self.loop.bring_up_to_date(clock.wall_ms())
        if anew:
            self.watch.begun_anew(anew)

    @property
    def minute(self) -> float:
        return (self.machine.passed_ms - self._begun_ms) / MINUTE_MS

    def round(self) -> None:
        """Look at the clock as the watch does, and do one round."""
        anew = self.watch.look()
        if anew:
            self.begun_anew += 1
            self.loop.close()
            self.store.move(anew.moving)
            anew.clock.move(anew.moving.by_ms)
            self._open(anew.clock, anew)
        self.loop.round([self.sensor])
        self.judged_ms.append(self.engine.trays["tray-a"].judged_ms)

    def arrive(self, value: float, own_ms: int | None = None) -> None:
        """Let a reading come now, with a time of its own or without."""
        decoded = Decoded([Measured(own_ms, "tray-a", AIR, value)])
        assert self.sensor.hand_over(Arrival(self.sensor, self.clock.wall_ms(), decoded))

    def live(
        self, minutes: float, value: Callable[[float], float | None], jumps: Mapping[float, int] = {}
    ) -> None:
        """Let real time pass, with a reading each half minute where there is one, and set the machine's clock on the way.

        ``jumps`` says by how many milliseconds after which minutes.
        """
        until, waiting = self.minute + minutes, dict(sorted(jumps.items()))
        while self.minute < until:
            self.machine.step(ROUND_MS)
            while waiting and min(waiting) <= self.minute:
                self.machine.now_ms += waiting.pop(min(waiting))
            reading = value(self.minute)
            if reading is not None and self.machine.passed_ms % 30_000 == 0:
                self.arrive(reading)
            self.round()

    def entries(self, *, of_watch: bool = False) -> list[JournalEntry]:
        """Return the entries about the tray, or about the watch itself."""
        return [entry for entry in self.store.journal() if (entry.tray == WATCH) is of_watch]

    def told(self, *, of_watch: bool = False) -> list[tuple[str, str]]:
        """Return what was raised and returned, by condition."""
        entries = self.entries(of_watch=of_watch)
        return [(entry.fields["condition"], entry.fields["event"]) for entry in entries]
