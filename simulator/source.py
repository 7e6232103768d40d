"""The pretended bench as a sensor: it enters by the same door as every real one.

Needs nothing. Its readings lie on an exact grid of time and are the same for the same settings,
however often and however late it is asked.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, tzinfo
from random import Random
from typing import Final

from wardian.rules.ports import Arrival, Clock, Decoded, HandOver, Measured, SensorHealth
from wardian.rules.readings import Series
from wardian.simulator.faults import Fault
from wardian.simulator.tray import Tray, TraySettings

#: Longer pauses are slept through: nothing happens to the trays, and nothing is read.
LONGEST_PAUSE_MS: Final = 24 * 3_600_000
#: So that a day caught up at once is no flood.
READINGS_PER_ARRIVAL: Final = 1_000


@dataclass(frozen=True, slots=True)
class _Probe:
    """What one cheap probe makes of the truth: normal noise, then the steps it can show."""

    noise: float
    step: float
    decimals: int
    noise_share: float = 0.0
    highest: float = 1e6

    def shown(self, truth: float, chance: Random) -> float:
        blurred = chance.gauss(truth, self.noise + self.noise_share * truth)
        return round(round(max(0.0, min(self.highest, blurred)) / self.step) * self.step, self.decimals)


_PROBES: Final = {
    "air_temperature": _Probe(noise=0.05, step=0.01, decimals=2),
    "medium_temperature": _Probe(noise=0.03, step=0.0625, decimals=4),
    "relative_humidity": _Probe(noise=0.4, step=0.1, decimals=1, highest=100.0),
    "illuminance": _Probe(noise=0.5, step=1.0, decimals=0, noise_share=0.01),
    "tray_mass": _Probe(noise=0.5, step=1.0, decimals=0),
}


@dataclass(frozen=True, slots=True)
class SimulatedSettings:
    """A pretended bench: its trays, its seed, how often it is read, and what goes wrong on it.

    Without ``start_ms`` it begins when the daemon does. The lamp's hours are local, 5.5 is half past
    five; the thermostat keeps the medium at ``set_point_c``.
    """

    name: str
    trays: tuple[str, ...]
    seed: int = 1
    every_s: float = 10.0
    faults: tuple[Fault, ...] = ()
    set_point_c: float = 25.5
    lamp_on_h: float = 5.0
    lamp_off_h: float = 23.0
    timezone: tzinfo = UTC
    start_ms: int | None = None

    def __post_init__(self) -> None:
        """Refuse a fault of a tray that is not on the bench."""
        for fault in self.faults:
            if fault.tray not in self.trays:
                raise ValueError(
                    f"{fault.fault}: tray {fault.tray!r} is unknown; {', '.join(self.trays)} is accepted"
                )
        if self.every_s < 1:
            raise ValueError(f"every_s is {self.every_s:g}; 1 s or more is accepted")


class _PretendedTray:
    """One tray with the probes in it; each instant takes the same draws of chance, read or not."""

    def __init__(self, settings: SimulatedSettings, name: str, start_ms: int) -> None:
        faults = tuple(fault for fault in settings.faults if fault.tray == name)
        self._name = name
        self._chance = Random(f"{settings.seed} {name} probes")  # noqa: S311 # no secret hangs on it
        self._tray = Tray(
            TraySettings(
                name=name,
                seed=settings.seed,
                start_ms=start_ms,
                set_point_c=settings.set_point_c,
                lamp_on_h=settings.lamp_on_h,
                lamp_off_h=settings.lamp_off_h,
                timezone=settings.timezone,
                faults=faults,
            )
        )

    def sleep(self, until_ms: int) -> None:
        self._tray.sleep(until_ms)

    def read(self, time_ms: int) -> list[Measured]:
        self._tray.advance(time_ms)
        truth = (
            self._tray.air_c,
            self._tray.medium_c,
            self._tray.humidity_pct,
            self._tray.light_lx,
            self._tray.mass_g,
        )
        measured = [
            Measured(time_ms, self._name, quantity, probe.shown(value, self._chance))
            for (quantity, probe), value in zip(_PROBES.items(), truth, strict=True)
        ]
        return [] if self._tray.has("sensor silent") else measured


class SimulatedSensor:
    """Hands over what the pretended probes would have shown since the last poll."""

    def __init__(self, settings: SimulatedSettings, clock: Clock) -> None:
        """Nothing lives before the start."""
        self.name = settings.name
        self.expected = frozenset(Series(tray, quantity) for tray in settings.trays for quantity in _PROBES)
        self.poll_every_s: float | None = settings.every_s
        self._settings = settings
        self._clock = clock
        self._hand_over: HandOver | None = None
        self._trays: list[_PretendedTray] = []
        self._every_ms = round(settings.every_s * 1000)
        self._next_ms = 0
        self._pending: Arrival | None = None

    def start(self, hand_over: HandOver) -> None:
        """Let the trays begin to live: at ``start_ms``, or now on the grid of the reading interval."""
        now_ms = self._clock.wall_ms()
        start_ms = self._settings.start_ms
        self._next_ms = now_ms - now_ms % self._every_ms if start_ms is None else start_ms
        self._trays = [_PretendedTray(self._settings, name, self._next_ms) for name in self._settings.trays]
        self._hand_over = hand_over

    def poll(self) -> None:
        """Hand over every reading due since the last poll, a day's at most, in the order of time.

        What the loop has no room for waits for the next poll; a clock that was set back is waited out.
        """
        hand_over = self._hand_over
        if hand_over is None:
            return
        now_ms = self._clock.wall_ms()
        self._sleep_through(now_ms)
        for arrival in self._arrivals(now_ms):
            self._pending = None if hand_over(arrival) else arrival
            if self._pending is not None:
                return

    def decode(self, arrival: Arrival) -> Decoded:
        """Return the readings as they are: pretended probes speak plainly."""
        measured: Sequence[Measured] = arrival.message
        return Decoded(measured=list(measured))

    def acknowledge(self, arrivals: Sequence[Arrival]) -> None:
        """Do nothing: what was read is not kept here."""

    def health(self) -> SensorHealth:
        """Return that all is well, always: its faults are those of trays."""
        return SensorHealth(works=True, words=f"{len(self._settings.trays)} pretended trays")

    def stop(self) -> None:
        """Let the trays be."""
        self._hand_over = None

    def _sleep_through(self, now_ms: int) -> None:
        behind_ms = now_ms - LONGEST_PAUSE_MS - self._next_ms
        if behind_ms > 0:
            self._next_ms += -(-behind_ms // self._every_ms) * self._every_ms
            for tray in self._trays:
                tray.sleep(self._next_ms)

    def _arrivals(self, now_ms: int) -> Iterator[Arrival]:
        if self._pending is not None:
            yield self._pending
        while self._next_ms <= now_ms:
            if readings := self._readings(now_ms):
                yield Arrival(self, now_ms, readings)

    def _readings(self, now_ms: int) -> list[Measured]:
        readings: list[Measured] = []
        while self._next_ms <= now_ms and len(readings) < READINGS_PER_ARRIVAL:
            for tray in self._trays:
                readings += tray.read(self._next_ms)
            self._next_ms += self._every_ms
        return readings
