"""What a counted share tells, at its edges and whatever the counts."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wardian.rules.proportions import Share, difference_interval, needed_each, wilson_interval


@st.composite
def shares(draw: st.DrawFn) -> Share:
    whole = draw(st.integers(1, 5000))
    return Share(draw(st.integers(0, whole)), whole)


@given(shares())
def test_a_share_lies_in_its_interval_which_lies_between_none_and_all(share: Share) -> None:
    low, high = wilson_interval(share)
    assert 0 <= low <= share.value <= high <= 1
    assert low < high


@given(shares())
def test_of_the_others_the_interval_is_the_mirror_image(share: Share) -> None:
    low, high = wilson_interval(share)
    mirrored = wilson_interval(Share(share.whole - share.part, share.whole))
    assert mirrored == pytest.approx((1 - high, 1 - low), abs=1e-12)


@given(shares(), shares())
def test_a_difference_lies_in_its_interval_and_turns_round_with_its_groups(one: Share, other: Share) -> None:
    low, high = difference_interval(one, other)
    assert -1 - 1e-12 <= low <= one.value - other.value <= high <= 1 + 1e-12
    assert difference_interval(other, one) == pytest.approx((-high, -low), abs=1e-12)


@pytest.mark.parametrize("share", [Share(0, 0), Share(3, 2), Share(-1, 2)])
def test_what_is_no_share_has_no_interval(share: Share) -> None:
    with pytest.raises(ValueError, match="is no share"):
        wilson_interval(share)


def test_two_batches_of_twenty_must_differ_by_about_thirty_points() -> None:
    """Common practice, no source: by the trade's rule of thumb."""
    assert difference_interval(Share(17, 20), Share(12, 20))[0] < 0
    assert difference_interval(Share(18, 20), Share(12, 20))[0] > 0


@given(st.floats(0, 1), st.floats(0, 1))
def test_the_smaller_a_difference_the_more_it_takes(p1: float, p2: float) -> None:
    if abs(p1 - p2) < 0.001:
        return
    nearer = p1 + (p2 - p1) / 2
    assert needed_each(p1, nearer) >= needed_each(p1, p2) >= 1


@pytest.mark.parametrize("pair", [(0.5, 0.5), (0.5, 1.5), (-0.1, 0.5)])
def test_no_number_shows_what_is_no_difference(pair: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="two different shares"):
        needed_each(*pair)
