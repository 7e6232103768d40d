"""The engine alone, arrays in, journal out, beside an exact pandas version of the same rules."""

from statistics import median
from time import perf_counter

import pandas as pd
import pandas_rules
from rows import Row, print_rows
from week import count, plans, week

from wardian.rules.engine import Engine
from wardian.rules.readings import Chunk
from wardian.rules.transitions import Transition

ROUNDS = 7


def judged(chunk: Chunk, end_ms: int) -> list[Transition]:
    engine = Engine(plans())
    engine.feed(chunk)
    return engine.advance(end_ms)


def measure() -> list[Row]:
    chunk = week()
    readings = count(chunk)
    series = {(one.tray, one.quantity): pd.Series(p.values, index=p.times_ms) for one, p in chunk.items()}
    end_ms = max(int(points.times_ms[-1]) for points in chunk.values()) + 1
    ours = [
        (one.time_ms, one.tray, one.quantity, one.limit or one.condition, one.event, one.value)
        for one in judged(chunk, end_ms)
    ]
    assert ours == pandas_rules.as_tuples(pandas_rules.journal(series)), "the two journals differ"
    theirs_s, ours_s = [], []
    for _ in range(ROUNDS):
        begin = perf_counter()
        pandas_rules.journal(series)
        between = perf_counter()
        judged(chunk, end_ms)
        theirs_s.append(between - begin)
        ours_s.append(perf_counter() - between)
    mine, other = readings / median(ours_s) / 1e6, readings / median(theirs_s) / 1e6
    figure = f"engine alone, a week of {readings:,} readings, {len(ours):,} transitions"
    return [
        Row(
            figure,
            f"{mine:.1f} M/s",
            f"{other:.1f} M/s exact pandas",
            mine / other,
            "at least 5",
            mine >= 5 * other,
        ),
        Row("the same, readings a second", f"{mine:.1f} M/s", "", None, "at least 10 M/s", mine >= 10),
    ]


if __name__ == "__main__":
    print_rows(measure())
