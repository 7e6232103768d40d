"""The heat and water of one covered tray written out by hand, in temperatures and for one tray at a time.

It shares the named parameters with the pretended tray and nothing else: that one keeps stores of heat and a
table of flows, this one says for each thing how fast it warms and wets. The saturation pressure is the Magnus
form of WMO-No. 8, Annex 4.B, written out again.
"""

from math import exp
from typing import NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, root

from wardian.simulator.parameters import (
    AIR_J_PER_M3_K,
    VAPOUR_J_PER_G,
    VAPOUR_KPA_M3_PER_G_K,
    WATER_J_PER_G_K,
    TrayParameters,
)

#: Temperatures of air, cover and medium [°C]; vapour, water on leaves and cover and in the medium [g].
State: TypeAlias = NDArray[np.float64]


class Around(NamedTuple):
    """What acts on the tray: room [°C, kPa], cover, air changes [1/h], lamp and mat [0 to 1], watering [g/s, °C]."""

    room_c: float
    room_kpa: float
    is_open: bool = False
    changes_per_h: float = 2.0
    lamp: float = 0.0
    mat: float = 0.0
    watering_g_per_s: float = 0.0
    water_c: float = 20.0


def magnus_kpa(temperature_c: float) -> float:
    return 0.6112 * exp(17.62 * temperature_c / (243.12 + temperature_c))


def magnus_slope(temperature_c: float) -> float:
    """Return how much the saturation pressure rises with a kelvin [kPa/K]."""
    return magnus_kpa(temperature_c) * 17.62 * 243.12 / (243.12 + temperature_c) ** 2


class Water(NamedTuple):
    """Water on its way [g/s]: from medium, leaves and inside of leaves, onto the cover, out, and down."""

    evaporated: float
    dried: float
    transpired: float
    condensed: float
    leaked: float
    ran_off: float
    dripped: float
    drained: float


def water_flows(p: TrayParameters, around: Around, state: State) -> Water:
    air_c, cover_c, medium_c, vapour_g, leaves_g, beads_g, water_g = state
    kpa_per_g = VAPOUR_KPA_M3_PER_G_K * (air_c + 273.15) / p.air_m3
    kpa, at_air_kpa, at_cover_kpa = vapour_g * kpa_per_g, magnus_kpa(air_c), magnus_kpa(cover_c)
    open_now = around.is_open
    wetness = 1 - exp(-((water_g / (p.dry_share * p.saturated_g)) ** 2))
    medium = p.medium_open_g_per_h_kpa if open_now else p.medium_g_per_h_kpa
    film = p.film_open_g_per_h_kpa if open_now else p.film_g_per_h_kpa
    leaf = p.leaf_lit_g_per_h_kpa if around.lamp > 0 else p.leaf_dark_g_per_h_kpa
    changes = p.open_per_h if open_now else around.changes_per_h
    if kpa > at_air_kpa:
        dried, transpired = p.dew_g_per_h_kpa * (at_air_kpa - kpa), 0.0
    else:
        dried = film * leaves_g / (leaves_g + p.half_wet_g) * (at_air_kpa - kpa)
        transpired = leaf * wetness * (at_air_kpa - kpa)
    beads = p.beads_g_per_h_kpa * beads_g / (beads_g + p.half_wet_g)
    cover = p.condensing_g_per_h_kpa if kpa > at_cover_kpa else beads
    return Water(
        evaporated=medium * wetness * (magnus_kpa(medium_c) - kpa) / 3600,
        dried=dried / 3600,
        transpired=transpired / 3600,
        condensed=0.0 if open_now else cover * (kpa - at_cover_kpa) / 3600,
        leaked=changes * (vapour_g - around.room_kpa / kpa_per_g) / 3600,
        ran_off=max(leaves_g - p.most_on_leaves_g, 0) / p.run_off_s,
        dripped=0.0 if open_now else max(beads_g - p.most_on_cover_g, 0) / p.run_off_s,
        drained=max(water_g - p.saturated_g, 0) / p.drain_s,
    )


def rates(p: TrayParameters, around: Around, state: State) -> State:
    """Return how fast each part of the state changes [K/s, g/s].

    A gram that leaves a thing as vapour takes the vapour's enthalpy less what the liquid held; liquid that
    moves on warms or cools only where it arrives.
    """
    air_c, cover_c, medium_c, _, leaves_g, beads_g, water_g = state
    flow = water_flows(p, around, state)
    closed = 0.0 if around.is_open else 1.0
    base_w_per_k = p.medium_to_room_w_per_k + (1 - closed) * p.medium_to_cover_w_per_k
    medium_w = (p.medium_to_air_w_per_k if closed else p.medium_to_air_open_w_per_k) * (medium_c - air_c)
    shone_w = closed * p.medium_to_cover_w_per_k * (medium_c - cover_c)
    cover_w = closed * p.air_to_cover_w_per_k * (air_c - cover_c)
    changes_per_s = (around.changes_per_h if closed else p.open_per_h) / 3600
    air_w = changes_per_s * p.air_m3 * AIR_J_PER_M3_K * (air_c - around.room_c)
    latent_air, latent_cover, latent_medium = (
        VAPOUR_J_PER_G - WATER_J_PER_G_K * celsius for celsius in (air_c, cover_c, medium_c)
    )
    into_air_w = medium_w - cover_w - air_w + p.lamp_in_air_w * around.lamp
    into_air_w -= latent_air * flow.dried + latent_medium * flow.transpired
    into_cover_w = shone_w + cover_w - (2 - closed) * p.cover_to_room_w_per_k * (cover_c - around.room_c)
    into_cover_w += closed * p.lamp_in_cover_w * around.lamp + latent_cover * flow.condensed
    into_medium_w = p.mat_w * around.mat + p.lamp_in_medium_w * around.lamp - medium_w - shone_w
    into_medium_w -= base_w_per_k * (medium_c - around.room_c) + latent_medium * flow.evaporated
    into_medium_w += WATER_J_PER_G_K * (
        flow.ran_off * (air_c - medium_c)
        + flow.dripped * (cover_c - medium_c)
        + around.watering_g_per_s * (around.water_c - medium_c)
    )
    return np.array(
        [
            into_air_w / (p.air_j_per_k + WATER_J_PER_G_K * leaves_g),
            into_cover_w / (p.cover_j_per_k + WATER_J_PER_G_K * beads_g),
            into_medium_w / (p.dry_j_per_k + WATER_J_PER_G_K * water_g),
            flow.evaporated + flow.dried + flow.transpired - flow.condensed - flow.leaked,
            -flow.dried - flow.ran_off,
            flow.condensed - flow.dripped,
            flow.ran_off
            + flow.dripped
            + around.watering_g_per_s
            - flow.evaporated
            - flow.transpired
            - flow.drained,
        ]
    )


def settled(p: TrayParameters, around: Around, water_g: float, is_dripping: bool) -> State:
    """Solve for the state in which nothing but the medium's water changes any more.

    Args:
        p: Of the tray.
        around: What acts on it.
        water_g: In its medium.
        is_dripping: Whether the cover drips as fast as water condenses; else it is dry.
    """

    def state(unknown: State) -> State:
        beads_g = p.most_on_cover_g + unknown[4] if is_dripping else 0.0
        vapour_g = unknown[3] * p.air_m3 / (VAPOUR_KPA_M3_PER_G_K * (unknown[0] + 273.15))
        return np.array([*unknown[:3], vapour_g, 0.0, beads_g, water_g])

    def imbalance(unknown: State) -> State:
        changing = rates(p, around, state(unknown))
        beads = changing[5] if is_dripping else unknown[4]
        return np.array([*changing[:3] * 1e3, changing[3] * 1e4, beads * 1e4])

    start_c = around.room_c + 0.7 * (p.mat_w * around.mat + 3 * around.lamp)
    found = root(imbalance, [start_c, start_c - 1, start_c + 1, magnus_kpa(start_c - 0.8), 0.05], tol=1e-13)
    assert np.abs(found.fun).max() < 1e-8, found.message
    return state(found.x)


def dripping_at(p: TrayParameters, air_c: float, room_c: float) -> State:
    """Return the settled dark tray, its room half moist, whose mat is just so strong that its air is so warm."""

    def state(mat: float) -> State:
        around = Around(room_c, 0.48 * magnus_kpa(room_c), mat=mat)
        return settled(p, around, 0.95 * p.saturated_g, is_dripping=True)

    return state(float(brentq(lambda mat: state(mat)[0] - air_c, 0.2, 4)))


def lived(p: TrayParameters, around: Around, state: State, seconds: float) -> State:
    """Return what a state becomes, by an integrator that is not ours (implicit Runge-Kutta of order 5)."""
    way = solve_ivp(
        lambda _, now: rates(p, around, now), (0, seconds), state, method="Radau", rtol=1e-9, atol=1e-11
    )
    assert way.success, way.message
    end: State = way.y[:, -1]
    return end
