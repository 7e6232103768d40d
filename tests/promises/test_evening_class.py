"""The bench that is pretended without a configuration is that of the example."""

import pytest
from pretended_weeks import example

from wardian.simulator.evening_class import EVENING_CLASS, START_MS
from wardian.simulator.growing import bench_setup

BENCH = bench_setup([(tray.name, tray.plan.spans) for tray in example().trays], START_MS)


def test_the_class_has_the_trays_room_and_zone_of_the_example() -> None:
    assert [tray.name for tray in EVENING_CLASS.trays] == [tray.name for tray in BENCH.trays]
    assert EVENING_CLASS.room_c == pytest.approx(BENCH.room_c, abs=0.3)
    assert str(EVENING_CLASS.zone) == str(example().site.zone)


def test_the_class_keeps_its_trays_as_a_grower_would_who_follows_the_example() -> None:
    for mine, theirs in zip(EVENING_CLASS.trays, BENCH.trays, strict=True):
        first, toned = mine.regimes
        assert first.set_point_c == pytest.approx(theirs.regimes[0].set_point_c, abs=0.5)
        assert toned.from_ms == theirs.regimes[-1].from_ms
        assert toned.set_point_c == pytest.approx(theirs.regimes[-1].set_point_c, abs=0.2)
        assert toned.changes_per_h == pytest.approx(theirs.regimes[-1].changes_per_h, abs=1)
        assert toned.dark_changes_per_h == pytest.approx(theirs.regimes[-1].dark_changes_per_h, abs=1)
        assert not toned.is_misted
