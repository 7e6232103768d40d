"""What the alarms of the example configuration find in pretended weeks: every scenario, seven seeds each.

Prints a table by fault, then the figures that have a goal. Nothing here is tuned: the seeds are counted up
from the first, and ``PYTHONPATH=tests/support python tests/benchmarks/bench_detection.py [FIRST_SEED [SEEDS]]``
takes others.
"""

import sys
from collections import defaultdict
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from statistics import median

from pretended_weeks import EVERY_S, scored
from rows import Row, print_rows

from wardian.rules.faults import FAULTS
from wardian.rules.scores import FOUND, MISSED, STANDING, WITHIN, Finding, Score, together
from wardian.simulator.scenarios import SCENARIOS, STEADY

FIRST_SEED, SEEDS = 101, 7


def one(job: tuple[str, int]) -> tuple[str, Score]:
    name, seed = job
    return name, scored(seed, [name])


def minutes(ms: float) -> str:
    return f"{ms / 60_000:,.0f}"


def beyond_delay_ms(findings: Iterable[Finding]) -> list[int]:
    """Return how much later than its on-delay each fault was found after its limit was crossed."""
    return [
        finding.late_after_limit_ms - finding.on_delay_ms
        for finding in findings
        if finding.late_after_limit_ms is not None and finding.on_delay_ms is not None
    ]


def print_by_fault(findings: Iterable[Finding]) -> None:
    by_fault: dict[str, list[Finding]] = defaultdict(list)
    for finding in findings:
        by_fault[finding.fault.fault].append(finding)
    print("| fault | out of band or to be told | found | missed | told already | within its band ", end="")
    print(
        "| found after its beginning, median (worst) | later than the on-delay after the limit, median (worst) |"
    )
    print("|" + "---|" * 8)
    for fault in FAULTS:
        mine = by_fault[fault]
        counts = {
            result: sum(one.result == result for one in mine) for result in (FOUND, MISSED, STANDING, WITHIN)
        }
        late = [one.late_ms for one in mine if one.late_ms is not None]
        beyond = beyond_delay_ms(mine)
        cells = [
            fault,
            str(counts[FOUND] + counts[MISSED] + counts[STANDING]),
            str(counts[FOUND]),
            str(counts[MISSED]),
            str(counts[STANDING]),
            str(counts[WITHIN]),
            f"{minutes(median(late))} ({minutes(max(late))}) min" if late else "",
            f"{minutes(median(beyond))} ({minutes(max(beyond))}) min" if beyond else "",
        ]
        print(f"| {' | '.join(cells)} |", flush=True)
    print()


def figures(weeks: dict[str, list[Score]]) -> list[Row]:
    every = together(score for scores in weeks.values() for score in scores)
    of_trays = [
        one for one in every.findings if not FAULTS[one.fault.fault].of_sensor and one.result != WITHIN
    ]
    told = [one for one in of_trays if one.result != MISSED]
    late = beyond_delay_ms(of_trays)
    steady = together(weeks[STEADY]).unneeded_per_tray_week
    faulty = together(score for name, scores in weeks.items() if name != STEADY for score in scores)
    count = sum(map(len, weeks.values()))
    goal_ms = 2 * EVERY_S * 1000
    return [
        Row(
            f"faults that took a tray out of its band, {count} weeks of six trays: told",
            f"{len(told)} of {len(of_trays)}",
            "",
            len(told) / len(of_trays),
            "all",
            len(told) == len(of_trays),
        ),
        Row(
            "found after the limit was crossed, beyond its on-delay: median",
            f"{median(late) / 1000:.0f} s",
            "",
            None,
            f"at most {goal_ms / 1000:.0f} s",
            median(late) <= goal_ms,
        ),
        Row(
            "the same: worst",
            f"{max(late) / 60_000:.0f} min",
            "",
            None,
            f"at most {goal_ms / 1000:.0f} s",
            max(late) <= goal_ms,
        ),
        Row(
            "the same: share within two reading intervals",
            f"{sum(one <= goal_ms for one in late)} of {len(late)}",
            "",
            sum(one <= goal_ms for one in late) / len(late),
            "",
            None,
        ),
        Row(
            "alarms nobody needed, steady weeks",
            f"{steady:.2f} a tray-week",
            "",
            None,
            "at most 0.2",
            steady <= 0.2,
        ),
        Row(
            "alarms nobody needed, weeks with faults",
            f"{faulty.unneeded_per_tray_week:.2f} a tray-week",
            "",
            None,
            "at most 0.5",
            faulty.unneeded_per_tray_week <= 0.5,
        ),
    ]


def measure(first_seed: int = FIRST_SEED, seeds: int = SEEDS) -> list[Row]:
    jobs = [(name, first_seed + seed) for name in SCENARIOS for seed in range(seeds)]
    weeks: dict[str, list[Score]] = defaultdict(list)
    with ProcessPoolExecutor() as pool:
        for name, score in pool.map(one, jobs):
            weeks[name].append(score)
    print_by_fault(finding for scores in weeks.values() for score in scores for finding in score.findings)
    return figures(weeks)


if __name__ == "__main__":
    print_rows(measure(*map(int, sys.argv[1:3])))
