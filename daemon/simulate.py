"""A pretended week as files: its readings, and the truth about them.

The rule of this file: the same arguments and the same configuration give the same bytes.
"""

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from wardian.daemon import recorded
from wardian.daemon.config import Config
from wardian.rules.crops import day_start_ms
from wardian.rules.documents import nearest
from wardian.rules.truth import Truth
from wardian.simulator.bench import truth as truth_of
from wardian.simulator.evening_class import EVENING_CLASS, START_MS
from wardian.simulator.growing import bench_setup
from wardian.simulator.scenarios import SCENARIOS, scenario_name, with_scenarios
from wardian.simulator.setup import BenchSetup
from wardian.simulator.wall import MS_PER_DAY
from wardian.simulator.week import week

#: About a minute and a half: something can be read in it.
LEAST_DAYS: Final = 0.001
MOST_DAYS: Final = 366.0
_YEAR_2200_MS: Final = 7_258_118_400_000


class CannotSimulate(ValueError):
    """What was asked for cannot be made; the message says what is accepted."""


@dataclass(frozen=True, slots=True)
class Wish:
    """What somebody wants to see happen: where to, how long, from when on, and what goes wrong."""

    out: Path
    truth: Path | None = None
    days: float = 7.0
    seed: int = 1
    start_ms: int | None = None
    scenarios: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Refuse what cannot be made, before anything is."""
        if not LEAST_DAYS <= self.days <= MOST_DAYS:
            raise CannotSimulate(f"--days {self.days:g}: {LEAST_DAYS:g} to {MOST_DAYS:g} is accepted")
        if not 0 <= self.seed < 2**32:
            raise CannotSimulate(f"--seed {self.seed}: a whole number from 0 to {2**32 - 1} is accepted")
        for name in self.scenarios:
            if name not in SCENARIOS:
                hint = nearest(name, SCENARIOS)
                raise CannotSimulate(
                    f"--scenario {name}: there is no such scenario; {hint}; --list shows all"
                )
        if not self.out.name.endswith((".csv", ".csv.gz")):
            raise CannotSimulate(f"--out {self.out}: a name that ends in .csv or .csv.gz is accepted")
        for option, path in (("--out", self.out), ("--truth", self.truth)):
            if path is not None:
                _refuse_unwritable(option, path)
        if self.truth is not None and self.truth.resolve() == self.out.resolve():
            raise CannotSimulate(f"--truth {self.truth}: is what --out names; another file is accepted")


@dataclass(frozen=True, slots=True)
class Simulated:
    """What was written."""

    readings: int
    trays: tuple[str, ...]
    truth: Truth


def scenarios() -> Mapping[str, str]:
    """Return the names of all scenarios and what happens in each, for people."""
    return SCENARIOS


def scenario_names(texts: Sequence[str]) -> tuple[str, ...]:
    """Return names as they are listed; a space may stand for a hyphen."""
    return tuple(scenario_name(text) for text in texts)


def simulate(wish: Wish, config: Config | None, told: Callable[[float], None]) -> Simulated:
    """Write a pretended week of a configuration's trays, or of those of the evening class.

    Raises:
        OSError: A file cannot be written.
    """
    setup, start_ms = _bench(wish, config)
    end_ms = start_ms + round(wish.days * MS_PER_DAY)
    setup = with_scenarios(setup, wish.scenarios, start_ms, end_ms)
    count = recorded.write_readings(wish.out, week(setup, start_ms, end_ms, told))
    truth = truth_of(setup, start_ms, end_ms)
    if wish.truth is not None:
        recorded.write_truth(wish.truth, truth)
    return Simulated(count, tuple(tray.name for tray in setup.trays), truth)


def _bench(wish: Wish, config: Config | None) -> tuple[BenchSetup, int]:
    if config is None:
        start_ms = START_MS if wish.start_ms is None else wish.start_ms
        return replace(EVENING_CLASS, seed=wish.seed), start_ms
    latest_ms = day_start_ms(max(tray.stuck for tray in config.trays), config.site.zone)
    start_ms = latest_ms if wish.start_ms is None else wish.start_ms
    setup = bench_setup([(tray.name, tray.plan.spans) for tray in config.trays], start_ms)
    return replace(setup, seed=wish.seed, zone=config.site.zone), start_ms


def _refuse_unwritable(option: str, path: Path) -> None:
    if path.is_dir():
        raise CannotSimulate(f"{option} {path}: is a folder; the name of a file is accepted")
    if not path.parent.is_dir():
        raise CannotSimulate(f"{option} {path}: there is no folder {path.parent}")
    if not os.access(path.parent, os.W_OK):
        raise CannotSimulate(f"{option} {path}: the folder {path.parent} cannot be written to")


def start_of(text: str | None) -> int | None:
    """Return the instant that a text names, in milliseconds since 1970 UTC.

    Raises:
        CannotSimulate: It is none, or none that a bench can begin at.
    """
    if text is None:
        return None
    try:
        time_ms = recorded.instant_ms(text)
    except ValueError as error:
        raise CannotSimulate(f"--start {text}: {error}") from error
    if not 0 <= time_ms < _YEAR_2200_MS:
        raise CannotSimulate(f"--start {text}: a time from 1970 to 2199 is accepted")
    return time_ms
