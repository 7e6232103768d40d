"""Where the pretended tray settles and how fast, against its algebra solved by other means.

Steady states: heat and water written out by hand (``tray_by_hand``) and solved by scipy's root finder
(MINPACK's hybrid method); the tray itself is stepped until it settles. Tolerances: 1e-3 K and 0.1 %RH, for
the medium goes on drying by a gram an hour and the rest follows it.

Time constants: those of a network of heat capacities and conductances, its eigenvalues by numpy. Tolerances
with each. All temperatures and powers come from the parameters, none is written here twice.
"""

from dataclasses import replace

import numpy as np
import pytest
from lone_tray import by_hand, column, holding, humidity_pct, live, warm
from tray_by_hand import Around, State, magnus_kpa, magnus_slope, settled, water_flows

from wardian.simulator.flows import COVER, MEDIUM
from wardian.simulator.parameters import (
    AIR_J_PER_M3_K,
    VAPOUR_J_PER_G,
    VAPOUR_KPA_M3_PER_G_K,
    WATER_J_PER_G_K,
    TrayParameters,
)

P = TrayParameters()
#: The medium's water goes on changing by grams, and with it how much evaporates.
SAME_K = 2e-3
SAME_PCT = 0.1
ROOM_C = 19.0
ROOM_KPA = 0.48 * magnus_kpa(ROOM_C)
#: As much as evaporates where vapour can leave, so that the medium stays as wet as it is.
VENTED_G_PER_S = 6 / 3600
OPEN_G_PER_S = 10 / 3600

CLOSED = {
    "closed, dark": Around(ROOM_C, ROOM_KPA, mat=0.4),
    "closed, lit": Around(ROOM_C, ROOM_KPA, mat=0.2, lamp=1.0),
    "closed, dark, in a cold room": Around(12.0, 0.48 * magnus_kpa(12.0), mat=0.8),
    "closed, lit, watered with cold water": Around(
        ROOM_C, ROOM_KPA, mat=0.5, lamp=0.5, watering_g_per_s=5e-4, water_c=8.0
    ),
}
_VENTED = Around(ROOM_C, ROOM_KPA, changes_per_h=80, mat=0.4, watering_g_per_s=VENTED_G_PER_S)
_OPEN = Around(ROOM_C, ROOM_KPA, is_open=True, mat=0.5, watering_g_per_s=OPEN_G_PER_S)
DRY_COVER = {
    "vented, dark": _VENTED,
    "vented, lit": _VENTED._replace(lamp=1.0),
    "open, dark": _OPEN,
    "open, lit": _OPEN._replace(lamp=1.0, mat=0.3),
}


def with_dry_cover() -> State:
    state = by_hand(warm(P).now)
    state[5] = 0.0
    return state


def assert_settles_as_solved(start: State, around: Around, is_dripping: bool) -> State:
    balance = holding(P, start)
    live(balance, around, 48 * 3600, 120)
    solved = settled(P, around, float(by_hand(balance.now)[6]), is_dripping)
    assert np.abs(balance.now.temperature_c[:, 0] - solved[:3]).max() < SAME_K
    assert humidity_pct(balance.now) == pytest.approx(humidity_pct(holding(P, solved).now), abs=SAME_PCT)
    return solved


@pytest.mark.parametrize("around", CLOSED.values(), ids=list(CLOSED))
def test_a_closed_tray_settles_where_its_cover_drips_as_fast_as_water_condenses(around: Around) -> None:
    solved = assert_settles_as_solved(by_hand(warm(P).now), around, is_dripping=True)
    water = water_flows(P, around, solved)
    assert water.condensed == pytest.approx(water.dripped, rel=1e-6)
    assert solved[5] > P.most_on_cover_g
    assert solved[0] > solved[1] > around.room_c


@pytest.mark.parametrize("around", DRY_COVER.values(), ids=list(DRY_COVER))
def test_a_tray_that_leaks_or_stands_open_settles_without_a_drop_on_its_cover(around: Around) -> None:
    solved = assert_settles_as_solved(with_dry_cover(), around, is_dripping=False)
    water = water_flows(P, around, solved)
    assert water.condensed == 0
    assert water.leaked == pytest.approx(water.evaporated + water.transpired, rel=1e-6)


# ------------------------------------------------------------------------------- time constants


def network_per_s(around: Around, state: State) -> State:
    """Return the linear network of air, cover and medium about a settled, dripping state [1/s].

    Heat goes through the conductances of the parameters, and through the vapour: it holds so little that it
    is where its links to medium, leaves, cover and room pull it, like the middle of a star of conductances.
    """
    air_c, cover_c, medium_c, *_, beads_g, water_g = state
    wetness = 1 - np.exp(-((water_g / (P.dry_share * P.saturated_g)) ** 2))
    leaf = P.leaf_dark_g_per_h_kpa if around.lamp == 0 else P.leaf_lit_g_per_h_kpa
    out = around.changes_per_h * P.air_m3 / (VAPOUR_KPA_M3_PER_G_K * (air_c + 273.15))
    #: Of air (its leaves), cover and medium. [g/(s kPa)]
    links = np.array([wetness * leaf, P.condensing_g_per_h_kpa, wetness * P.medium_g_per_h_kpa]) / 3600
    pulls = links * np.array([magnus_slope(air_c), magnus_slope(cover_c), magnus_slope(medium_c)])
    star = links.sum() + out / 3600
    vapour_j_per_g = VAPOUR_J_PER_G - WATER_J_PER_G_K * np.array([medium_c, cover_c, medium_c])
    latent = vapour_j_per_g[:, None] * (np.outer(links, pulls) / star - np.diag(pulls))
    to_air, shone, to_cover = P.medium_to_air_w_per_k, P.medium_to_cover_w_per_k, P.air_to_cover_w_per_k
    leak = around.changes_per_h / 3600 * P.air_m3 * AIR_J_PER_M3_K
    dry = np.array(
        [
            [-to_air - to_cover - leak, to_cover, to_air],
            [to_cover, -to_cover - shone - P.cover_to_room_w_per_k, shone],
            [to_air, shone, -to_air - shone - P.medium_to_room_w_per_k],
        ]
    )
    j_per_k = np.array(
        [
            P.air_j_per_k,
            P.cover_j_per_k + WATER_J_PER_G_K * beads_g,
            P.dry_j_per_k + WATER_J_PER_G_K * water_g,
        ]
    )
    per_s: State = (dry + latent) / j_per_k[:, None]
    return per_s


def time_constant_s(values: State, step_s: float) -> float:
    """Return that of an exponential decay to nought: the slope of its logarithm by least squares."""
    return -step_s / float(np.polyfit(np.arange(len(values)), np.log(values), 1)[0])


def test_the_medium_cools_with_the_slowest_time_constant_of_its_network() -> None:
    """Within 1 %: the network leaves out the warmth that sap and drops carry.

    Measured about a tray whose mat still gives a little: a quite cold cover dries, and that is another network.
    """
    around = Around(ROOM_C, ROOM_KPA, mat=0.2)
    water_g = 0.95 * P.saturated_g
    rest = settled(P, around, water_g, is_dripping=True)
    slowest_s = -1 / float(np.linalg.eigvals(network_per_s(around, rest)).real.max())
    warmer = rest.copy()
    warmer[2] += 0.2
    assert water_flows(P, around, rest).condensed > 0
    left_k = column(live(holding(P, warmer), around, 4 * 3600), MEDIUM) - rest[2]
    assert time_constant_s(left_k[60:], 60) == pytest.approx(slowest_s, rel=0.01)
    assert 1.5 * 3600 < slowest_s < 4 * 3600


def test_a_cover_between_steady_air_and_medium_follows_with_its_heat_capacity_over_its_conductances() -> None:
    """Dry, so that nothing but heat moves. Within 0.1 %, in steps of a hundredth of it."""
    heavy = replace(P, air_j_per_k=1e12, dry_j_per_k=1e12, medium_g_per_h_kpa=0, leaf_dark_g_per_h_kpa=0)
    conductance = P.air_to_cover_w_per_k + P.medium_to_cover_w_per_k + P.cover_to_room_w_per_k
    expected_s = P.cover_j_per_k / conductance
    end_c = (
        P.air_to_cover_w_per_k * 24 + P.medium_to_cover_w_per_k * 25 + P.cover_to_room_w_per_k * ROOM_C
    ) / conductance
    balance = holding(heavy, np.array([24.0, ROOM_C, 25.0, 0.0, 0.0, 0.0, 0.0]))
    seen = live(balance, Around(ROOM_C, 0.0), 2 * expected_s, expected_s / 100)
    assert time_constant_s(end_c - column(seen, COVER), expected_s / 100) == pytest.approx(
        expected_s, rel=1e-3
    )


@pytest.mark.parametrize("changes_per_h", [0.5, P.closed_per_h, P.cracked_per_h])
def test_vapour_over_a_dry_tray_leaks_away_with_one_over_the_air_changes(changes_per_h: float) -> None:
    """All at the room's temperature and nothing wet, so that nothing but air moves. Within 0.1 %."""
    dry = replace(P, medium_g_per_h_kpa=0, leaf_dark_g_per_h_kpa=0)
    expected_s = 3600 / changes_per_h
    grams_per_kpa = P.air_m3 / (VAPOUR_KPA_M3_PER_G_K * (ROOM_C + 273.15))
    state = np.array([ROOM_C, ROOM_C, ROOM_C, 1.8 * grams_per_kpa, 0.0, 0.0, 0.0])
    seen = live(
        holding(dry, state),
        Around(ROOM_C, 0.9, changes_per_h=changes_per_h),
        2 * expected_s,
        expected_s / 100,
    )
    left_kpa = np.array([moment.vapour_kpa[0] for moment in seen]) - 0.9
    assert time_constant_s(left_kpa, expected_s / 100) == pytest.approx(expected_s, rel=1e-3)
