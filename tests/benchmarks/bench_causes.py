"""Which causes are named in pretended weeks, and which are the right ones: every scenario, seven seeds each.

Prints a table with a row for each true fault and a column for each cause that was named of the first alarm which
belongs to the fault; then the shares that have a goal. The seeds are those of ``bench_detection.py``;
``PYTHONPATH=tests/support python tests/benchmarks/bench_causes.py [FIRST_SEED [SEEDS]]`` takes others.
"""

import sys
from collections import Counter
from collections.abc import Iterable, Mapping
from concurrent.futures import ProcessPoolExecutor
from typing import Final

from pretended_weeks import PretendedWeek, example, pretended
from rows import Row, print_rows

from wardian.rules.engine import Engine
from wardian.rules.faults import FAULTS
from wardian.rules.observing.causes import EXPLAINS, Cause
from wardian.rules.observing.observer import Observer
from wardian.rules.observing.told import told_in_order
from wardian.rules.scoring import belongs
from wardian.rules.transitions import RAISED, Transition
from wardian.simulator.scenarios import SCENARIOS

FIRST_SEED, SEEDS = 101, 7
NONE: Final = "cannot tell"
#: The cause that is right where it has another name than the fault; none where no trace can show it.
RIGHT: Final[Mapping[str, str | None]] = {
    "thermostat probe fallen out": "heater stuck on",
    "cold night": "room too cold",
    "heat wave": "room too hot",
    "power-on value": "sensor implausible",
    "repeated and late readings": "sensor silent",
    "sensor drifting": None,
    "clock set back": None,
}
Named = Counter[tuple[str, str]]


def raises(week: PretendedWeek) -> list[tuple[Transition, Cause]]:
    """Return every alarm of a week with the cause that was named."""
    plans = [tray.plan for tray in example().trays]
    engine, observer = Engine(plans), Observer(plans)
    engine.feed(week.chunk)
    observer.feed(week.chunk)
    for time_ms, tray, quantity in week.refused:
        engine.refuse(time_ms, tray, quantity)
    told = told_in_order(engine.advance(week.until_ms), observer, week.until_ms)
    return [(one, cause) for one, cause in told if one.event == RAISED and cause is not None]


def first_causes(week: PretendedWeek) -> Named:
    """Return how often each cause was named of the first alarm of each fault."""
    told, named = raises(week), Named()
    for fault in week.truth.faults:
        first = next((cause for alarm, cause in told if belongs(alarm, fault)), None)
        if first is not None:
            named[fault.fault, first.name or NONE] += 1
    return named


def one(job: tuple[str, int]) -> Named:
    name, seed = job
    return first_causes(pretended(seed, [name]))


def right_name(fault: str) -> str | None:
    return RIGHT.get(fault, fault)


def shares(named: Named, faults: Iterable[str]) -> tuple[int, int, int]:
    """Return how often the cause of some faults was named rightly, wrongly, and not at all."""
    counts = [0, 0, 0]
    for (fault, cause), count in named.items():
        if fault in faults:
            counts[2 if cause == NONE else 0 if cause == right_name(fault) else 1] += count
    return counts[0], counts[1], counts[2]


def print_confusion(named: Named) -> None:
    columns = [cause for cause in (*EXPLAINS, NONE) if any(name == cause for _, name in named)]
    print(f"| true fault | {' | '.join(columns)} | right | wrong | cannot tell |")
    print("|" + "---|" * (len(columns) + 4))
    for fault in FAULTS:
        cells = [str(named[fault, cause] or "") for cause in columns]
        if any(cells):
            right, wrong, none = shares(named, [fault])
            total = right + wrong + none
            ends = [f"{count / total:.0%}" for count in (right, wrong, none)]
            print(f"| {' | '.join([fault, *cells, *ends])} |", flush=True)
    print()


def figures(named: Named) -> list[Row]:
    shown = [fault for fault in FAULTS if right_name(fault) is not None]
    of_trays = [fault for fault in shown if not FAULTS[fault].of_sensor]
    right, _, _ = all_of = shares(named, of_trays)
    every = shares(named, FAULTS)
    total = sum(all_of)
    return [
        Row(
            "faults of trays whose first alarm names the right cause",
            f"{right} of {total}",
            "",
            right / total,
            "at least 0.7",
            right >= 0.7 * total,
        ),
        Row(
            "faults of any kind whose first alarm names a wrong cause",
            f"{every[1]} of {sum(every)}",
            "",
            every[1] / sum(every),
            "below 0.05",
            every[1] < 0.05 * sum(every),
        ),
    ]


def measure(first_seed: int = FIRST_SEED, seeds: int = SEEDS) -> list[Row]:
    jobs = [(name, first_seed + seed) for name in SCENARIOS for seed in range(seeds)]
    named = Named()
    with ProcessPoolExecutor() as pool:
        for found in pool.map(one, jobs):
            named.update(found)
    print_confusion(named)
    return figures(named)


if __name__ == "__main__":
    print_rows(measure(*map(int, sys.argv[1:3])))
