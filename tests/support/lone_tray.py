"""One pretended tray alone under surroundings that a test sets, stepped without a bench around it."""

from collections.abc import Sequence

import numpy as np
from tray_by_hand import Around, State

from wardian.rules.readings import Values
from wardian.simulator.balance import Balance, begin
from wardian.simulator.flows import (
    AIR,
    BEADS,
    COVER,
    LEAVES,
    MEDIUM,
    STORES,
    VAPOUR,
    WATER,
    Links,
    Moment,
    Surroundings,
    links,
)
from wardian.simulator.parameters import WATER_J_PER_G_K, TrayParameters


def one(value: float) -> Values:
    return np.array([float(value)])


def links_of(p: TrayParameters, around: Around, mist_g_per_s: float = 0, wick_per_h: float = 0) -> Links:
    return links(
        p,
        Surroundings(
            room_c=one(around.room_c),
            room_kpa=one(around.room_kpa),
            is_open=one(around.is_open),
            changes_per_h=one(around.changes_per_h),
            lamp=one(around.lamp),
            mist_g_per_s=one(mist_g_per_s),
            watering_g_per_s=one(around.watering_g_per_s),
            water_c=one(around.water_c),
            wick_per_h=one(wick_per_h),
        ),
    )


def warm(p: TrayParameters, air_c: float = 25.0, medium_c: float = 26.0, held: float = 0.95) -> Balance:
    return Balance(p, begin(p, one(air_c), one(medium_c), one(held)))


def holding(p: TrayParameters, state: State) -> Balance:
    """Return a tray that holds what a state by hand says."""
    stores = np.zeros((STORES, 1))
    water_g = state[4:7]
    dry_j_per_k = np.array([p.air_j_per_k, p.cover_j_per_k, p.dry_j_per_k])
    stores[: MEDIUM + 1, 0] = state[:3] * (dry_j_per_k + WATER_J_PER_G_K * water_g)
    stores[VAPOUR : WATER + 1, 0] = state[3:]
    return Balance(p, stores)


def by_hand(moment: Moment) -> State:
    """Return what a tray holds as a state by hand."""
    places = [VAPOUR, LEAVES, BEADS, WATER]
    state: State = np.concatenate((moment.temperature_c[:, 0], moment.stores[places, 0]))
    return state


def humidity_pct(moment: Moment) -> float:
    return float(100 * moment.vapour_kpa[0] / moment.saturated_kpa[AIR, 0])


def live(balance: Balance, around: Around, seconds: float, step_s: float = 60.0) -> list[Moment]:
    """Let a tray live on in equal steps; return how it was after each."""
    link, mat = links_of(balance._parameters, around), one(around.mat)
    seen = []
    for _ in range(round(seconds / step_s)):
        balance.step(link, mat, step_s)
        seen.append(balance.now)
    return seen


def column(seen: Sequence[Moment], place: int) -> Values:
    """Return the temperatures of air, cover or medium at several moments [°C]."""
    assert place in (AIR, COVER, MEDIUM)
    return np.array([moment.temperature_c[place, 0] for moment in seen])
