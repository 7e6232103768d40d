"""What the notices of drift are worth in pretended weeks: every scenario, seven seeds each.

Prints how many limits were crossed as foretold, how much earlier than their alarms that was said, which crossings
nobody foretold and which notices nothing followed. As in ``bench_detection.py``, the seeds are counted up from
the first, and ``bench_drift.py [FIRST_SEED [SEEDS]]`` takes others.
"""

import sys
from collections import Counter
from collections.abc import Iterable, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from statistics import median
from typing import NamedTuple

from pretended_weeks import example, pretended
from rows import Row, print_rows

from wardian.rules.crops import Limit, stage_at
from wardian.rules.engine import Engine
from wardian.rules.excursions import Excursion, excursions
from wardian.rules.observing.drift import DRIFTING
from wardian.rules.observing.observer import Observer
from wardian.rules.plans import TrayPlan
from wardian.rules.transitions import HEADING_OUT, RAISED, Transition
from wardian.simulator.scenarios import SCENARIOS, STEADY

#: As in ``bench_detection.py``.
FIRST_SEED, SEEDS = 201, 7
TRAYS = 6
MINUTE_MS = 60_000


class Notice(NamedTuple):
    """A notice, the limit it means, and what came of it: the excursion, and how much earlier than its alarm."""

    told: Transition
    limit: str
    came: Excursion | None
    earlier_ms: int | None

    @property
    def spans_ms(self) -> tuple[float, float, float]:
        """When the limit would be crossed, at the earliest and at the latest, from the notice on."""
        assert self.told.evidence is not None
        in_ms, early_ms, late_ms = (figure.number for figure in self.told.evidence.figures[2:])
        return in_ms, early_ms, late_ms

    @property
    def is_within(self) -> bool:
        _, early_ms, late_ms = self.spans_ms
        return self.came is not None and early_ms <= self.came.from_ms - self.told.time_ms <= late_ms


class Weeks(NamedTuple):
    """Notices, and the excursions of drifting quantities that lasted longer than their limits wait."""

    notices: list[Notice]
    long: list[Excursion]


def plans() -> dict[str, TrayPlan]:
    """Return the example's trays, the notice looked for whether it is by default or not."""
    known = example().library.figures[HEADING_OUT]
    figures = {HEADING_OUT: {name: figure.amount for name, figure in known.items()}}
    return {tray.name: replace(tray.plan, figures=figures) for tray in example().trays}


def one(job: tuple[str, int]) -> tuple[str, Weeks]:
    name, seed = job
    week, of = pretended(seed, [name]), plans()
    observer = Observer(of.values(), DRIFTING)
    observer.feed(week.chunk)
    told = [one for one in observer.advance(week.until_ms) if one.event == RAISED]
    engine = Engine(of.values())
    engine.feed(week.chunk)
    alarms = [one for one in engine.advance(week.until_ms) if one.event == RAISED]
    beyond = excursions(of.values(), week.chunk, week.until_ms)
    notices = [notice(one, of, beyond, alarms) for one in told]
    drifting = {one().quantity for one in DRIFTING}
    long = [one for one in beyond if one.quantity in drifting and lasts(one, of)]
    return name, Weeks(notices, long)


def limits_at(of: Mapping[str, TrayPlan], tray: str, quantity: str, time_ms: int) -> tuple[Limit, ...]:
    stage = stage_at(of[tray].spans, time_ms)
    return stage.bands[quantity].limits if stage and quantity in stage.bands else ()


def lasts(one: Excursion, of: Mapping[str, TrayPlan]) -> bool:
    limits = limits_at(of, one.tray, one.quantity, one.from_ms)
    return any(limit.name == one.limit and one.to_ms - one.from_ms > limit.on_delay_ms for limit in limits)


def notice(
    told: Transition, of: Mapping[str, TrayPlan], beyond: Iterable[Excursion], alarms: Iterable[Transition]
) -> Notice:
    limits = limits_at(of, told.tray, told.quantity, told.time_ms)
    name = next(limit.name for limit in limits if limit.threshold == told.threshold)
    bare = Notice(told, name, None, None)
    until_ms = told.time_ms + 2 * bare.spans_ms[0]
    mine = [
        one
        for one in beyond
        if (one.tray, one.quantity, one.limit) == (told.tray, told.quantity, name)
        and one.from_ms <= until_ms
        and one.to_ms > told.time_ms
    ]
    if not mine:
        return bare
    raised = [
        one.time_ms
        for one in alarms
        if one.alarm == (told.tray, told.quantity, name) and told.time_ms <= one.time_ms <= mine[-1].to_ms
    ]
    return Notice(told, name, mine[0], min(raised) - told.time_ms if raised else None)


def print_by_limit(weeks: Iterable[Weeks]) -> None:
    every = list(weeks)
    notices = [one for week in every for one in week.notices]
    kinds = Counter((one.told.quantity, one.limit) for one in notices)
    followed = Counter((one.told.quantity, one.limit) for one in notices if one.came)
    long = Counter((one.quantity, one.limit) for week in every for one in week.long)
    missed = Counter((one.quantity, one.limit) for week in every for one in missed_of(week))
    print(
        "| limit | notices | crossed as foretold | nothing followed | excursions longer than the delay ",
        end="",
    )
    print("| of them not foretold |")
    print("|" + "---|" * 6)
    for kind in sorted(kinds.keys() | long.keys()):
        cells = [" ".join(kind).replace("_", " "), kinds[kind], followed[kind], kinds[kind] - followed[kind]]
        print(f"| {' | '.join(map(str, [*cells, long[kind], missed[kind]]))} |", flush=True)
    print()


def missed_of(week: Weeks) -> list[Excursion]:
    came = [one.came for one in week.notices]
    return [one for one in week.long if one not in came]


def figures(weeks: Mapping[str, list[Weeks]]) -> list[Row]:
    every = [week for of_name in weeks.values() for week in of_name]
    notices = [one for week in every for one in week.notices]
    hits = [one for one in notices if one.came]
    earlier = [one.earlier_ms / MINUTE_MS for one in hits if one.earlier_ms is not None]
    missed, long = sum(len(missed_of(week)) for week in every), sum(len(week.long) for week in every)
    steady = unneeded(weeks[STEADY])
    faulty = unneeded(week for name, of_name in weeks.items() if name != STEADY for week in of_name)
    within = sum(one.is_within for one in hits)
    false = len(notices) - len(hits)
    return [
        Row(
            "notices that a crossing followed within twice the time",
            f"{len(hits)} of {len(notices)}",
            "",
            len(hits) / max(len(notices), 1),
            "at least 0.5",
            len(hits) >= false,
        ),
        Row(
            "of them within the foretold interval",
            f"{within} of {len(hits)}",
            "",
            within / max(len(hits), 1),
            "",
            None,
        ),
        Row(
            "earlier than the limit's alarm: median, and the least",
            f"{median(earlier):.0f} ({min(earlier):.0f}) min" if earlier else "none",
            "",
            None,
            "",
            None,
        ),
        Row(
            "excursions longer than their limit's delay that no notice preceded",
            f"{missed} of {long}",
            "",
            missed / max(long, 1),
            "",
            None,
        ),
        Row(
            "notices that nothing followed, steady weeks",
            f"{steady:.2f} a tray-week",
            "",
            None,
            "at most 0.2",
            steady <= 0.2,
        ),
        Row(
            "notices that nothing followed, weeks with faults",
            f"{faulty:.2f} a tray-week",
            "",
            None,
            "at most 0.2",
            faulty <= 0.2,
        ),
    ]


def unneeded(weeks: Iterable[Weeks]) -> float:
    """Return how many notices of a tray-week nothing followed."""
    counted = [sum(one.came is None for one in week.notices) for week in weeks]
    return sum(counted) / (TRAYS * max(len(counted), 1))


def measure(first_seed: int = FIRST_SEED, seeds: int = SEEDS) -> list[Row]:
    jobs = [(name, first_seed + seed) for name in SCENARIOS for seed in range(seeds)]
    weeks: dict[str, list[Weeks]] = {name: [] for name in SCENARIOS}
    with ProcessPoolExecutor() as pool:
        for name, week in pool.map(one, jobs):
            weeks[name].append(week)
    print_by_limit(week for of_name in weeks.values() for week in of_name)
    return figures(weeks)


if __name__ == "__main__":
    print_rows(measure(*map(int, sys.argv[1:3])))
