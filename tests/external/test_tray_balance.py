"""Heat and water of the pretended tray close: the first law and the conservation of mass.

What a tray holds at the end is what it held at the beginning and what came from outside. Tolerance: 1e-9 of all
that flowed in and out, for a sum of ten thousand rounded steps stays well below that.
"""

from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from lone_bench import TRAYS, at, bench_setup, fault, set_in_pieces
from lone_tray import links_of, live, one, warm
from tray_by_hand import Around, magnus_kpa

from wardian.rules.readings import Values
from wardian.simulator.balance import Balance, heat_j, water_g
from wardian.simulator.bench import Bench
from wardian.simulator.care import deeds
from wardian.simulator.evening_class import START_MS
from wardian.simulator.flows import HEAT_IN, VAPOUR, WATER, WATER_IN
from wardian.simulator.parameters import TrayParameters

CLOSES_REL = 1e-9
#: Dew that forms and dries within one step may leave a film short by so much until the next.
OWED_G = 0.01
P = TrayParameters()
#: Everything that lets heat or water out, shut.
SEALED = replace(
    P,
    cover_to_room_w_per_k=0.0,
    medium_to_room_w_per_k=0.0,
    drain_s=1e30,
)
WEEK_H = 168


def gap(stores: list[Values], held: Values, account: int) -> Values:
    """Return by how much stores miss their account, as a share of what flowed."""
    booked = np.array([one_store[account] for one_store in stores])
    flowed = np.abs(np.diff(booked, axis=0)).sum(axis=0)
    share: Values = np.abs(held[-1] - held[0] - (booked[-1] - booked[0])) / flowed
    return share


def test_heat_and_water_close_over_a_week_of_mixed_events() -> None:
    mixed = (
        *fault("cover left off", 20, 28, TRAYS[:2]),
        *fault("cover cracked", 40, 80, TRAYS[1:3]),
        *fault("medium left dry", 30, 100, TRAYS[2:4]),
        *fault("over-misted", 50, 110, TRAYS[4:]),
        *fault("heater dead", 100, 115, TRAYS[:3]),
        *fault("heater stuck on", 60, 66, TRAYS[3:]),
        *fault("lamp never off", 20, 70, TRAYS[3:]),
        *fault("cold night", 120, 132),
        *fault("mains lost", 140, 148),
    )
    bench = Bench(bench_setup(mixed), START_MS)
    kept = set_in_pieces(bench)
    bench.advance(at(WEEK_H))
    stores = [moment.stores for moment in kept.seen]
    assert len(stores) == WEEK_H * 60 + 1
    assert min(one_store[VAPOUR : WATER + 1].min() for one_store in stores) > -OWED_G
    assert gap(stores, np.array([heat_j(one_store) for one_store in stores]), HEAT_IN).max() < CLOSES_REL
    assert gap(stores, np.array([water_g(one_store) for one_store in stores]), WATER_IN).max() < CLOSES_REL
    events = {
        deed.care.event for tray in bench.setup.trays for deed in deeds(bench.setup, tray, at(0), at(WEEK_H))
    }
    assert events == {"lifted", "misted", "watered"}


def test_a_sealed_tray_keeps_what_mat_lamp_and_water_bring() -> None:
    """Nothing leaves it, so hand and slide rule are enough: watts times seconds, grams times kelvin."""
    balance = warm(SEALED)
    before_j, before_g = heat_j(balance.now.stores), water_g(balance.now.stores)
    around = Around(
        room_c=5, room_kpa=0.5, changes_per_h=0, lamp=0.8, mat=0.3, watering_g_per_s=0.02, water_c=12
    )
    live(balance, around, 3600)
    misted = links_of(SEALED, around._replace(lamp=0, watering_g_per_s=0), mist_g_per_s=0.5)
    balance.step(misted, one(0), 60)
    lamp_w = P.lamp_in_air_w + P.lamp_in_cover_w + P.lamp_in_medium_w
    given_g = 0.02 * 3600 + 0.5 * 60
    given_j = (0.3 * P.mat_w + 0.8 * lamp_w) * 3600 + given_g * 4.18 * 12
    assert water_g(balance.now.stores)[0] - before_g[0] == pytest.approx(given_g, rel=CLOSES_REL)
    assert heat_j(balance.now.stores)[0] - before_j[0] == pytest.approx(given_j, rel=CLOSES_REL)


class Piece(NamedTuple):
    """A while of some seconds under one kind of surroundings."""

    around: Around
    mist_g_per_s: float
    wick_per_h: float
    seconds: float


@st.composite
def pieces(draw: st.DrawFn) -> Piece:
    room_c = draw(st.floats(-5, 45))
    around = Around(
        room_c=room_c,
        room_kpa=draw(st.floats(0.05, 1)) * magnus_kpa(room_c),
        is_open=draw(st.booleans()),
        changes_per_h=draw(st.floats(0.2, 150)),
        lamp=draw(st.sampled_from((0.0, 0.5, 1.0))),
        mat=draw(st.floats(0, 1)),
        watering_g_per_s=draw(st.sampled_from((0.0, 0.0, 0.01, 2.0))),
        water_c=draw(st.floats(2, 40)),
    )
    seconds = draw(st.sampled_from((1.0, 7.0, 10.0, 60.0, 250.0, 1000.0, 3600.0, 6 * 3600.0, 86_400.0)))
    mist_g_per_s = draw(st.sampled_from((0.0, 0.0, 0.001, 0.5)))
    return Piece(around, mist_g_per_s, draw(st.sampled_from((0.0, 0.05))), seconds)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(lives=st.lists(pieces(), min_size=1, max_size=4), held=st.floats(0.01, 1.2))
def test_heat_and_water_close_and_stay_possible_whatever_happens_in_steps_of_a_second_to_a_day(
    lives: list[Piece], held: float
) -> None:
    balance = warm(P, held=held)
    stores = [balance.now.stores]
    for piece in lives:
        link = links_of(P, piece.around, piece.mist_g_per_s, piece.wick_per_h)
        balance.step(link, one(piece.around.mat), piece.seconds)
        stores.append(balance.now.stores)
    for holds, account in ((heat_j, HEAT_IN), (water_g, WATER_IN)):
        held_now = np.array([holds(one_store)[0] for one_store in stores])
        booked = np.array([one_store[account, 0] for one_store in stores])
        most = held_now.max() + np.abs(np.diff(booked)).sum()
        assert abs(held_now[-1] - held_now[0] - booked[-1]) < CLOSES_REL * most
    assert_possible(balance, lives)


def assert_possible(balance: Balance, lives: list[Piece]) -> None:
    """Temperatures lie between a wet bulb's and what all power could reach; no water is owed but a film's rest."""
    rooms_c = [piece.around.room_c for piece in lives]
    waters_c = [piece.around.water_c for piece in lives]
    power_w = P.mat_w + P.lamp_in_air_w + P.lamp_in_cover_w + P.lamp_in_medium_w
    # A dry bulb of 45 °C at 5 % has a wet bulb of 18 °C.
    coldest_c = min(*rooms_c, *waters_c, 25.0) - 27
    # As if all heat had to leave through the base.
    hottest_c = max(*rooms_c, *waters_c, 26.0) + power_w / P.medium_to_room_w_per_k
    assert np.isfinite(balance.now.stores).all()
    assert (balance.now.temperature_c > coldest_c).all()
    assert (balance.now.temperature_c < hottest_c).all()
    assert balance.now.stores[VAPOUR : WATER + 1].min() > -OWED_G
