"""A tray written by hand, minute by minute: a mat that pulses, a lamp on a timer, moist air and a scale.

The figures are round and no simulator's: the mat comes on at 23.0 °C and off at 23.6 °C every 40 minutes; the
lamp warms the air by 1.6 K and burns from 05:00 to 23:00 on the wall of UTC.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC

import numpy as np
from case_terms import low, plan, stage
from minute_by_minute import NOON_MS, TRAY, read_by
from numpy.typing import ArrayLike, NDArray

from wardian.adapters.yaml_file import parse
from wardian.daemon.library import library
from wardian.rules.observing.heater import HeaterIdle, HeaterRunaway
from wardian.rules.observing.lamp import LampNotOff, LampNotOn, LampWeak
from wardian.rules.observing.mains import MainsLost
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.observing.observer import Observer
from wardian.rules.observing.uncovered import CoverLeaking, CoverOff
from wardian.rules.plans import LampRule, LampSchedule, TrayPlan
from wardian.rules.readings import Chunk, Series, Values
from wardian.rules.transitions import Transition

AIR, MEDIUM, HUMIDITY = "air_temperature", "medium_temperature", "relative_humidity"
LIGHT, MASS = "illuminance", "tray_mass"
DAY = 24 * 60
ON_C, OFF_C = 23.0, 23.6
LAMP_LX = 5000.0
#: Those of mats, covers and lamps alone: what is written by hand is too even for those of sensors.
CONDITIONS = (
    MainsLost,
    HeaterRunaway,
    HeaterIdle,
    CoverOff,
    CoverLeaking,
    LampNotOn,
    LampNotOff,
    LampWeak,
)
Traces = dict[str, Values]


def plan_of(tray: str = TRAY, *, humidity_low: float = 85.0) -> TrayPlan:
    """Return a tray with a lamp from 05:00 to 23:00 UTC, judged by the library's figures."""
    of_stage = stage("callusing", relative_humidity=low(humidity_low), medium_temperature=low(18.0))
    return replace(
        plan((0, of_stage), tray=tray, lamp=LampRule(LIGHT, 1000, 900)),
        schedule=LampSchedule(5 * 60, 23 * 60, UTC),
        figures=library(parse).watched_figures(),
    )


def minute(day: int, hour: float) -> int:
    """Return which minute of the traces an hour on the wall is; they begin at noon of day 0."""
    return day * DAY + round((hour - 12) * 60)


def healthy(days: float, pauses_at: int = 0) -> Traces:
    """Return traces of a healthy tray from noon on; ``pauses_at`` shifts the mat's pulses."""
    minutes = np.arange(round(days * DAY), dtype=np.int64)
    pulse = (minutes + pauses_at) % 40
    medium = ON_C + (OFF_C - ON_C) * np.where(pulse < 10, pulse / 10, (40 - pulse) / 30)
    lit = is_lit(minutes)
    air = 21.0 + 1.6 * lit + 0.3 * (medium - ON_C)
    return {
        AIR: air,
        MEDIUM: medium,
        HUMIDITY: np.full(len(minutes), 95.0) + 0.2 * (-1.0) ** minutes,
        LIGHT: LAMP_LX * lit,
        MASS: np.full(len(minutes), 3200.0),
    }


def is_lit(minutes: NDArray[np.int64]) -> Values:
    """Return whether the timer lets the lamp burn."""
    of_day = (minutes + 12 * 60) % DAY
    return ((of_day >= 5 * 60) & (of_day < 23 * 60)).astype(np.float64)


def cools(traces: Traces, begin: int, to_c: float, tau_min: float = 120.0) -> Traces:
    """Let the mat give no heat from a minute on: the medium relaxes, and the air comes nearer to it."""
    changed = {name: values.copy() for name, values in traces.items()}
    since = np.arange(len(traces[MEDIUM]) - begin)
    before = changed[MEDIUM][begin - 1]
    changed[MEDIUM][begin:] = to_c + (before - to_c) * np.exp(-since / tau_min)
    over = (traces[MEDIUM] - traces[AIR])[begin:]
    changed[AIR][begin:] = changed[MEDIUM][begin:] - over + 0.8 * (1 - np.exp(-since / tau_min))
    return changed


def set_to(traces: Traces, name: str, begin: int, end: int, values: ArrayLike) -> Traces:
    """Return traces of which one has other values from a minute to another (not included)."""
    changed = traces[name].copy()
    changed[begin:end] = values
    return traces | {name: changed}


def bench(trays: Mapping[str, Traces], every: int = 1) -> tuple[Observer, Chunk]:
    """Return an observer of trays and their readings, which are fed to it."""
    chunk = {
        Series(tray, quantity): read_by(values, every)
        for tray, traces in trays.items()
        for quantity, values in traces.items()
    }
    observer = Observer([plan_of(tray) for tray in trays], CONDITIONS)
    observer.feed(chunk)
    return observer, chunk


def told_of(traces: Traces, every: int = 1) -> list[Transition]:
    """Return what is told of one tray."""
    observer, _ = bench({TRAY: traces}, every)
    return observer.advance(NOON_MS + len(traces[MEDIUM]) * MINUTE_MS)


def events(told: Sequence[Transition]) -> list[tuple[str, str, int]]:
    """Return conditions and events, each with its minute."""
    return [(one.condition, one.event, (one.time_ms - NOON_MS) // MINUTE_MS) for one in told]
