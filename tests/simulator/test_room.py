"""The room: its day, its strokes of cold and heat, and that it is the same however it is asked for."""

import numpy as np
import pytest
from lone_bench import TRAYS, at, bench_setup, fault

from wardian.rules.air import saturation_vapour_pressure_kpa_array
from wardian.simulator.evening_class import START_MS
from wardian.simulator.room import COLD_NIGHT_K, HEAT_WAVE_K, Room
from wardian.simulator.setup import BenchSetup
from wardian.simulator.wall import MS_PER_DAY, MS_PER_MINUTE, wall

WEEK_MS = START_MS + np.arange(0, 7 * MS_PER_DAY, 10 * MS_PER_MINUTE)


def room_c(setup: BenchSetup) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    return Room(setup).around(WEEK_MS, setup.zone)[0]


def test_afternoons_are_warmer_than_nights() -> None:
    setup = bench_setup()
    hours = wall(WEEK_MS, setup.zone).hours
    warmth_c = room_c(setup)
    assert warmth_c[(hours > 13) & (hours < 17)].mean() > warmth_c[(hours > 1) & (hours < 5)].mean() + 1


def test_the_room_is_the_same_in_one_piece_and_in_many() -> None:
    setup = bench_setup(fault("cold night", 40, 52))
    whole = Room(setup).around(WEEK_MS, setup.zone)
    pieces = [Room(setup).around(piece, setup.zone) for piece in np.array_split(WEEK_MS, 13)]
    for place in range(2):
        assert (np.concatenate([piece[place] for piece in pieces]) == whole[place]).all()


@pytest.mark.parametrize(("name", "stroke_k"), [("cold night", COLD_NIGHT_K), ("heat wave", HEAT_WAVE_K)])
def test_a_stroke_comes_and_goes_slowly_and_befalls_its_trays_only(name: str, stroke_k: float) -> None:
    moved_k = room_c(bench_setup(fault(name, 40, 60, TRAYS[:2]))) - room_c(bench_setup())
    during = (at(40) <= WEEK_MS) & (at(60) > WEEK_MS)
    assert (moved_k[:, 2:] == 0).all()
    assert (moved_k[~during] == 0).all()
    assert moved_k[during, 0][len(moved_k[during]) // 2] == pytest.approx(stroke_k)
    assert np.abs(np.diff(moved_k[:, 0])).max() < 1


def test_a_cold_night_takes_no_vapour_out_of_the_room_but_what_would_be_dew() -> None:
    setup = bench_setup(fault("cold night", 40, 52))
    around_c, kpa = Room(setup).around(WEEK_MS, setup.zone)
    assert (kpa <= saturation_vapour_pressure_kpa_array(around_c)).all()
    usual_kpa = Room(bench_setup()).around(WEEK_MS, setup.zone)[1]
    assert kpa == pytest.approx(np.minimum(usual_kpa, saturation_vapour_pressure_kpa_array(around_c)))


def test_another_seed_has_another_weather() -> None:
    assert not np.allclose(room_c(bench_setup(seed=1)), room_c(bench_setup(seed=2)))


def test_over_a_year_a_room_stays_a_room() -> None:
    setup = bench_setup()
    times_ms = START_MS + np.arange(0, 365 * MS_PER_DAY, 90 * MS_PER_MINUTE)
    around_c, kpa = Room(setup).around(times_ms, setup.zone)
    humidity_pct = 100 * kpa / saturation_vapour_pressure_kpa_array(around_c)
    assert np.abs(around_c - setup.room_c).max() < 4
    assert humidity_pct.min() > 25
    assert humidity_pct.max() < 75
