"""The room around the bench: its day and night, its weather and its season."""

from datetime import tzinfo
from typing import Final

import numpy as np

from wardian.rules.air import saturation_vapour_pressure_kpa_array
from wardian.rules.readings import Times, Values
from wardian.simulator.chance import chance
from wardian.simulator.setup import ROOM_HUMIDITY_PCT, BenchSetup
from wardian.simulator.wall import MS_PER_DAY, wall

#: A heated room: half the span from night to afternoon, of one day to the next, and of winter to summer.
#: [K] From memory.
_SWING_K: Final = 0.9
_WARMEST_H: Final = 15.0
_WEATHER_K: Final = 0.4
_SEASON_K: Final = 0.5
_WARMEST_DAY: Final = 200
#: How far its humidity goes with the weather. [%RH] From memory.
_WEATHER_PCT: Final = 4.0
#: Places on a bench differ. [K] From memory.
_PLACES_K: Final = 0.2
#: A cold night and a heat wave: how far, and how fast they come and go. From memory.
COLD_NIGHT_K: Final = -10.0
HEAT_WAVE_K: Final = 11.0
_COMES_H: Final = 3.0


class Room:
    """The room of one bench."""

    def __init__(self, setup: BenchSetup) -> None:
        """Every tray has its place in it."""
        self._setup = setup
        draw = chance(setup.seed, "places")
        self._place_k = draw.uniform(-_PLACES_K, _PLACES_K, len(setup.trays))

    def around(self, times_ms: Times, zone: tzinfo) -> tuple[Values, Values]:
        """Return the temperature [°C] and vapour pressure [kPa] around each tray. Shape: times, trays."""
        shown = wall(times_ms, zone)
        weather, damp = self._weather(times_ms)
        season = np.cos(2 * np.pi * (times_ms / MS_PER_DAY % 365.25 - _WARMEST_DAY) / 365.25)
        day = np.cos(2 * np.pi * (shown.hours - _WARMEST_H) / 24)
        room_c = self._setup.room_c + _SWING_K * day + _WEATHER_K * weather + _SEASON_K * season
        around_c = room_c[:, None] + self._place_k + self._strokes(times_ms)
        # Heating and cooling a room change its temperature, not the vapour in it.
        humidity = (ROOM_HUMIDITY_PCT + _WEATHER_PCT * damp) / 100
        vapour_kpa = humidity * saturation_vapour_pressure_kpa_array(room_c)
        return around_c, np.minimum(vapour_kpa[:, None], saturation_vapour_pressure_kpa_array(around_c))

    def _weather(self, times_ms: Times) -> tuple[Values, Values]:
        """Return two figures of the weather, about -2 to 2, that change from day to day."""
        days = times_ms / MS_PER_DAY
        known = np.arange(int(days[0]) - 1, int(days[-1]) + 3)
        draws = np.array([chance(self._setup.seed, "weather", day).standard_normal(2) for day in known])
        draws = np.clip(draws, -2, 2)
        return np.interp(days, known, draws[:, 0]), np.interp(days, known, draws[:, 1])

    def _strokes(self, times_ms: Times) -> Values:
        """Return how far cold nights and heat waves move the temperature around each tray [K]."""
        moved = np.zeros((len(times_ms), len(self._setup.trays)))
        names = [tray.name for tray in self._setup.trays]
        for fault in self._setup.faults:
            stroke_k = {"cold night": COLD_NIGHT_K, "heat wave": HEAT_WAVE_K}.get(fault.fault)
            if stroke_k is not None:
                since_h = (times_ms - fault.from_ms) / 3_600_000
                left_h = (fault.to_ms - times_ms) / 3_600_000
                share = np.clip(np.minimum(since_h, left_h) / _COMES_H, 0, 1)
                moved[:, names.index(fault.tray)] += stroke_k * share
        return moved
