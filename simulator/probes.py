"""What cheap probes make of the truth: lag, a bias for life, noise, steps, a ceiling, and lost readings."""

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from wardian.rules.quantities import SATURATION_PCT
from wardian.rules.readings import Series, Times, Values
from wardian.simulator.bench import STEP_MS, Trace
from wardian.simulator.chance import chance
from wardian.simulator.misreading import misread
from wardian.simulator.setup import BenchSetup


@dataclass(frozen=True, slots=True)
class Probe:
    """One kind of probe.

    Attributes:
        trace: Which column of the trace it sees.
        lag_s: Time constant of its first-order lag, as what it sees rises and as it falls. [s]
        bias: Standard deviation of its bias for life, cut at twice that; in the quantity's unit, or a
            share where ``is_share``.
        noise: Standard deviation from reading to reading, likewise.
        step: The least difference it can show.
        decimals: Of what it shows.
    """

    trace: str
    lag_s: tuple[float, float]
    bias: float
    noise: float
    step: float
    decimals: int
    is_share: bool = False


#: Common chips. Accuracy: +-0.3 °C and +-2 %RH (data sheet of a digital humidity chip, whose element
#: alone follows within 15 s); the rest from memory. Under a filter cap dry air is seen within a minute or two,
#: and over wet walls and a wet cap what is seen comes back with 3 to 5 min (from memory). Light as a share: dirt and place.
PROBES: Final = {
    "air_temperature": Probe("air_c", lag_s=(60, 60), bias=0.15, noise=0.03, step=0.01, decimals=2),
    "medium_temperature": Probe(
        "medium_c", lag_s=(120, 120), bias=0.125, noise=0.02, step=0.0625, decimals=4
    ),
    "relative_humidity": Probe("humidity_pct", lag_s=(280, 60), bias=1.0, noise=0.15, step=0.1, decimals=1),
    "illuminance": Probe("light_lx", lag_s=(0, 0), bias=0.02, noise=0.01, step=1, decimals=0, is_share=True),
    "tray_mass": Probe("mass_g", lag_s=(0, 0), bias=1.0, noise=0.4, step=1, decimals=0),
}
#: After long condensation a capacitive probe reads up to 3 %RH too much, and comes back over days (user
#: manual of a research humidity probe). Wet above this humidity; the hours are from memory.
_WET_PCT: Final = 98.5
_SHIFT_PCT: Final = 2.5
_SHIFTS_H: Final = 12.0
_COMES_BACK_H: Final = 48.0
#: A clock is off by up to a fortieth of the interval, and a radio loses a reading in five hundred. From memory.
_JITTER_PARTS: Final = 40
_LOST: Final = 0.002
_NEVER_NEGATIVE: Final = ("illuminance", "tray_mass")


class Read(NamedTuple):
    """Readings of one series in order of arrival: three arrays of one length."""

    times_ms: Times
    values: Values
    arrives_ms: Times


class Probes:
    """The probes of a bench; each takes the same draws of chance, however time is cut into pieces."""

    def __init__(self, setup: BenchSetup, start_ms: int) -> None:
        """Every tray has one probe of each kind, read at the same moment."""
        self._setup = setup
        self._next_ms = start_ms
        self._jitter_ms = max(setup.every_ms // _JITTER_PARTS, 1)
        self._lags: dict[str, Values] = {}
        self._shift_pct = np.zeros(len(setup.trays))
        self._felt: dict[str, Values] = {}
        self._felt_ms = np.empty(0, np.int64)
        self._ticks = [chance(setup.seed, tray.name, "ticks") for tray in setup.trays]
        self._wires = {
            Series(tray.name, quantity): _Wire(setup, tray.name, quantity, place)
            for place, tray in enumerate(setup.trays)
            for quantity in PROBES
        }

    def skip(self, until_ms: int) -> None:
        """Read nothing before an instant; the next trace begins there."""
        self._next_ms, self._felt, self._lags = until_ms, {}, {}

    def read(self, trace: Trace) -> dict[Series, Read]:
        """Return what is read along a trace that follows on the last one, as far as it surely goes."""
        self._feel(trace)
        every_ms = self._setup.every_ms
        count = max((int(trace.times_ms[-1]) - self._jitter_ms - self._next_ms) // every_ms, 0)
        ticks = self._next_ms + np.arange(count, dtype=np.int64) * every_ms
        self._next_ms += count * every_ms
        offsets_ms = [place * every_ms // (len(self._ticks) + 1) for place in range(len(self._ticks))]
        times = [
            ticks + offset_ms + draw.integers(0, self._jitter_ms, count)
            for offset_ms, draw in zip(offsets_ms, self._ticks, strict=True)
        ]
        return {
            series: wire.read(
                times[wire.place],
                np.interp(times[wire.place], self._felt_ms, self._felt[series.quantity][:, wire.place]),
            )
            for series, wire in self._wires.items()
        }

    def _feel(self, trace: Trace) -> None:
        """Go on with what probes feel at whole minutes, and forget what no reading needs any more."""
        later = slice(1 if self._felt else 0, None)
        kept = slice(max(int(self._felt_ms.searchsorted(self._next_ms)) - 1, 0), None)
        if not self._felt:
            self._felt_ms = np.empty(0, np.int64)
        self._felt_ms = np.concatenate((self._felt_ms[kept], trace.times_ms[later]))
        for quantity, probe in PROBES.items():
            felt = self._lagging(quantity, probe, trace)[later]
            before = self._felt.get(quantity, felt[:0])
            self._felt[quantity] = np.concatenate((before[kept], felt))

    def _lagging(self, quantity: str, probe: Probe, trace: Trace) -> Values:
        """Return what a probe feels at whole minutes: the truth with its lag, exact for a ramp."""
        true: Values = getattr(trace, probe.trace)
        if max(probe.lag_s) == 0:
            return true
        if quantity == "relative_humidity":
            true = true + self._shifts(true)
        felt = np.empty_like(true)
        felt[0] = self._lags.get(quantity, true[0])
        rising, falling = (np.exp(-STEP_MS / 1000 / lag_s) for lag_s in probe.lag_s)
        for step in range(len(true) - 1):
            # The exact answer of a first-order lag to what rises evenly from one minute to the next.
            rises = true[step] + true[step + 1] > 2 * felt[step]
            kept = np.where(rises, rising, falling)
            behind = (true[step + 1] - true[step]) / -np.log(kept)
            end = true[step + 1] - behind
            felt[step + 1] = end + kept * (felt[step] - true[step] + behind)
        self._lags[quantity] = felt[-1]
        return felt

    def _shifts(self, humidity_pct: Values) -> Values:
        """Return how much too much humidity probes read after long condensation [%RH]."""
        shifts = np.empty_like(humidity_pct)
        wet = humidity_pct > _WET_PCT
        rate = np.where(wet, 1 / _SHIFTS_H, 1 / _COMES_BACK_H) * (STEP_MS / 3_600_000)
        shifts[0] = self._shift_pct
        for step in range(1, len(humidity_pct)):
            before = shifts[step - 1]
            shifts[step] = before + rate[step] * (_SHIFT_PCT * wet[step] - before)
        self._shift_pct = shifts[-1]
        return shifts


class _Wire:
    """One probe in one tray, with its own draws of chance and its own faults."""

    def __init__(self, setup: BenchSetup, tray: str, quantity: str, place: int) -> None:
        self.place = place
        self._quantity = quantity
        self._probe = PROBES[quantity]
        self._bias = float(np.clip(chance(setup.seed, tray, quantity, "bias").standard_normal(), -2, 2))
        self._noise = chance(setup.seed, tray, quantity, "noise")
        self._losses = chance(setup.seed, tray, quantity, "losses")
        self._misread = misread(setup, tray, quantity)

    def read(self, times_ms: Times, truth: Values) -> Read:
        """Return what arrives of readings at given times, in order of arrival."""
        probe = self._probe
        lost = self._losses.random(len(times_ms)) < _LOST
        wrong = probe.bias * self._bias + probe.noise * self._noise.standard_normal(len(times_ms))
        values = truth * (1 + wrong) if probe.is_share else truth + wrong
        reads = self._misread(times_ms, values, lost)
        values = np.round(np.round(reads.values / probe.step) * probe.step, probe.decimals)
        values = np.where(reads.is_raw, reads.values, self._shown(values))
        kept = np.flatnonzero(~reads.lost)
        kept = kept[np.argsort(reads.arrives_ms[kept], kind="stable")]
        return Read(reads.times_ms[kept], values[kept], reads.arrives_ms[kept])

    def _shown(self, values: Values) -> Values:
        if self._quantity == "relative_humidity":
            return np.clip(values, 0, SATURATION_PCT)
        return np.maximum(values, 0) if self._quantity in _NEVER_NEGATIVE else values
