"""A straight line through a few values, which single outliers do not move.

Source:
    P. K. Sen, Estimates of the regression coefficient based on Kendall's tau, Journal of the American
    Statistical Association 63 (1968) 1379-1389, after H. Theil (1950); from memory, and held against an
    independent implementation by the tests.
"""

from functools import cache
from math import sqrt
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from wardian.rules.readings import Values

#: Normal quantile of an interval that holds 95 %.
_Z: Final = 1.959963984540054


class Line(NamedTuple):
    """Slope for one step from value to value, the interval that holds it with 95 %, and the line's last value.

    The interval takes errors of single values as independent of each other.
    """

    slope: float
    low: float
    high: float
    end: float


def line_through(values: Values) -> Line:
    """Return the line through values at equal distances: the median of the slopes of all pairs.

    Shape:
        At least two values, all known.
    """
    first, second, low, high = _pairs(len(values))
    slopes = np.sort((values[second] - values[first]) / (second - first))
    slope = float(np.median(slopes))
    end = float(np.median(values + slope * np.arange(len(values) - 1, -1, -1)))
    return Line(slope, float(slopes[low]), float(slopes[high]), end)


@cache
def _pairs(count: int) -> tuple[NDArray[np.intp], NDArray[np.intp], int, int]:
    """Return the places of all pairs, and the ranks of the interval's ends among their slopes."""
    first, second = np.triu_indices(count, 1)
    half = _Z * sqrt(count * (count - 1) * (2 * count + 5) / 18) / 2
    middle, last = len(first) / 2, len(first) - 1
    return first, second, max(round(middle - half) - 1, 0), min(round(middle + half), last)
