"""The pretended bench with faults, pours and steps that a test sets."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from wardian.rules.readings import Times, Values
from wardian.rules.truth import TrueFault
from wardian.simulator.balance import Balance, begin
from wardian.simulator.bench import Bench
from wardian.simulator.evening_class import EVENING_CLASS, START_MS
from wardian.simulator.flows import Flags, Links, Moment, Surroundings
from wardian.simulator.setup import BenchSetup
from wardian.simulator.wall import MS_PER_HOUR, MS_PER_MINUTE

TRAYS = tuple(tray.name for tray in EVENING_CLASS.trays)


def at(hours: float) -> int:
    """Return the instant so many hours after the start."""
    return START_MS + round(hours * MS_PER_HOUR)


def fault(name: str, from_h: float, to_h: float, trays: Iterable[str] = TRAYS) -> tuple[TrueFault, ...]:
    return tuple(TrueFault(tray, name, at(from_h), at(to_h)) for tray in trays)


def bench_setup(faults: Sequence[TrueFault] = (), seed: int = 1) -> BenchSetup:
    return replace(EVENING_CLASS, faults=tuple(faults), seed=seed)


class Pour(NamedTuple):
    """Water given to every tray, in five minutes."""

    hours: float
    grams: float
    water_c: float


class PouredBench(Bench):
    """A bench whose trays hold a share of their water, and are watered by hand besides."""

    def __init__(self, setup: BenchSetup, held: float, pours: Sequence[Pour]) -> None:
        super().__init__(setup, START_MS)
        self._pours = pours
        air_c, _, medium_c = self.moment.temperature_c
        self._balance = Balance(self._p, begin(self._p, air_c, medium_c, np.full_like(air_c, held)))

    def surroundings(self, times_ms: Times) -> Surroundings:
        around = super().surroundings(times_ms)
        for pour in self._pours:
            begin_ms = at(pour.hours)
            during = slice(*times_ms.searchsorted((begin_ms, begin_ms + 5 * MS_PER_MINUTE)))
            around.watering_g_per_s[during] += pour.grams / 300
            around.water_c[during] = pour.water_c
        return around


class InPieces(Balance):
    """A balance that makes each step in so many pieces, and keeps when the mats heated.

    Attributes:
        heated: The mats' share of their power in each step; given, it overrules the thermostats.
        seen: What the trays held after each step.
    """

    def __init__(self, begun: Balance, pieces: int = 1, heated: Sequence[Values] | None = None) -> None:
        super().__init__(begun._parameters, begun.now.stores)
        self._pieces = pieces
        self._given = heated
        self.heated: list[Values] = []
        self.seen: list[Moment] = [self.now]

    def step(self, link: Links, mat: Values, seconds: float) -> None:
        if self._given is not None:
            mat = self._given[len(self.heated)]
        self.heated.append(np.array(mat, dtype=float))
        for _ in range(self._pieces):
            super().step(link, mat, seconds / self._pieces)
        self.seen.append(self.now)


def set_in_pieces(bench: Bench, pieces: int = 1, heated: Sequence[Values] | None = None) -> InPieces:
    """Let a bench live in shorter steps from now on."""
    bench._balance = InPieces(bench._balance, pieces, heated)
    return bench._balance


def soon_after(column: Values, minutes: int) -> Flags:
    """Return whether something changed in the last minutes. Shape: times, trays."""
    changed = np.zeros(column.shape, dtype=np.bool_)
    for step, tray in np.argwhere(np.diff(column, axis=0) != 0):
        changed[step + 1 : step + 2 + minutes, tray] = True
    return changed
