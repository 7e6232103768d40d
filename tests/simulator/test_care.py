"""What people do at the trays: when, how often, and what faults take from it or add."""

import pytest
from lone_bench import TRAYS, at, bench_setup, fault

from wardian.simulator.care import Deed, deeds
from wardian.simulator.evening_class import EVENING_CLASS
from wardian.simulator.setup import BenchSetup
from wardian.simulator.wall import MS_PER_MINUTE

WEEK_H = 168


def done(setup: BenchSetup, event: str, tray: int = 0) -> list[Deed]:
    found = deeds(setup, setup.trays[tray], at(0), at(WEEK_H))
    return [deed for deed in found if deed.care.event == event]


def test_a_tray_is_aired_and_misted_three_times_a_day_for_some_minutes() -> None:
    """Common practice, no source: two to three times a day."""
    lifted, misted = done(EVENING_CLASS, "lifted"), done(EVENING_CLASS, "misted")
    assert len(lifted) == len(misted) == 21
    assert all(2 <= (deed.care.to_ms - deed.care.from_ms) / MS_PER_MINUTE <= 15 for deed in lifted)
    for under, mist in zip(lifted, misted, strict=True):
        assert under.care.from_ms <= mist.care.from_ms
        assert mist.care.to_ms <= under.care.to_ms
        assert mist.grams > 0


def test_every_sixth_day_or_so_a_tray_is_watered() -> None:
    for tray in range(len(TRAYS)):
        watered = done(EVENING_CLASS, "watered", tray)
        assert 1 <= len(watered) <= 2
        assert all(deed.grams > 0 for deed in watered)


@pytest.mark.parametrize("cut_h", [0.01, 8.55, 13.5, 30, 100])
def test_what_is_done_does_not_depend_on_how_time_is_cut(cut_h: float) -> None:
    tray = EVENING_CLASS.trays[2]
    whole = deeds(EVENING_CLASS, tray, at(0), at(WEEK_H))
    before = deeds(EVENING_CLASS, tray, at(0), at(cut_h))
    after = deeds(EVENING_CLASS, tray, at(cut_h), at(WEEK_H))
    assert before + [deed for deed in after if deed not in before] == whole


def test_a_tray_that_is_never_aired_is_left_alone_and_the_others_are_not() -> None:
    setup = bench_setup(fault("never aired", 24, 96, ["tray-b"]))
    times_ms = [deed.care.from_ms for deed in done(setup, "lifted", tray=1)]
    assert times_ms
    assert not any(at(24) <= time_ms < at(96) for time_ms in times_ms)
    assert done(setup, "lifted") == done(EVENING_CLASS, "lifted")


def test_a_medium_that_is_left_dry_gets_air_but_no_water() -> None:
    setup = bench_setup(fault("medium left dry", 0, WEEK_H, ["tray-a"]))
    assert done(setup, "lifted") == done(EVENING_CLASS, "lifted")
    assert not done(setup, "misted")
    assert not done(setup, "watered")


def test_an_over_misted_tray_gets_far_more_and_colder_water() -> None:
    setup = bench_setup(fault("over-misted", 0, WEEK_H, ["tray-a"]))
    usual_g = sum(deed.grams for deed in done(EVENING_CLASS, "misted"))
    misted = done(setup, "misted")
    assert sum(deed.grams for deed in misted) > 5 * usual_g
    assert min(deed.water_c for deed in misted) < 15
    assert len(misted) > 6 * WEEK_H / 24
