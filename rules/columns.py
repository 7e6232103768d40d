"""A long series as the columns of a picture: the least and the most that stood in each, so that nothing is smoothed away.

The rule of this file: a value that stood for any time of a column shows in it, and a column in which nothing stood
is empty.
"""

from typing import NamedTuple

import numpy as np

from wardian.rules.judging import Stretch
from wardian.rules.readings import Points, Times, Values, merged
from wardian.rules.shares import KnownTime, Span, Spans, common, without


class Columns(NamedTuple):
    """Two arrays, one value a column of equal time: the least and the most that stood in it, NaN where nothing did."""

    low: Values
    high: Values


def standing(points: Points, hold_ms: int) -> Stretch:
    """Return readings in any order as what stands from each until its hold has passed."""
    (times, values), _ = merged([points])
    return Stretch(times, times + hold_ms, values, values)


def columns(stretch: Stretch, span: Span, count: int) -> Columns:
    """Return a series between two instants as so many columns.

    A value stands from its time (included) until the next one, at most until it is known no longer; both ends of
    ``span`` are in ms, the last one is left out.
    """
    from_ms, until_ms, values = _standing_within(stretch, span)
    first, last = _column_of(from_ms, span, count), _column_of(until_ms - 1, span, count)
    covered = last - first + 1
    low, high = np.full(count, np.nan), np.full(count, np.nan)
    if not len(covered):
        return Columns(low, high)
    # Values stand one after the other: the columns that they cover come in order.
    begin = np.cumsum(covered) - covered
    places = np.arange(int(covered.sum())) + np.repeat(first - begin, covered)
    stood = np.repeat(values, covered)
    starts = np.flatnonzero(np.append(True, places[1:] != places[:-1]))
    low[places[starts]] = np.minimum.reduceat(stood, starts)
    high[places[starts]] = np.maximum.reduceat(stood, starts)
    return Columns(low, high)


def unknown_spans(stretch: Stretch, span: Span) -> Spans:
    """Return when nothing of a series stood between two instants [ms]."""
    known = KnownTime([""])
    known.hear({"": stretch})
    return without([span], common([span], known.spans("")))


def _standing_within(stretch: Stretch, span: Span) -> tuple[Times, Times, Values]:
    following = np.append(stretch.from_ms[1:], np.iinfo(np.int64).max)[: len(stretch.from_ms)]
    from_ms = np.maximum(stretch.from_ms, span[0])
    until_ms = np.minimum(np.minimum(stretch.until_ms, following), span[1])
    stands = from_ms < until_ms
    return from_ms[stands], until_ms[stands], stretch.for_high[stands]


def _column_of(instants: Times, span: Span, count: int) -> Times:
    columns_: Times = (instants - span[0]) * count // (span[1] - span[0])
    return columns_
