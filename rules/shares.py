"""How much of a time a quantity was within its band, beyond it, and unknown.

The rule of this file: the three are whole milliseconds that make up exactly the time that was judged,
and nothing is known that the engine did not know.
"""

from collections.abc import Collection, Iterable, Mapping
from itertools import zip_longest
from typing import NamedTuple, TypeAlias

import numpy as np

from wardian.rules.judging import Stretch
from wardian.rules.plans import TrayPlan
from wardian.rules.readings import Times

#: From an instant (included) to another (not), in milliseconds since 1970 UTC.
Span: TypeAlias = tuple[int, int]
#: In order of time, with time between each and the next.
Spans: TypeAlias = list[Span]


class Shares(NamedTuple):
    """What became of a quantity's time, and the longest time that it was beyond without a break."""

    within_ms: int
    beyond_ms: int
    unknown_ms: int
    longest_ms: int


class KnownTime:
    """When quantities of one tray were known; ``hear`` is for ``TrayEngine.on_stretches``."""

    def __init__(self, quantities: Collection[str]) -> None:
        self._heard: dict[str, list[tuple[Times, Times]]] = {quantity: [] for quantity in quantities}

    def hear(self, stretches: Mapping[str, Stretch]) -> None:
        """Remember when the values were known, piece by piece in order of time."""
        for quantity, heard in self._heard.items():
            stretch = stretches.get(quantity)
            if stretch is not None and len(stretch.from_ms):
                heard.append(_known_runs(stretch))

    def spans(self, quantity: str) -> Spans:
        """Return when a quantity was known, up to when its last value stands at most."""
        heard = self._heard[quantity]
        if not heard:
            return []
        from_ms, to_ms = (np.concatenate(column) for column in zip(*heard, strict=True))
        # A value that a later piece follows is known no longer than until then.
        to_ms[:-1] = np.minimum(to_ms[:-1], from_ms[1:])
        return merged(zip(from_ms.tolist(), to_ms.tolist(), strict=True))


def _known_runs(stretch: Stretch) -> tuple[Times, Times]:
    """Return where known time begins and ends that no unknown time breaks."""
    breaks = np.flatnonzero(stretch.until_ms[:-1] < stretch.from_ms[1:])
    first = np.concatenate(([0], breaks + 1))
    last = np.append(breaks, len(stretch.from_ms) - 1)
    return stretch.from_ms[first], stretch.until_ms[last]


def shares(judged: Spans, known: Spans, beyond: Spans) -> Shares:
    """Return what became of judged time, with what was known of it and what was beyond of that."""
    known = common(judged, known)
    beyond = common(known, beyond)
    known_ms, beyond_ms = length_ms(known), length_ms(beyond)
    return Shares(
        within_ms=known_ms - beyond_ms,
        beyond_ms=beyond_ms,
        unknown_ms=length_ms(judged) - known_ms,
        longest_ms=max((to_ms - from_ms for from_ms, to_ms in beyond), default=0),
    )


def judged_spans(plan: TrayPlan, quantity: str, within: Span) -> Spans:
    """Return when a quantity had a band: the stages of a plan that give it one, within a span."""
    banded = [
        (max(span.from_ms, within[0]), min(following.from_ms if following else within[1], within[1]))
        for span, following in zip_longest(plan.spans, plan.spans[1:])
        if quantity in span.stage.bands
    ]
    return merged(banded)


def merged(spans: Iterable[Span]) -> Spans:
    """Return the time of any spans, in whatever order, as spans with time between them."""
    result: Spans = []
    for from_ms, to_ms in sorted(spans):
        if from_ms >= to_ms:
            continue
        if result and from_ms <= result[-1][1]:
            result[-1] = (result[-1][0], max(result[-1][1], to_ms))
        else:
            result.append((from_ms, to_ms))
    return result


def common(some: Spans, others: Spans) -> Spans:
    """Return the time that is in both."""
    result: Spans = []
    here = there = 0
    while here < len(some) and there < len(others):
        (from_ms, to_ms), (other_from_ms, other_to_ms) = some[here], others[there]
        if max(from_ms, other_from_ms) < min(to_ms, other_to_ms):
            result.append((max(from_ms, other_from_ms), min(to_ms, other_to_ms)))
        if to_ms <= other_to_ms:
            here += 1
        else:
            there += 1
    return result


def without(some: Spans, others: Spans) -> Spans:
    """Return the time that is in the first and not in the second."""
    if not some:
        return []
    first_ms, last_ms = some[0][0], some[-1][1]
    edges = [first_ms, *(edge for span in others for edge in span), last_ms]
    return common(some, merged(zip(edges[::2], edges[1::2], strict=True)))


def length_ms(spans: Spans) -> int:
    """Return how long spans are together."""
    return sum(to_ms - from_ms for from_ms, to_ms in spans)
