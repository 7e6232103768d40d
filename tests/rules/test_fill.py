"""The estimate of a dry mass that nobody weighed. From memory: a fill of peat and perlite weighs 0.08 to 0.15 g/ml dry."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wardian.rules.fill import estimated_dry_g


def test_it_follows_from_the_volume_and_the_empty_tray() -> None:
    assert estimated_dry_g(9000) == pytest.approx(1035)
    assert estimated_dry_g(4000, 500) == pytest.approx(960)


@given(volume_ml=st.floats(100, 100_000), empty_g=st.floats(0, 5000))
def test_it_lies_between_the_lightest_and_the_heaviest_fill(volume_ml: float, empty_g: float) -> None:
    fill_g = estimated_dry_g(volume_ml, empty_g) - empty_g
    assert 0.08 * volume_ml <= fill_g <= 0.15 * volume_ml
