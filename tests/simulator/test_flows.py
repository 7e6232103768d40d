"""Each flow takes from one store what it gives to another, and goes the way nature lets it."""

from dataclasses import replace

import numpy as np
import pytest
from lone_tray import by_hand, holding, links_of, one, warm
from tray_by_hand import Around, State, rates

from wardian.rules.readings import Values
from wardian.simulator.flows import (
    AIR,
    BEADS,
    COVER,
    FLOWS,
    HEAT_IN,
    INNER,
    LEAVES,
    MEDIUM,
    QUICK,
    STORES,
    VAPOUR,
    WATER,
    WATER_IN,
    Moment,
    effects,
)
from wardian.simulator.parameters import VAPOUR_J_PER_G, TrayParameters

P = TrayParameters()
WARM = Around(room_c=19.0, room_kpa=1.05, mat=0.4)
#: Moist and dripping; wet leaves and dew on them; over-full; dry.
STATES = {
    "dripping": [24.0, 23.2, 26.0, 0.47, 0.0, 41.0, 1700.0],
    "wet leaves": [24.0, 23.2, 26.0, 0.4, 14.0, 5.0, 1700.0],
    "dew on leaves": [22.0, 21.9, 25.0, 0.45, 1.0, 5.0, 1700.0],
    "over-full": [20.0, 19.0, 18.0, 0.3, 20.0, 60.0, 2100.0],
    "dry": [25.0, 22.0, 27.0, 0.2, 0.0, 0.0, 50.0],
}
AROUND = {
    "closed": WARM,
    "lit": WARM._replace(lamp=1.0),
    "open": WARM._replace(is_open=True),
    "open and lit": WARM._replace(is_open=True, lamp=0.5),
    "leaking, watered": WARM._replace(changes_per_h=40, watering_g_per_s=0.3, water_c=9.0),
}


def flows_of(moment: Moment, around: Around) -> Values:
    return moment.flows(links_of(P, around), one(around.mat), moment.dew)


@pytest.mark.parametrize("flow", range(FLOWS))
def test_no_flow_makes_or_loses_water_or_heat(flow: int) -> None:
    column = effects()[:, flow]
    heat = column[: MEDIUM + 1].sum() + VAPOUR_J_PER_G * column[VAPOUR]
    assert heat == column[HEAT_IN]
    assert column[[VAPOUR, LEAVES, BEADS, WATER]].sum() == column[WATER_IN]


@pytest.mark.parametrize("state", STATES.values(), ids=list(STATES))
@pytest.mark.parametrize("around", AROUND.values(), ids=list(AROUND))
def test_stores_change_as_the_balance_written_by_hand_says(state: list[float], around: Around) -> None:
    """It speaks of temperatures, so they are told here from heat and water: d(cT) = c dT + T dc."""
    by_state: State = np.array(state)
    moment = holding(P, by_state).now
    changes = (effects() @ flows_of(moment, around))[:, 0]
    water = np.array([changes[LEAVES], changes[BEADS], changes[WATER]])
    warming = (changes[: MEDIUM + 1] - 4.18 * water * by_state[:3]) / moment.j_per_k[:, 0]
    expected = rates(P, around, by_state)
    assert warming == pytest.approx(expected[:3], rel=1e-9, abs=1e-12)
    assert changes[[VAPOUR, LEAVES, BEADS, WATER]] == pytest.approx(expected[3:], rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("state", STATES.values(), ids=list(STATES))
@pytest.mark.parametrize("around", AROUND.values(), ids=list(AROUND))
def test_slopes_are_those_of_the_flows_but_for_what_is_left_out(state: list[float], around: Around) -> None:
    """Left out: heat that water carries, and that the pressure of the same vapour rises with warmth.

    The latter is added here, so that the rest must fit to what a difference quotient can tell.
    """
    now = holding(P, np.array(state)).now
    link = links_of(P, around)
    now.flows(link, one(around.mat), now.dew)
    slopes = np.zeros((INNER, QUICK, 1))
    now.slopes(link, slopes)
    kelvin_per_j = 1 / now.j_per_k[AIR]
    share_per_j = kelvin_per_j / (now.temperature_c[AIR] + 273.15)
    kpa_per_j = now.vapour_kpa * share_per_j
    slopes[6, AIR] -= link.medium_g * now._moist * kpa_per_j
    slopes[7, AIR] -= now._onto_g[0] * kpa_per_j
    slopes[8, AIR] -= now._leaf_g * kpa_per_j
    slopes[10, AIR] += now._onto_g[1] * kpa_per_j
    slopes[11, AIR] += link.changes_per_s * link.room_kpa / now._kpa_per_g * share_per_j
    heat_that_water_carries = [9, *range(INNER - 3, INNER)]
    for store, moved_by in ((AIR, 0.1), (COVER, 0.1), (MEDIUM, 0.1), (VAPOUR, 1e-6)):
        ahead, behind = now.stores.copy(), now.stores.copy()
        ahead[store] += moved_by
        behind[store] -= moved_by
        seen = [Moment(P, stores).flows(link, one(around.mat), now.dew) for stores in (ahead, behind)]
        quotient = ((seen[0] - seen[1]) / (2 * moved_by))[:INNER, 0]
        quotient[heat_that_water_carries] = 0
        assert slopes[:, store, 0] == pytest.approx(quotient, rel=1e-4, abs=1e-9)


def test_with_the_cover_off_nothing_goes_through_it() -> None:
    balance = holding(P, np.array(STATES["dripping"]))
    flows = flows_of(balance.now, WARM._replace(is_open=True, lamp=1.0))
    onto_cover = effects()[COVER] > 0
    assert np.abs(flows[onto_cover]).max() == 0


def test_a_dry_medium_gives_less_vapour_than_a_moist_one_and_a_soaked_one_drains() -> None:
    def gives(held_g: float) -> float:
        balance = holding(P, np.array([24.0, 23.5, 26.0, 0.3, 0.0, 0.0, held_g]))
        return float((effects() @ flows_of(balance.now, WARM))[VAPOUR, 0])

    assert gives(100) < gives(500) < gives(1700)
    soaked = holding(P, np.array([24.0, 23.5, 26.0, 0.3, 0.0, 0.0, P.saturated_g + 60]))
    assert (effects() @ flows_of(soaked.now, WARM))[WATER_IN, 0] < -60 / P.drain_s


def test_trays_side_by_side_do_not_touch_each_other() -> None:
    states = [holding(P, np.array(state)).now.stores for state in STATES.values()]
    together = Moment(P, np.concatenate(states, axis=1))
    link = links_of(P, WARM)
    wide = type(link)(*(np.repeat(column, len(states), axis=-1) for column in link))
    all_flows = together.flows(wide, np.full(len(states), 0.4), together.dew)
    for place, stores in enumerate(states):
        alone = Moment(P, stores)
        assert (all_flows[:, place] == alone.flows(link, one(0.4), alone.dew)[:, 0]).all()


def test_a_tray_begins_warm_closed_and_moist() -> None:
    begun = warm(replace(P, most_on_cover_g=30.0), air_c=25, medium_c=26, held=0.9).now
    air_c, cover_c, medium_c, _, leaves_g, beads_g, water_g = by_hand(begun)
    assert (air_c, cover_c, medium_c) == pytest.approx((25, 24.5, 26))
    assert (leaves_g, beads_g, water_g) == pytest.approx((0, 15, 0.9 * P.saturated_g))
    assert begun.vapour_kpa[0] == pytest.approx(begun.saturated_kpa[COVER, 0])
    assert begun.stores.shape == (STORES, 1)
