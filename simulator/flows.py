"""What flows where in a covered tray: each flow once, with the stores it changes.

The rule of this file: a flow is taken from one store and given to another, so that heat and water
close to rounding. Stores are kept as heat and water, not as temperatures: their sums are then linear.
"""

from typing import Final, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from wardian.rules.air import MAGNUS_A, MAGNUS_B_C, saturation_vapour_pressure_kpa_array
from wardian.rules.readings import Values
from wardian.simulator.parameters import (
    AIR_J_PER_M3_K,
    S_PER_H,
    VAPOUR_J_PER_G,
    VAPOUR_KPA_M3_PER_G_K,
    WATER_J_PER_G_K,
    ZERO_C_IN_K,
    TrayParameters,
)

Flags: TypeAlias = NDArray[np.bool_]

#: What a tray holds: heat of air, cover and medium [J above liquid water at 0 °C], vapour in the air, water
#: on leaves, on the cover and in the medium [g]. The last two keep account of what came from outside.
AIR, COVER, MEDIUM, VAPOUR, LEAVES, BEADS, WATER, HEAT_IN, WATER_IN = range(9)
STORES: Final = 9
#: The stores that change within seconds and minutes: air, cover, medium and vapour.
QUICK: Final = 4

#: Flow → the stores it changes, and by how much for each unit of it. Heat in W, water in g/s.
_FLOWS: Final[dict[str, dict[int, float]]] = {
    "medium to air": {MEDIUM: -1, AIR: 1},
    "medium to cover": {MEDIUM: -1, COVER: 1},
    "air to cover": {AIR: -1, COVER: 1},
    "cover to room": {COVER: -1, HEAT_IN: -1},
    "medium to room": {MEDIUM: -1, HEAT_IN: -1},
    "air to room": {AIR: -1, HEAT_IN: -1},
    "evaporation": {WATER: -1, VAPOUR: 1, MEDIUM: -VAPOUR_J_PER_G},
    "leaves drying": {LEAVES: -1, VAPOUR: 1, AIR: -VAPOUR_J_PER_G},
    "transpiration": {WATER: -1, VAPOUR: 1, AIR: -VAPOUR_J_PER_G},
    "heat of sap": {MEDIUM: -1, AIR: 1},
    "condensation": {VAPOUR: -1, BEADS: 1, COVER: VAPOUR_J_PER_G},
    "leakage": {VAPOUR: -1, WATER_IN: -1, HEAT_IN: -VAPOUR_J_PER_G},
    "run-off": {LEAVES: -1, WATER: 1},
    "dripping": {BEADS: -1, WATER: 1},
    "drainage": {WATER: -1, WATER_IN: -1},
    "heat of run-off": {AIR: -1, MEDIUM: 1},
    "heat of dripping": {COVER: -1, MEDIUM: 1},
    "heat of drainage": {MEDIUM: -1, HEAT_IN: -1},
    "mat": {MEDIUM: 1, HEAT_IN: 1},
    "lamp on leaves": {AIR: 1, HEAT_IN: 1},
    "lamp on cover": {COVER: 1, HEAT_IN: 1},
    "lamp on medium": {MEDIUM: 1, HEAT_IN: 1},
    "mist on leaves": {LEAVES: 1, WATER_IN: 1},
    "mist on medium": {WATER: 1, WATER_IN: 1},
    "watering": {WATER: 1, WATER_IN: 1},
    "heat of mist on leaves": {AIR: 1, HEAT_IN: 1},
    "heat of mist on medium": {MEDIUM: 1, HEAT_IN: 1},
    "heat of watering": {MEDIUM: 1, HEAT_IN: 1},
}
FLOWS: Final = len(_FLOWS)
#: So many flows depend on what the tray holds; the others come from outside, the mat's first.
INNER: Final = list(_FLOWS).index("mat")


def effects() -> Values:
    """Return by how much each flow changes each store and account. Shape: STORES, FLOWS."""
    matrix = np.zeros((STORES, FLOWS))
    for place, effect in enumerate(_FLOWS.values()):
        for store, share in effect.items():
            matrix[store, place] = share
    return matrix


class Surroundings(NamedTuple):
    """What acts on trays: arrays over steps and trays, constant within a step.

    Attributes:
        room_c: Temperature of the room. [°C]
        room_kpa: Water vapour in it. [kPa]
        is_open: Whether the cover is off. [0 or 1]
        changes_per_h: Air changes through the closed cover. [1/h]
        lamp: How much of the lamp burns. [0 to 1]
        mist_g_per_s: Water misted. [g/s]
        watering_g_per_s: Water poured. [g/s]
        water_c: Temperature of that water. [°C]
        wick_per_h: Share of the medium's water that something dry below it draws off. [1/h]
    """

    room_c: Values
    room_kpa: Values
    is_open: Values
    changes_per_h: Values
    lamp: Values
    mist_g_per_s: Values
    watering_g_per_s: Values
    water_c: Values
    wick_per_h: Values


class Links(NamedTuple):
    """How closely stores are linked, and what comes from outside: arrays over trays, or steps and trays.

    Conductances in W/K and g/(s kPa), ``changes_per_s`` in 1/s. ``outer`` are the flows from outside in
    their order, the mat's (at full power) first. ``film_g`` (all wet and drying) and ``dew_g`` (dew
    forming) are those of leaves and of the cover.
    """

    room_c: Values
    room_kpa: Values
    medium_w: Values
    shone_w: Values
    cover_w: Values
    outside_w: Values
    base_w: Values
    air_w: Values
    changes_per_s: Values
    medium_g: Values
    leaf_g: Values
    film_g: Values
    dew_g: Values
    wick_per_s: Values
    is_closed: Values
    outer: Values


def links(p: TrayParameters, around: Surroundings) -> Links:
    """Return the links under given surroundings; arrays of their shape, ``outer`` with flows before trays."""
    is_open, lamp = around.is_open, around.lamp
    is_closed = 1 - is_open

    def either(closed: float, opened: float) -> Values:
        chosen: Values = closed * is_closed + opened * is_open
        return chosen

    def pair(leaves: Values, cover: Values) -> Values:
        return np.stack((leaves, cover), axis=-2) / S_PER_H

    changes_per_s = (around.changes_per_h * is_closed + p.open_per_h * is_open) / S_PER_H
    on_leaves = p.mist_on_leaves * around.mist_g_per_s
    on_medium = around.mist_g_per_s - on_leaves
    water_j = WATER_J_PER_G_K * around.water_c
    outer = (
        np.full_like(lamp, p.mat_w),
        p.lamp_in_air_w * lamp,
        p.lamp_in_cover_w * lamp * is_closed,
        p.lamp_in_medium_w * lamp,
        on_leaves,
        on_medium,
        around.watering_g_per_s,
        on_leaves * water_j,
        on_medium * water_j,
        around.watering_g_per_s * water_j,
    )
    return Links(
        room_c=around.room_c,
        room_kpa=around.room_kpa,
        medium_w=either(p.medium_to_air_w_per_k, p.medium_to_air_open_w_per_k),
        shone_w=p.medium_to_cover_w_per_k * is_closed,
        cover_w=p.air_to_cover_w_per_k * is_closed,
        # Laid aside, a cover cools on both of its sides.
        outside_w=p.cover_to_room_w_per_k * (1 + is_open),
        base_w=p.medium_to_room_w_per_k + p.medium_to_cover_w_per_k * is_open,
        air_w=changes_per_s * (AIR_J_PER_M3_K * p.air_m3),
        changes_per_s=changes_per_s,
        medium_g=either(p.medium_g_per_h_kpa, p.medium_open_g_per_h_kpa) / S_PER_H,
        leaf_g=np.where(lamp > 0, p.leaf_lit_g_per_h_kpa, p.leaf_dark_g_per_h_kpa) / S_PER_H,
        film_g=pair(either(p.film_g_per_h_kpa, p.film_open_g_per_h_kpa), p.beads_g_per_h_kpa * is_closed),
        dew_g=pair(np.full_like(lamp, p.dew_g_per_h_kpa), p.condensing_g_per_h_kpa * is_closed),
        wick_per_s=around.wick_per_h / S_PER_H,
        is_closed=is_closed,
        outer=np.stack(outer, axis=-2),
    )


class Moment:
    """What trays hold at one instant, looked at: temperatures, vapour, and how wet things are."""

    def __init__(self, p: TrayParameters, stores: Values) -> None:
        """Look at stores. Shape: STORES, trays."""
        self._p = p
        self.stores = stores
        water = np.maximum(stores[LEAVES : WATER + 1], 0)
        dry_j_per_k = ((p.air_j_per_k,), (p.cover_j_per_k,), (p.dry_j_per_k,))
        self.j_per_k = dry_j_per_k + WATER_J_PER_G_K * water
        #: Of air, cover and medium. [°C]
        self.temperature_c = stores[: MEDIUM + 1] / self.j_per_k
        #: At their temperatures. [kPa]
        self.saturated_kpa = saturation_vapour_pressure_kpa_array(self.temperature_c)
        self._kpa_per_g = VAPOUR_KPA_M3_PER_G_K / p.air_m3 * (self.temperature_c[AIR] + ZERO_C_IN_K)
        #: Of the air under the cover. [kPa]
        self.vapour_kpa = self._kpa_per_g * stores[VAPOUR]
        self._water = water
        self._above_kpa = self.vapour_kpa - self.saturated_kpa[: COVER + 1]
        #: Whether dew forms on leaves, and on the cover. Shape: 2, trays.
        self.dew = self._above_kpa > 0

    def flows(self, link: Links, mat: Values, dew: Flags) -> Values:
        """Return every flow, in W and g/s, as if dew formed (or not) where ``dew`` says. Shape: FLOWS, trays."""
        p = self._p
        air_c, cover_c, medium_c = self.temperature_c
        most_g = ((p.most_on_leaves_g,), (p.most_on_cover_g,), (p.saturated_g,))
        off = np.maximum(self._water - most_g, 0) / ((p.run_off_s,), (p.run_off_s,), (p.drain_s,))
        off[1] *= link.is_closed
        off[2] += link.wick_per_s * self._water[2]
        wet = self._water[:2] / (self._water[:2] + p.half_wet_g)
        self._moist = 1 - np.exp(-((self._water[2] / (p.dry_share * p.saturated_g)) ** 2))
        self._onto_g = np.where(dew, link.dew_g, link.film_g * wet)
        # A dry medium gives leaves less, and an empty one nothing.
        self._leaf_g = link.leaf_g * self._moist * ~dew[0]
        onto = self._onto_g * self._above_kpa
        transpired = -self._leaf_g * self._above_kpa[0]
        flows = np.empty((FLOWS, self.stores.shape[1]))
        flows[:INNER] = (
            link.medium_w * (medium_c - air_c),
            link.shone_w * (medium_c - cover_c),
            link.cover_w * (air_c - cover_c),
            link.outside_w * (cover_c - link.room_c),
            link.base_w * (medium_c - link.room_c),
            link.air_w * (air_c - link.room_c),
            link.medium_g * self._moist * (self.saturated_kpa[MEDIUM] - self.vapour_kpa),
            -onto[0],
            transpired,
            transpired * (WATER_J_PER_G_K * medium_c),
            onto[1],
            link.changes_per_s * (self.stores[VAPOUR] - link.room_kpa / self._kpa_per_g),
            *off,
            *(off * WATER_J_PER_G_K * self.temperature_c),
        )
        flows[INNER:] = link.outer
        flows[INNER] *= mat
        return flows

    def slopes(self, link: Links, into: Values) -> None:
        """Write how the flows just returned change with the quick stores. Shape: INNER, QUICK, trays.

        What hardly matters is left out: heat that water carries, and the warmth in vapour's pressure.
        """
        air, cover, medium = 1 / self.j_per_k
        warmth = (MAGNUS_B_C + self.temperature_c) ** 2 * self.j_per_k
        rises = MAGNUS_A * MAGNUS_B_C * self.saturated_kpa / warmth
        into[0, MEDIUM], into[0, AIR] = link.medium_w * medium, -link.medium_w * air
        into[1, MEDIUM], into[1, COVER] = link.shone_w * medium, -link.shone_w * cover
        into[2, AIR], into[2, COVER] = link.cover_w * air, -link.cover_w * cover
        into[3, COVER] = link.outside_w * cover
        into[4, MEDIUM] = link.base_w * medium
        into[5, AIR] = link.air_w * air
        into[6, MEDIUM] = link.medium_g * self._moist * rises[MEDIUM]
        into[6, VAPOUR] = -link.medium_g * self._moist * self._kpa_per_g
        into[7, AIR], into[7, VAPOUR] = self._onto_g[0] * rises[AIR], -self._onto_g[0] * self._kpa_per_g
        into[8, AIR], into[8, VAPOUR] = self._leaf_g * rises[AIR], -self._leaf_g * self._kpa_per_g
        into[10, COVER] = -self._onto_g[1] * rises[COVER]
        into[10, VAPOUR] = self._onto_g[1] * self._kpa_per_g
        into[11, VAPOUR] = link.changes_per_s
