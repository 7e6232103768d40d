"""The pretended bench as a sensor: it enters by the same door as every real one.

Needs nothing. Its readings are the same for the same settings, however often and however late it is asked.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, tzinfo
from typing import Final

from wardian.rules.crops import StageSpan
from wardian.rules.ports import Arrival, Clock, Decoded, HandOver, Measured
from wardian.rules.readings import Rows, Series
from wardian.rules.truth import TrueFault
from wardian.rules.wire_health import SensorHealth
from wardian.simulator.growing import bench_setup
from wardian.simulator.probes import PROBES
from wardian.simulator.setup import BenchSetup
from wardian.simulator.stream import Stream
from wardian.simulator.wall import MS_PER_HOUR

#: Longer pauses are slept through: nothing happens to the trays, and nothing is read.
LONGEST_PAUSE_MS: Final = 24 * MS_PER_HOUR
#: So that a day caught up at once is no flood.
READINGS_PER_ARRIVAL: Final = 1_000
_PIECE_MS: Final = MS_PER_HOUR


@dataclass(frozen=True, slots=True)
class SimulatedSettings:
    """A pretended bench: its trays with their stages, its seed, how often it is read, and what goes wrong.

    Without ``start_ms`` it begins when the daemon does. ``faults`` are in milliseconds after the start. The
    lamp's hours are local, 5.5 is half past five. Thermostats are set as the bands want it, or all to
    ``set_point_c``.
    """

    name: str
    trays: tuple[tuple[str, Sequence[StageSpan]], ...]
    seed: int = 1
    every_s: float = 10.0
    faults: tuple[TrueFault, ...] = ()
    set_point_c: float | None = None
    lamp_on_h: float = 5.0
    lamp_off_h: float = 23.0
    timezone: tzinfo = UTC
    start_ms: int | None = None

    def setup(self, start_ms: int) -> BenchSetup:
        """Return the bench as it stands when it begins at an instant.

        Raises:
            ValueError: A fault is of a tray that is not on the bench, or ``every_s`` is below 1.
        """
        if self.every_s < 1:
            raise ValueError(f"every_s is {self.every_s:g}; 1 s or more is accepted")
        setup = replace(
            bench_setup(self.trays, start_ms),
            seed=self.seed,
            every_ms=round(self.every_s * 1000),
            lamp_on_h=self.lamp_on_h,
            lamp_off_h=self.lamp_off_h,
            zone=self.timezone,
            faults=tuple(
                fault._replace(from_ms=fault.from_ms + start_ms, to_ms=fault.to_ms + start_ms)
                for fault in self.faults
            ),
        )
        return setup if self.set_point_c is None else setup.with_set_point(self.set_point_c)


class SimulatedSensor:
    """Hands over what the pretended probes would have shown since the last poll."""

    def __init__(self, settings: SimulatedSettings, clock: Clock) -> None:
        """Nothing lives before the start."""
        settings.setup(0)
        self.name = settings.name
        self.expected = frozenset(Series(tray, quantity) for tray, _ in settings.trays for quantity in PROBES)
        self.poll_every_s: float | None = settings.every_s
        self._settings = settings
        self._clock = clock
        self._hand_over: HandOver | None = None
        self._stream: Stream | None = None
        self._next_ms = 0
        self._pending: list[Arrival] = []

    def start(self, hand_over: HandOver) -> None:
        """Let the trays begin to live: at ``start_ms``, or now on the grid of the reading interval."""
        now_ms, every_ms = self._clock.wall_ms(), round(self._settings.every_s * 1000)
        start_ms = self._settings.start_ms
        self._next_ms = now_ms - now_ms % every_ms if start_ms is None else start_ms
        self._stream = Stream(self._settings.setup(self._next_ms), self._next_ms)
        self._hand_over = hand_over

    def poll(self) -> None:
        """Hand over every reading that has arrived since the last poll, a day's at most, in that order.

        What the loop has no room for waits for the next poll; a clock that was set back is waited out.
        """
        hand_over, stream = self._hand_over, self._stream
        if hand_over is None or stream is None:
            return
        now_ms = self._clock.wall_ms()
        self._sleep_through(stream, now_ms)
        while self._pending or self._next_ms <= now_ms:
            if not self._pending:
                until_ms = min(self._next_ms + _PIECE_MS, now_ms + 1)
                self._pending = list(self._arrivals(stream.until(until_ms), now_ms))
                self._next_ms = until_ms
            while self._pending:
                if not hand_over(self._pending[0]):
                    return
                del self._pending[0]

    def decode(self, arrival: Arrival) -> Decoded:
        """Return the readings as they are: pretended probes speak plainly."""
        measured: Sequence[Measured] = arrival.message
        return Decoded(measured=list(measured))

    def acknowledge(self, arrivals: Sequence[Arrival]) -> None:
        """Do nothing: what was read is not kept here."""

    def hear_live(self, *, only: bool) -> None:
        """Do nothing: nobody waits for an acknowledgement."""

    def health(self) -> SensorHealth:
        """Return that all is well, always: its faults are those of trays."""
        return SensorHealth(works=True, words=f"{len(self._settings.trays)} pretended trays")

    def stop(self) -> None:
        """Let the trays be."""
        self._hand_over = None

    def _sleep_through(self, stream: Stream, now_ms: int) -> None:
        behind_ms = now_ms - LONGEST_PAUSE_MS - self._next_ms
        if behind_ms > 0:
            self._next_ms += behind_ms
            stream.skip(self._next_ms)

    def _arrivals(self, rows: Rows, now_ms: int) -> Iterator[Arrival]:
        columns = zip(rows.codes.tolist(), rows.times_ms.tolist(), rows.values.tolist(), strict=True)
        measured = [
            Measured(time_ms, rows.series[code].tray, rows.series[code].quantity, value)
            for code, time_ms, value in columns
        ]
        for first in range(0, len(measured), READINGS_PER_ARRIVAL):
            yield Arrival(self, now_ms, measured[first : first + READINGS_PER_ARRIVAL])
