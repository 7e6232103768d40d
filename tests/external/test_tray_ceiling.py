"""The wet cover caps the humidity under it: its saturation pressure over that of the air, by psychrolib.

Numbers: PsychroLib 2.5.0 (ASHRAE Handbook Fundamentals 2017, equation 6), computed on the spot. Tolerance
of a ceiling: 0.5 %RH, for vapour needs a little overpressure to condense on, and the Magnus form of the
simulator differs from ASHRAE's by up to 0.35 %, of which a ratio at nearly one temperature keeps a
hundredth. Dew points: 0.1 K, as everywhere.
"""

import numpy as np
import psychrolib
import pytest
from lone_bench import at, bench_setup, fault, set_in_pieces, soon_after
from lone_tray import holding, humidity_pct
from tray_by_hand import dripping_at

from wardian.simulator.bench import Bench
from wardian.simulator.evening_class import START_MS
from wardian.simulator.flows import AIR, COVER
from wardian.simulator.parameters import TrayParameters

P = TrayParameters()
ABOVE_PCT = 0.5
DEW_POINT_K = 0.1

psychrolib.SetUnitSystem(psychrolib.SI)


def ceiling_pct(air_c: float, cover_c: float) -> float:
    return float(100 * psychrolib.GetSatVapPres(cover_c) / psychrolib.GetSatVapPres(air_c))


def test_air_of_24_under_a_cover_of_22_stays_below_89_per_cent() -> None:
    assert ceiling_pct(24, 22) == pytest.approx(88.6, abs=0.05)
    assert ceiling_pct(24, 22) + 0.35 < 89


def test_no_condensing_tray_is_moister_than_its_cover_allows() -> None:
    """Two days of six trays: airings, mist, cold, a cracked cover, a mat that always heats."""
    faults = (
        *fault("cold night", 20, 32),
        *fault("heater stuck on", 34, 40, ["tray-a", "tray-c"]),
        *fault("cover cracked", 10, 30, ["tray-b"]),
        *fault("over-misted", 24, 48, ["tray-d"]),
        *fault("heater dead", 5, 15, ["tray-e"]),
    )
    bench = Bench(bench_setup(faults), START_MS)
    kept = set_in_pieces(bench)
    bench.advance(at(48))
    around = bench.surroundings(np.arange(START_MS, at(48), 60_000))
    moved = (around.is_open > 0) | soon_after(around.is_open, 6) | soon_after(around.mist_g_per_s, 6)
    moved |= soon_after(around.lamp, 3)
    seen = 0
    for step, moment in enumerate(kept.seen[1:]):
        # While a cover is off and just back, or a lamp just off, vapour has not caught up yet.
        for tray in np.flatnonzero(moment.dew[1] & ~moved[step]):
            air_c, cover_c = moment.temperature_c[[AIR, COVER], tray]
            humidity = 100 * moment.vapour_kpa[tray] / moment.saturated_kpa[AIR, tray]
            assert humidity <= ceiling_pct(air_c, cover_c) + ABOVE_PCT
            seen += 1
    assert seen > 0.6 * 6 * 48 * 60


@pytest.mark.parametrize(
    "room_c",
    [
        19.0,
        16.0,
        13.0,
    ],
)
def test_the_dew_point_of_dripping_air_is_the_temperature_of_its_cover(room_c: float) -> None:
    state = dripping_at(P, 24.0, room_c)
    humidity = humidity_pct(holding(P, state).now)
    dew_point_c = psychrolib.GetTDewPointFromRelHum(24.0, humidity / 100)
    assert dew_point_c == pytest.approx(state[COVER], abs=DEW_POINT_K)
    assert ceiling_pct(24.0, state[COVER]) - 0.1 < humidity < ceiling_pct(24.0, state[COVER]) + ABOVE_PCT
