"""How much a share that was counted tells: intervals for one, for the difference of two, and how many it takes.

The rule of this file: a share is a count out of a count, never a percentage, because small batches mislead.
"""

from math import ceil, sqrt
from typing import Final, NamedTuple, TypeAlias

#: Of the standard normal distribution: the bound that 97.5 % lie below, for intervals of 95 %.
Z_95: Final = 1.959963984540054
#: The bound that 80 % lie below, for a chance of four in five to see what is there.
Z_80: Final = 0.8416212335729143

#: From and to, as shares or as a difference of shares.
Interval: TypeAlias = tuple[float, float]


class Share(NamedTuple):
    """Some of so many, such as those that rooted of those that were stuck."""

    part: int
    whole: int

    @property
    def value(self) -> float:
        """The share itself, 0 to 1."""
        return self.part / self.whole


def wilson_interval(share: Share) -> Interval:
    """Return the 95 % interval of a share, by Wilson's score without correction for continuity.

    Raises:
        ValueError: It is no share of anything: none at all, more than all or less than none.

    Source:
        E. B. Wilson, Probable inference, the law of succession, and statistical inference, Journal of the
        American Statistical Association 22 (1927) 209-212; formula from memory, held against SciPy's.
    """
    if not 0 <= share.part <= share.whole or not share.whole:
        raise ValueError(f"{share.part} of {share.whole} is no share; 0 to all of at least 1 is accepted")
    z2, p, n = Z_95**2, share.value, share.whole
    middle = (p + z2 / (2 * n)) / (1 + z2 / n)
    spread = Z_95 * sqrt(p * (1 - p) / n + z2 / (4 * n * n)) / (1 + z2 / n)
    # All or none is certain to be possible; what rounding leaves beside it is not.
    low = 0.0 if share.part == 0 else middle - spread
    high = 1.0 if share.part == share.whole else middle + spread
    return low, high


def difference_interval(one: Share, other: Share) -> Interval:
    """Return the 95 % interval of the first share less the second, by Newcombe's hybrid score.

    Raises:
        ValueError: One is no share of anything.

    Source:
        R. G. Newcombe, Interval estimation for the difference between independent proportions: comparison of
        eleven methods, Statistics in Medicine 17 (1998) 873-890, method 10; formula from memory.
    """
    (low_1, high_1), (low_2, high_2) = wilson_interval(one), wilson_interval(other)
    p1, p2 = one.value, other.value
    below = sqrt((p1 - low_1) ** 2 + (high_2 - p2) ** 2)
    above = sqrt((high_1 - p1) ** 2 + (p2 - low_2) ** 2)
    return p1 - p2 - below, p1 - p2 + above


def needed_each(p1: float, p2: float) -> int:
    """Return how many it takes in each of two groups to see two true shares differ, in four trials of five.

    Raises:
        ValueError: The two are the same, which no number would show, or one is no share.

    Source:
        J. L. Fleiss, Statistical Methods for Rates and Proportions, 2nd ed., Wiley 1981, chapter 3: two-sided
        test at 5 %, power 80 %, without correction for continuity; formula from memory.
    """
    if not (0 <= p1 <= 1 and 0 <= p2 <= 1) or p1 == p2:
        raise ValueError("two different shares from 0 to 1 are accepted")
    mean = (p1 + p2) / 2
    root = Z_95 * sqrt(2 * mean * (1 - mean)) + Z_80 * sqrt(p1 * (1 - p1) + p2 * (1 - p2))
    return ceil(root**2 / (p1 - p2) ** 2)
