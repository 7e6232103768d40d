"""Trays whose truth a test writes by hand, minute by minute, and what pretended probes make of it."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from wardian.rules.readings import Series, Values
from wardian.rules.truth import TrueFault
from wardian.simulator.bench import Trace
from wardian.simulator.probes import Probes, Read
from wardian.simulator.setup import SOME_TIME_MS, BenchSetup, Regime, TraySetup
from wardian.simulator.wall import MS_PER_HOUR, MS_PER_MINUTE

#: 2026-03-02T12:00Z.
NOON_MS = 1_772_452_800_000
TRAYS = ("tray-a", "tray-b")
TRUTH = {
    "air_c": 25.0,
    "medium_c": 26.0,
    "cover_c": 23.0,
    "humidity_pct": 80.0,
    "light_lx": 5000.0,
    "mass_g": 3000.0,
}
#: What a column of the trace is by the minute since noon.
Course = Callable[[Values], Values]


def hand_setup(seed: int = 1, every_ms: int = 10_000, faults: Sequence[TrueFault] = ()) -> BenchSetup:
    trays = tuple(TraySetup(name, (Regime(SOME_TIME_MS, 25.0),)) for name in TRAYS)
    return BenchSetup(trays, seed=seed, every_ms=every_ms, faults=tuple(faults))


def trace(hours: float, **courses: Course) -> Trace:
    """Return what is true of both trays from noon on; a column without a course stays as it is."""
    minutes = np.arange(round(60 * hours) + 1, dtype=float)
    columns = {
        name: np.repeat(courses.get(name, _constant(value))(minutes)[:, None], len(TRAYS), axis=1)
        for name, value in TRUTH.items()
    }
    return Trace(NOON_MS + np.arange(len(minutes)) * MS_PER_MINUTE, **columns)


def _constant(value: float) -> Course:
    return lambda minutes: np.full_like(minutes, value)


def part(whole: Trace, first: int, last: int) -> Trace:
    """Return the minutes of a trace from one to another, both included."""
    return Trace._make(column[first : last + 1] for column in whole)


def read(setup: BenchSetup, *traces: Trace) -> dict[Series, Read]:
    """Return what the probes of a bench read along traces that follow on each other."""
    probes = Probes(setup, NOON_MS)
    pieces = [probes.read(one) for one in traces]
    return {
        series: Read(
            *(np.concatenate(columns) for columns in zip(*(one[series] for one in pieces), strict=True))
        )
        for series in pieces[0]
    }


def one_probe(setup: BenchSetup, quantity: str, *traces: Trace) -> Read:
    """Return what one probe of the first tray reads."""
    return read(setup, *traces)[Series(TRAYS[0], quantity)]


def at(hours: float) -> int:
    return NOON_MS + round(hours * MS_PER_HOUR)


def fault(
    name: str, from_h: float, to_h: float, quantity: str | None = None, tray: str = TRAYS[0]
) -> TrueFault:
    return TrueFault(tray, name, at(from_h), at(to_h), quantity)


def with_faults(setup: BenchSetup, *faults: TrueFault) -> BenchSetup:
    return replace(setup, faults=faults)
