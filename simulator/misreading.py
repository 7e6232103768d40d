"""Faults of probes: how a series of readings goes wrong while the tray is as it is."""

from collections.abc import Callable
from typing import Final, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from wardian.rules.quantities import SATURATION_PCT
from wardian.rules.readings import Times, Values
from wardian.rules.truth import TrueFault
from wardian.simulator.chance import chance
from wardian.simulator.setup import BenchSetup

#: What failed probes show. The power-on value of a common 1-wire thermometer is 85.0 °C, a failed
#: conversion -127 °C (its data sheet); the others from memory.
_IMPOSSIBLE: Final = {
    "air_temperature": -127.0,
    "medium_temperature": -127.0,
    "relative_humidity": 128.0,
    "illuminance": -1.0,
    "tray_mass": -80.0,
}
_POWER_ON_C: Final = 85.0
_THERMOMETERS: Final = ("air_temperature", "medium_temperature")
#: One reading in so many is impossible, at power-on, twice, or late. From memory.
_IMPOSSIBLE_SHARE: Final = 0.3
_POWER_ONS_SHARE: Final = 0.01
_TWICE_SHARE: Final = 0.1
_LATE_SHARE: Final = 0.1
_LATE_MS: Final = (5 * 60_000, 60 * 60_000)
#: How fast a probe drifts, an hour. From memory.
_DRIFT_PER_H: Final = {"relative_humidity": -0.5, "air_temperature": 0.1, "medium_temperature": -0.1}
#: How far a second probe is off: more than 1.5 K or 8 %RH is a finding (from memory).
_OFF: Final = {"relative_humidity": -12.0, "air_temperature": 3.0, "medium_temperature": 3.0}
_OTHER_SHARE: Final = 0.5
_SET_BACK_MS: Final = 3_600_000


class Reads(NamedTuple):
    """Readings on their way: five arrays of one length. ``is_raw`` values are shown as they are."""

    times_ms: Times
    values: Values
    arrives_ms: Times
    lost: NDArray[np.bool_]
    is_raw: NDArray[np.bool_]


_Fault: TypeAlias = Callable[[Reads, NDArray[np.bool_], np.random.Generator], Reads]


def misread(
    setup: BenchSetup, tray: str, quantity: str
) -> Callable[[Times, Values, NDArray[np.bool_]], Reads]:
    """Return what makes of a probe's readings what arrives of them, piece after piece."""
    steps = [
        (
            fault,
            _FAULTS[fault.fault](fault, quantity),
            chance(setup.seed, tray, quantity, fault.fault, fault.from_ms),
        )
        for fault in setup.faults
        if fault.tray == tray and fault.fault in _FAULTS and fault.quantity in (None, quantity)
    ]

    def read(times_ms: Times, values: Values, lost: NDArray[np.bool_]) -> Reads:
        reads = Reads(times_ms, values, times_ms, lost, np.zeros(len(times_ms), np.bool_))
        for fault, step, draw in steps:
            holds = (reads.arrives_ms >= fault.from_ms) & (reads.arrives_ms < fault.to_ms)
            reads = step(reads, holds, draw)
        return reads

    return read


def _silent(_: TrueFault, __: str) -> _Fault:
    return lambda reads, holds, _draw: reads._replace(lost=reads.lost | holds)


def _stuck(_: TrueFault, __: str) -> _Fault:
    kept: list[float] = []

    def stick(reads: Reads, holds: NDArray[np.bool_], _draw: np.random.Generator) -> Reads:
        if holds.any() and not kept:
            kept.append(float(reads.values[holds][0]))
        return reads._replace(values=np.where(holds, kept[0], reads.values)) if kept else reads

    return stick


def _implausible(_: TrueFault, quantity: str) -> _Fault:
    return _shows(_IMPOSSIBLE[quantity], _IMPOSSIBLE_SHARE)


def _power_on(_: TrueFault, quantity: str) -> _Fault:
    return _shows(_POWER_ON_C, _POWER_ONS_SHARE if quantity in _THERMOMETERS else 0.0)


def _shows(value: float, share: float) -> _Fault:
    def show(reads: Reads, holds: NDArray[np.bool_], draw: np.random.Generator) -> Reads:
        wrong = holds & (draw.random(len(holds)) < share)
        return reads._replace(values=np.where(wrong, value, reads.values), is_raw=reads.is_raw | wrong)

    return show


def _drifting(fault: TrueFault, quantity: str) -> _Fault:
    per_h = _DRIFT_PER_H.get(quantity, 0.0)

    def drift(reads: Reads, holds: NDArray[np.bool_], _draw: np.random.Generator) -> Reads:
        since_h = (reads.times_ms - fault.from_ms) / 3_600_000
        return reads._replace(values=reads.values + per_h * since_h * holds)

    return drift


def _saturated(_: TrueFault, quantity: str) -> _Fault:
    if quantity != "relative_humidity":
        return lambda reads, _holds, _draw: reads
    return lambda reads, holds, _draw: reads._replace(values=np.where(holds, SATURATION_PCT, reads.values))


def _disagree(_: TrueFault, quantity: str) -> _Fault:
    def disagree(reads: Reads, holds: NDArray[np.bool_], draw: np.random.Generator) -> Reads:
        # Sometimes the one answers, sometimes the other.
        other = holds & (draw.random(len(holds)) < _OTHER_SHARE)
        return reads._replace(values=reads.values + _OFF.get(quantity, 0.0) * other)

    return disagree


def _repeated_and_late(_: TrueFault, __: str) -> _Fault:
    def disturb(reads: Reads, holds: NDArray[np.bool_], draw: np.random.Generator) -> Reads:
        fate, delay = draw.random((len(holds), 2)).T
        delays_ms = (_LATE_MS[0] + delay * (_LATE_MS[1] - _LATE_MS[0])).astype(np.int64)
        late = holds & (fate < _LATE_SHARE)
        reads = reads._replace(arrives_ms=reads.arrives_ms + delays_ms * late)
        twice = holds & (fate > 1 - _TWICE_SHARE)
        # Side by side, so that what comes after draws for each in the same order however time is cut.
        again = np.repeat(np.arange(len(holds)), 1 + twice)
        return Reads(
            reads.times_ms[again],
            reads.values[again],
            reads.arrives_ms[again],
            reads.lost[again],
            reads.is_raw[again],
        )

    return disturb


def _set_back(_: TrueFault, __: str) -> _Fault:
    return lambda reads, holds, _draw: reads._replace(times_ms=reads.times_ms - _SET_BACK_MS * holds)


_FAULTS: Final[dict[str, Callable[[TrueFault, str], _Fault]]] = {
    "sensor silent": _silent,
    "sensor stuck": _stuck,
    "sensor implausible": _implausible,
    "sensor drifting": _drifting,
    "sensor saturated": _saturated,
    "sensors disagree": _disagree,
    "power-on value": _power_on,
    "repeated and late readings": _repeated_and_late,
    "clock set back": _set_back,
}
