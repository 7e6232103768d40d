"""Intervals of shares and of their differences, beside SciPy's and published ones."""

import pytest
from scipy.stats import binomtest

from wardian.rules.proportions import Share, difference_interval, needed_each, wilson_interval

COUNTED = [Share(part, whole) for whole in (1, 2, 5, 20, 37, 100, 2000) for part in {0, 1, whole // 3, whole}]


@pytest.mark.parametrize("share", COUNTED)
def test_wilson_interval_is_that_of_scipy(share: Share) -> None:
    theirs = binomtest(share.part, share.whole).proportion_ci(method="wilson")
    assert wilson_interval(share) == pytest.approx((theirs.low, theirs.high), abs=1e-12)


@pytest.mark.parametrize(
    ("share", "low", "high"),
    [(Share(12, 20), 0.387, 0.781), (Share(17, 20), 0.640, 0.948), (Share(90, 100), 0.826, 0.945)],
)
def test_wilson_interval_of_batches_of_usual_size(share: Share, low: float, high: float) -> None:
    """Computed with SciPy 1.17, rounded to three digits; of 90 in 100 growers say 83 to 95 %."""
    assert wilson_interval(share) == pytest.approx((low, high), abs=0.0006)


@pytest.mark.parametrize(
    ("one", "other", "low", "high"),
    [
        (Share(56, 70), Share(48, 80), 0.0524, 0.3339),
        (Share(9, 10), Share(3, 10), 0.1705, 0.8090),
        (Share(6, 7), Share(2, 7), 0.0582, 0.8062),
        (Share(5, 56), Share(0, 29), -0.0381, 0.1926),
        (Share(0, 10), Share(0, 20), -0.1611, 0.2775),
        (Share(10, 10), Share(0, 20), 0.6791, 1.0000),
        (Share(10, 10), Share(0, 10), 0.6075, 1.0000),
    ],
)
def test_difference_interval_is_that_published(one: Share, other: Share, low: float, high: float) -> None:
    """Newcombe 1998, Statistics in Medicine 17, table II, method 10; from memory, to the four digits printed."""
    assert difference_interval(one, other) == pytest.approx((low, high), abs=6e-5)


def test_numbers_needed_are_those_of_the_textbook() -> None:
    """Fleiss 1981, chapter 3, without correction for continuity: 0.6 against 0.7 takes 356 a group; from memory."""
    assert needed_each(0.6, 0.7) == 356
