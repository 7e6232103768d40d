"""Conditions watched over traces that a test writes by hand, with the figures of the library."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

from case_terms import plan, stage
from minute_by_minute import NOON_MS, TRAY, chunk_by
from numpy.typing import ArrayLike

from wardian.adapters.yaml_file import parse
from wardian.daemon.library import library
from wardian.rules.observing.looks import Care, ConditionMaker
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.observing.observer import Observer
from wardian.rules.plans import TrayPlan
from wardian.rules.readings import Chunk, Points
from wardian.rules.transitions import Transition


def watched_plan(hold_min: int = 5) -> TrayPlan:
    """One tray that is in its first stage all the time."""
    figures = library(parse).watched_figures()
    return replace(plan((0, stage("callusing")), hold_ms=hold_min * MINUTE_MS), figures=figures)


def watch(
    makers: Sequence[ConditionMaker],
    traces: Mapping[str, ArrayLike],
    care: Iterable[Care] = (),
    every: int = 1,
) -> list[Transition]:
    """Return what is told of traces, a reading each ``every`` minutes; a reading stands for twice that."""
    observer = Observer([watched_plan(max(5, 2 * every))], makers)
    for one in care:
        observer.record(TRAY, one)
    chunk = chunk_by(traces, every)
    observer.feed(chunk)
    return observer.advance(end_ms(chunk))


def watch_in_pieces(
    makers: Sequence[ConditionMaker], traces: Mapping[str, ArrayLike], cuts: Sequence[int]
) -> list[Transition]:
    """Return the same, with the readings cut after so many minutes."""
    observer, chunk = Observer([watched_plan()], makers), chunk_by(traces)
    told = []
    for begin, end in pairwise([0, *sorted(cuts), 10**6]):
        span_ms = NOON_MS + begin * MINUTE_MS, NOON_MS + end * MINUTE_MS
        observer.feed({series: _between(points, *span_ms) for series, points in chunk.items()})
        told += observer.advance(min(span_ms[1], end_ms(chunk)))
    return told


def end_ms(chunk: Chunk) -> int:
    return max(int(points.times_ms.max()) for points in chunk.values()) // MINUTE_MS * MINUTE_MS + MINUTE_MS


def by_minute(told: Iterable[Transition]) -> list[tuple[int, str]]:
    """Return when what happened, in minutes since noon."""
    return [((one.time_ms - NOON_MS) // MINUTE_MS, one.event) for one in told]


def _between(points: Points, from_ms: int, to_ms: int) -> Points:
    mine = (points.times_ms >= from_ms) & (points.times_ms < to_ms)
    return Points(points.times_ms[mine], points.values[mine])
