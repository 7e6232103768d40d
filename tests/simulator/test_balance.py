"""Steps of the balance: how long ones are cut, and that trays side by side live as they would alone."""

import numpy as np
import pytest
from lone_tray import by_hand, links_of, live, one, warm
from tray_by_hand import Around

from wardian.simulator.balance import Balance, begin, heat_j, water_g
from wardian.simulator.flows import HEAT_IN, WATER_IN
from wardian.simulator.parameters import TrayParameters

P = TrayParameters()
AROUND = Around(room_c=18.0, room_kpa=1.0, lamp=1.0, mat=0.3)


def test_a_long_step_is_lived_in_pieces_of_a_minute() -> None:
    whole, pieces = warm(P), warm(P)
    whole.step(links_of(P, AROUND), one(0.3), 3600)
    live(pieces, AROUND, 3600, 60)
    assert (whole.now.stores == pieces.now.stores).all()


def test_a_step_of_no_time_changes_nothing() -> None:
    balance = warm(P)
    before = balance.now.stores.copy()
    balance.step(links_of(P, AROUND), one(0.3), 0)
    assert (balance.now.stores == before).all()


@pytest.mark.parametrize("held", [0.0, 0.001, 1.5])
def test_a_bone_dry_or_flooded_medium_owes_no_water(held: float) -> None:
    balance = warm(P, held=held)
    live(balance, AROUND._replace(is_open=True), 12 * 3600)
    assert np.isfinite(balance.now.stores).all()
    assert by_hand(balance.now)[4:].min() >= 0


def test_trays_side_by_side_live_as_each_would_alone() -> None:
    held = np.array([0.95, 0.2, 0.6])
    together = Balance(P, begin(P, np.full(3, 25.0), np.full(3, 26.0), held))
    link = links_of(P, AROUND)
    wide = type(link)(*(np.repeat(column, 3, axis=-1) for column in link))
    for _ in range(240):
        together.step(wide, np.full(3, 0.3), 60)
    for place, share in enumerate(held):
        alone = warm(P, held=share)
        live(alone, AROUND, 240 * 60)
        assert together.now.stores[:, place] == pytest.approx(alone.now.stores[:, 0], rel=1e-12)


def test_the_accounts_begin_empty_and_follow_what_is_held() -> None:
    balance = warm(P)
    before = balance.now.stores
    assert (before[[HEAT_IN, WATER_IN]] == 0).all()
    live(balance, AROUND, 3600)
    after = balance.now.stores
    assert heat_j(after) - heat_j(before) == pytest.approx(after[HEAT_IN], rel=1e-9)
    assert water_g(after) - water_g(before) == pytest.approx(after[WATER_IN], rel=1e-9)
