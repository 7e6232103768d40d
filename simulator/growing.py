"""What a grower sets so that a tray keeps to the bands of its stage: found by trying it on the tray.

Thermostat and vents are moved, and the tray is let settle in the light and in the dark, until its warmth
midway between the two and its humidity in each are what the bands want.
"""

from collections.abc import Sequence
from functools import lru_cache
from math import inf
from typing import Final, NamedTuple

import numpy as np

from wardian.rules.air import saturation_vapour_pressure_kpa_array
from wardian.rules.crops import Stage, StageSpan, stage_at
from wardian.rules.readings import Values
from wardian.simulator.balance import Balance, begin
from wardian.simulator.flows import AIR, MEDIUM, WATER, Moment, Surroundings, links
from wardian.simulator.parameters import TrayParameters
from wardian.simulator.setup import (
    DEFAULT_LIT_H,
    ROOM_HUMIDITY_PCT,
    SOME_TIME_MS,
    BenchSetup,
    Regime,
    TraySetup,
)
from wardian.simulator.wall import MS_PER_DAY, MS_PER_MINUTE

#: Air of 75 to 80 °F for a crop that nobody described: common practice, no source.
_DEFAULT_AIR_C: Final = 25.3
#: Where only one limit of the air is set, a grower keeps so far from it.
_FROM_LIMIT_K: Final = 1.5
#: How warm a room is chosen for its trays: so far below their air, within what rooms are. Common practice,
#: no source: bottom heat works against a cooler room.
_ROOM_BELOW_K: Final = 5.0
#: Air as dry as this takes vents that let the room in: then it is nearer to what the trays want.
_TONED_BELOW_PCT: Final = 75.0
_ROOM_BELOW_TONED_K: Final = 2.5
_ROOM_C: Final = (12.0, 24.0)
#: So far inside its band a grower keeps the medium.
_MARGIN_K: Final = 0.8
#: Where only the ceiling of humidity is set, a grower keeps so far below it.
_BELOW_CEILING_PCT: Final = 10.0
#: So far above the floor of humidity an airing must come back to count as over: the usual deadband.
_COMES_BACK_PCT: Final = 3.0
#: Where vents let out more than so much of what a closed cover leaks, mist would be in their way.
_MISTED_UP_TO: Final = 1.5
#: Settings are changed before people go to bed, for a stage that begins at midnight.
_EVENING_MS: Final = 25 * MS_PER_MINUTE
#: A try: how often settings are moved, and how long and in what steps a tray is let settle.
_MOVES: Final = 6
_FIRST_VENTS_PER_H: Final = 20.0
#: How far the air follows the medium, roughly; only how soon the settings are found depends on it.
_AIR_FOLLOWS: Final = 0.7
_SETTLING_STEPS: Final = 15
_SETTLING_S: Final = 600.0
_NO_STAGE: Final = Stage("", 0)


class Wanted(NamedTuple):
    """What the bands of a stage want: air, limits of the medium, a humidity if it has a ceiling, light.

    Units: °C, %RH, hours a day.
    """

    air_c: float
    medium_low_c: float
    medium_high_c: float
    humidity_pct: float | None
    lit_h: float


def wanted(stage: Stage | None) -> Wanted:
    """Return what the bands of a stage want; where they say nothing, what is common practice."""
    medium_low, medium_high = _limits(stage, "medium_temperature")
    dry, moist = _limits(stage, "relative_humidity")
    humidity_pct = None if moist is None else moist - _BELOW_CEILING_PCT
    if moist is not None and dry is not None:
        # What an airing dries must come back by the deadband, too.
        humidity_pct = (moist + min(dry + _COMES_BACK_PCT, moist)) / 2
    return Wanted(
        air_c=_wanted_air_c(*_limits(stage, "air_temperature")),
        medium_low_c=-inf if medium_low is None else medium_low + _MARGIN_K,
        medium_high_c=inf if medium_high is None else medium_high - _MARGIN_K,
        humidity_pct=humidity_pct,
        lit_h=_wanted_lit_h(*_limits(stage, "light_hours")),
    )


def _limits(stage: Stage | None, quantity: str) -> tuple[float | None, float | None]:
    band = stage.bands.get(quantity) if stage else None
    return (band.threshold("low"), band.threshold("high")) if band else (None, None)


def _wanted_air_c(low: float | None, high: float | None) -> float:
    if low is None:
        return _DEFAULT_AIR_C if high is None else high - _FROM_LIMIT_K
    return low + _FROM_LIMIT_K if high is None else (low + high) / 2


def _wanted_lit_h(least: float | None, most: float | None) -> float:
    least_h, most_h = 0.0 if least is None else least, 24.0 if most is None else most
    return DEFAULT_LIT_H if least_h < DEFAULT_LIT_H < most_h else (least_h + most_h) / 2


def bench_setup(trays: Sequence[tuple[str, Sequence[StageSpan]]], start_ms: int) -> BenchSetup:
    """Return a bench for trays and their stages, in a room that suits the stages of its first week.

    Before its first stage a tray is kept as in it; one without stages as is common practice.
    """
    begins_ms = [[SOME_TIME_MS, *(span.from_ms - _EVENING_MS for span in spans[1:])] for _, spans in trays]
    wants = [wanted(span.stage) for _, spans in trays for span in spans or [StageSpan(0, _NO_STAGE)]]
    room_c = _room_for([spans for _, spans in trays], start_ms)
    regimes = iter(_regimes(tuple(wants), room_c))
    setups = (
        TraySetup(name, tuple(next(regimes)._replace(from_ms=from_ms) for from_ms in begins))
        for (name, _), begins in zip(trays, begins_ms, strict=True)
    )
    return BenchSetup(tuple(setups), room_c=room_c)


def _room_for(trays: Sequence[Sequence[StageSpan]], start_ms: int) -> float:
    wants = [
        wanted(stage_at(spans, time_ms) or (spans[0].stage if spans else None))
        for spans in trays
        for time_ms in (start_ms, start_ms + 6 * MS_PER_DAY)
    ]
    rooms = [
        want.air_c - (_ROOM_BELOW_TONED_K if (want.humidity_pct or 100) < _TONED_BELOW_PCT else _ROOM_BELOW_K)
        for want in wants
    ]
    return min(max(sum(rooms) / len(rooms), _ROOM_C[0]), _ROOM_C[1])


# Trying takes a fifth of a second on a desktop; a sensor's settings are looked over before it starts with them.
@lru_cache(maxsize=8)
def _regimes(wants: tuple[Wanted, ...], room_c: float) -> tuple[Regime, ...]:
    """Return what a grower ends with who moves thermostat and vents until trays keep to what is wanted."""
    p = TrayParameters()
    air_c = np.array([want.air_c for want in wants])
    low_c, high_c = (
        np.array([getattr(want, f"medium_{end}_c") for want in wants]) for end in ("low", "high")
    )
    humidity = np.array([(want.humidity_pct or 0) / 100 for want in wants])
    is_vented = humidity > 0
    room_kpa = ROOM_HUMIDITY_PCT / 100 * saturation_vapour_pressure_kpa_array(np.full_like(air_c, room_c))
    set_c = air_c + 1
    #: In the dark, and in the light.
    changes = np.tile(np.where(is_vented, _FIRST_VENTS_PER_H, p.closed_per_h), (2, 1))
    for _ in range(_MOVES):
        settled_c, vapour_kpa = _settled(p, set_c, changes, room_c)
        medium_kpa = saturation_vapour_pressure_kpa_array(set_c)
        aim_kpa = np.maximum(humidity * saturation_vapour_pressure_kpa_array(settled_c), room_kpa + 0.05)
        # What evaporates from the medium leaves through the vents: the one falls, the other rises with vapour.
        less = (medium_kpa - aim_kpa) / (medium_kpa - vapour_kpa)
        more = less * (vapour_kpa - room_kpa) / (aim_kpa - room_kpa)
        changes = np.where(is_vented, np.clip(changes * more, p.closed_per_h, p.open_per_h), changes)
        moved_c = (air_c - settled_c.mean(axis=0)) / _AIR_FOLLOWS
        set_c = np.clip(set_c + moved_c, low_c, np.maximum(low_c, high_c))
    return tuple(
        Regime(
            from_ms=SOME_TIME_MS,
            set_point_c=float(point),
            changes_per_h=float(lit),
            dark_changes_per_h=float(dark),
            lit_h=want.lit_h,
            is_misted=bool(lit <= _MISTED_UP_TO * p.closed_per_h),
        )
        for want, point, dark, lit in zip(wants, set_c, *changes, strict=True)
    )


def _settled(p: TrayParameters, set_c: Values, changes_per_h: Values, room_c: float) -> tuple[Values, Values]:
    """Return air [°C] and vapour [kPa] of trays whose medium is held. Shape: dark and light, trays."""
    medium_c, changes = np.tile(set_c, 2), changes_per_h.ravel()
    lamp = np.repeat([0.0, 1.0], len(set_c))
    none, room = np.zeros_like(lamp), np.full_like(lamp, room_c)
    room_kpa = ROOM_HUMIDITY_PCT / 100 * saturation_vapour_pressure_kpa_array(room)
    link = links(p, Surroundings(room, room_kpa, none, changes, lamp, none, none, room, none))
    # Beads that were there would go on drying for a day; where they belong they form anew.
    held = begin(p, medium_c - 1, medium_c, np.ones_like(lamp), beaded=0)
    balance = Balance(p, held)
    for _ in range(_SETTLING_STEPS):
        balance.step(link, none, _SETTLING_S)
        stores = balance.now.stores.copy()
        stores[[MEDIUM, WATER]] = held[[MEDIUM, WATER]]
        balance.now = Moment(p, stores)
    return (
        balance.now.temperature_c[AIR].reshape(2, -1),
        balance.now.vapour_kpa.reshape(2, -1),
    )
