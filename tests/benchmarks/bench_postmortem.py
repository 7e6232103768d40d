"""Which cause is named first of pretended batches in which one was planted, and what explaining a batch costs.

Prints a table of planted against named, without a record of what became of the batch and with one, then the figures that
have a goal. Nothing here is tuned: the seeds are not those that rules were made with, and
``PYTHONPATH=tests/support python tests/benchmarks/bench_postmortem.py [FIRST_SEED [SEEDS]]`` takes others.
"""

import sys
import time
import tracemalloc
from collections import Counter
from collections.abc import Iterator
from typing import Final, NamedTuple

from pretended_batches import DAY_MS, PLANTED, TRAY, ground_of, named, pretended_batch, with_record
from rows import Row, print_rows

from wardian.rules.postmortem.facts import Heard, facts
from wardian.rules.postmortem.gathering import Gathering
from wardian.rules.postmortem.ground import Ground
from wardian.rules.readings import Points

#: No smaller seed: those were looked at while rules were made.
FIRST_SEED, SEEDS = 401, 10
NOTHING: Final = "nothing"
#: Of the batch whose cost is measured: three weeks of five series every ten seconds.
LONG_DAYS: Final = 21
EVERY_S: Final = 10


class Outcome(NamedTuple):
    """What was named first of one batch, without a record and with one."""

    cause: str
    seed: int
    without_record: str
    with_record: str


def outcomes(first_seed: int, seeds: int) -> Iterator[Outcome]:
    for cause, planted in PLANTED.items():
        for seed in range(first_seed, first_seed + seeds):
            batch = pretended_batch(cause, seed)
            ground = ground_of(batch)
            cases = batch.case, with_record(batch, planted.finding)
            first = [next((one.name for one in named(ground, case)), NOTHING) for case in cases]
            yield Outcome(cause, seed, *first)


def is_right(cause: str, name: str) -> bool:
    return name == (PLANTED[cause].finding or NOTHING)


def print_table(title: str, told: Counter[tuple[str, str]]) -> None:
    columns = sorted({name for _, name in told})
    print(f"{title}:\n\n| planted | {' | '.join(columns)} | right |")
    print("|" + "---|" * (len(columns) + 2))
    for cause in PLANTED:
        counts = [told[cause, name] for name in columns]
        right = sum(count for name, count in zip(columns, counts, strict=True) if is_right(cause, name))
        cells = [str(count or "") for count in counts]
        print(f"| {' | '.join([cause, *cells])} | {right} of {sum(counts)} |")
    print()


def figures(told: list[Outcome], words: str, named_of: "Counter[tuple[str, str]]") -> list[Row]:
    right = Counter(
        cause for (cause, name), count in named_of.items() if is_right(cause, name) for _ in range(count)
    )
    seeds = len({one.seed for one in told})
    causes = [cause for cause in PLANTED if PLANTED[cause].finding]
    worst = min(right[cause] for cause in causes)
    healthy = right["healthy"]
    return [
        Row(
            f"planted cause named first, {words}: the worst of {len(causes)} causes",
            f"{worst} of {seeds}",
            "",
            worst / seeds,
            "at least 0.9",
            worst >= 0.9 * seeds,
        ),
        Row(
            f"healthy batches of which nothing is named, {words}",
            f"{healthy} of {seeds}",
            "",
            healthy / seeds,
            "all",
            healthy == seeds,
        ),
    ]


def cost() -> list[Row]:
    """Return what explaining three weeks costs, beside reading through their values once."""
    batch = pretended_batch("healthy", 1, every_s=EVERY_S)
    begin_ms, end_ms = batch.span
    days = [
        {series: _shifted(points, begin_ms, day) for series, points in batch.chunk.items()}
        for day in range(LONG_DAYS)
    ]
    count = sum(len(points.times_ms) for chunk in days for points in chunk.values())
    end_ms = begin_ms + LONG_DAYS * DAY_MS

    def explain() -> Ground:
        gathering = Gathering(TRAY, batch.case.plan.hold_ms, (begin_ms, end_ms))
        for day, chunk in enumerate(days):
            gathering.feed(chunk)
            gathering.close(begin_ms + day * DAY_MS)
        ground = Ground(batch.case, gathering.seen())
        facts(ground, Heard(), 10.0)
        named(ground, batch.case)
        return ground

    began = time.perf_counter()
    explain()
    took_s = time.perf_counter() - began
    began = time.perf_counter()
    for chunk in days:
        for points in chunk.values():
            sum(points.values.tolist())
    yardstick_s = time.perf_counter() - began
    tracemalloc.start()
    explain()
    peak_bytes = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    words = f"a batch of {LONG_DAYS} days, {count:,} readings every {EVERY_S} s, explained"
    return [
        Row(
            words,
            f"{took_s:.2f} s",
            f"{yardstick_s:.2f} s adding its values up one by one",
            took_s / yardstick_s,
            "at most 10 s",
            took_s <= 10,
        ),
        Row(
            "the same: memory beside its readings",
            f"{peak_bytes / 2**20:.0f} MiB",
            f"{16 * count / 2**20:.0f} MiB its readings as arrays",
            peak_bytes / (16 * count),
            "at most 64 MiB",
            peak_bytes <= 64 * 2**20,
        ),
    ]


def _shifted(points: Points, begin_ms: int, day: int) -> Points:
    """Return a day of a batch's readings as those of another day after sticking."""
    of_batch = day % 14
    first, last = points.times_ms.searchsorted(
        (begin_ms + of_batch * DAY_MS, begin_ms + (of_batch + 1) * DAY_MS)
    )
    return Points(points.times_ms[first:last] + (day - of_batch) * DAY_MS, points.values[first:last])


def measure(first_seed: int = FIRST_SEED, seeds: int = SEEDS) -> list[Row]:
    told = list(outcomes(first_seed, seeds))
    rows = []
    for words, name in (("no outcome recorded", "without_record"), ("outcome recorded", "with_record")):
        named_of = Counter((one.cause, getattr(one, name)) for one in told)
        print_table(f"Planted against named, {words}", named_of)
        rows += figures(told, words, named_of)
    for one in told:
        if not (is_right(one.cause, one.without_record) and is_right(one.cause, one.with_record)):
            print(
                f"wrong: {one.cause}, seed {one.seed}: {one.without_record}; with a record {one.with_record}"
            )
    return [*rows, *cost()]


if __name__ == "__main__":
    print_rows(measure(*map(int, sys.argv[1:3])))
