"""One condition, or a few, over traces written by hand: what is told, and in which minute."""

from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np
from case_terms import plan, stage
from minute_by_minute import NOON_MS, TRAY, chunk_by
from numpy.typing import ArrayLike
from pretended_weeks import example

from wardian.rules.crops import StageSpan
from wardian.rules.observing.looks import Care
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.observing.observer import Observer
from wardian.rules.plans import TrayPlan
from wardian.rules.transitions import Transition


def figures_of(*names: str) -> dict[str, dict[str, float]]:
    """Return the library's figures of some conditions."""
    known = example().library.figures
    return {name: {key: figure.amount for key, figure in known[name].items()} for name in names}


def planned(*names: str, spans: Iterable[StageSpan] = ()) -> TrayPlan:
    """Return a plan by which these conditions are looked for."""
    bare = plan((0, stage("callusing")), tray=TRAY)
    return replace(bare, spans=tuple(spans) or bare.spans, figures=figures_of(*names))


def observed(
    of: TrayPlan, traces: Mapping[str, ArrayLike], care: Iterable[Care] = (), every: int = 1
) -> list[Transition]:
    """Return all that is told of hand-made traces, each a value a minute, read every so many minutes."""
    observer = Observer([of])
    for one in care:
        observer.record(TRAY, one)
    observer.feed(chunk_by(traces, every))
    return observer.advance(NOON_MS + max(np.size(values) for values in traces.values()) * MINUTE_MS)


def told(transitions: Iterable[Transition]) -> list[tuple[int, str, str]]:
    """Return the minute, the condition and the event of each."""
    return [((one.time_ms - NOON_MS) // MINUTE_MS, one.condition, one.event) for one in transitions]
