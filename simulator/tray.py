"""One plain covered tray: warm medium, moist air under a cover, a lamp, and somebody who mists.

Every state relaxes towards what surrounds it, step by step on a fixed grid of its own, so that what
is read does not depend on when it is asked for. The figures are a plausible small tray in a cool
classroom, chosen by hand: common practice, no source.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, tzinfo
from random import Random
from typing import Final

from wardian.rules.air import saturation_vapour_pressure_kpa
from wardian.simulator.daily import Care, LocalTime, is_between, local_time, room_c
from wardian.simulator.faults import Fault

STEP_MS: Final = 10_000

_THERMOSTAT_HALF_SWING_K: Final = 0.3
#: How far the mat would in the end lift the medium above the room, left on for good.
_MAT_RISE_K: Final = 22.0
_LAMP_RISE_K: Final = 0.8
#: The cover's place on the way from the air inside (0) to the room (1).
_COVER_SHARE: Final = 0.12
_ROOM_HUMIDITY: Final = 0.45
_ROOM_LIGHT_LX: Final = 40.0
_MIST_G: Final = 10.0


@dataclass(frozen=True, slots=True)
class _Exchange:
    """How closely the air over the medium is bound to it, and how fast, with the cover on or off."""

    medium_share: float
    vapour_share: float
    air_s: float
    vapour_s: float
    loss_g_per_kpa_h: float


_COVERED: Final = _Exchange(
    medium_share=0.9, vapour_share=1.0, air_s=480, vapour_s=300, loss_g_per_kpa_h=0.65
)
_OPEN: Final = _Exchange(medium_share=0.45, vapour_share=0.35, air_s=120, vapour_s=90, loss_g_per_kpa_h=18)
_MEDIUM_S: Final = 7200.0


@dataclass(frozen=True, slots=True)
class TraySettings:
    """How one tray is set up; the lamp's hours are local, 5.5 is half past five."""

    name: str
    seed: int
    start_ms: int
    set_point_c: float = 25.5
    lamp_on_h: float = 5.0
    lamp_off_h: float = 23.0
    lamp_lx: float = 5500.0
    timezone: tzinfo = UTC
    faults: Sequence[Fault] = ()


class Tray:
    """The state of one tray at a time; the same settings give the same life.

    Attributes:
        medium_c: Temperature of the medium. [°C]
        air_c: Temperature of the air under the cover. [°C]
        vapour_kpa: Water vapour in that air. [kPa]
        light_lx: Illuminance at the cuttings. [lx]
        mass_g: Mass of the whole tray. [g]
        is_open: Whether the cover is off at the moment.
    """

    def __init__(self, settings: TraySettings) -> None:
        """Begin in the steady state of a warmed-up, covered tray."""
        chance = Random(f"{settings.seed} {settings.name}")  # noqa: S311 # no secret hangs on it
        self._settings = settings
        self._care = Care(f"{settings.seed} {settings.name} care")
        self._set_point_c = settings.set_point_c + chance.uniform(-0.2, 0.2)
        self._room_offset_k = chance.uniform(-0.4, 0.4)
        self._lamp_lx = settings.lamp_lx * chance.uniform(0.95, 1.05)
        self._heats = False
        self._time_ms = settings.start_ms
        self.medium_c = self._set_point_c
        self.air_c = self._set_point_c - 0.8
        self.vapour_kpa = 0.94 * saturation_vapour_pressure_kpa(self.air_c)
        self.light_lx = 0.0
        self.mass_g = 2400 + chance.uniform(-150, 150)
        self.is_open = False
        self._step()

    @property
    def humidity_pct(self) -> float:
        """Relative humidity under the cover [%, 0 to 100]."""
        return min(100.0, 100 * self.vapour_kpa / saturation_vapour_pressure_kpa(self.air_c))

    def has(self, fault: str) -> bool:
        """Return whether a fault is there now."""
        since_ms = self._time_ms - self._settings.start_ms
        return any(one.fault == fault and one.holds(since_ms) for one in self._settings.faults)

    def advance(self, until_ms: int) -> None:
        """Live on by whole steps, up to the last one that is not after this instant."""
        while self._time_ms + STEP_MS <= until_ms:
            self._time_ms += STEP_MS
            self._step()

    def sleep(self, until_ms: int) -> None:
        """Let whole steps pass in which nothing happens at all."""
        self._time_ms += max(0, until_ms - self._time_ms) // STEP_MS * STEP_MS

    # --------------------------------------------------------------------------------- one step

    def _step(self) -> None:
        now = local_time(self._time_ms, self._settings.timezone)
        around_c = room_c(now.hour) + self._room_offset_k
        self._light(now)
        self._warm_medium(around_c)
        self._lift(now)
        exchange = _OPEN if self.is_open else _COVERED
        self._warm_air(around_c, exchange)
        self._moisten_air(around_c, exchange)

    def _light(self, now: LocalTime) -> None:
        settings = self._settings
        is_lit = is_between(now.hour, settings.lamp_on_h, settings.lamp_off_h) and not self.has("lamp dead")
        by_day_lx = _ROOM_LIGHT_LX if is_between(now.hour, 7, 18) else 0.0
        self.light_lx = by_day_lx + (self._lamp_lx if is_lit else 0.0)

    @property
    def _lamp_rise_k(self) -> float:
        return _LAMP_RISE_K if self.light_lx > _ROOM_LIGHT_LX else 0.0

    def _warm_medium(self, around_c: float) -> None:
        if abs(self.medium_c - self._set_point_c) > _THERMOSTAT_HALF_SWING_K:
            self._heats = self.medium_c < self._set_point_c
        heats = (self._heats or self.has("heater stuck on")) and not self.has("heater dead")
        target_c = around_c + (_MAT_RISE_K if heats else 0.0)
        self.medium_c += (target_c - self.medium_c) * _share(_MEDIUM_S)

    def _lift(self, now: LocalTime) -> None:
        was_open, is_lifted = self.is_open, self._care.is_lifted(now)
        self.is_open = is_lifted or self.has("cover left off")
        if is_lifted and not was_open:
            self.mass_g += _MIST_G

    def _warm_air(self, around_c: float, exchange: _Exchange) -> None:
        target_c = around_c + exchange.medium_share * (self.medium_c - around_c) + self._lamp_rise_k
        self.air_c += (target_c - self.air_c) * _share(exchange.air_s)

    def _moisten_air(self, around_c: float, exchange: _Exchange) -> None:
        around_kpa = _ROOM_HUMIDITY * saturation_vapour_pressure_kpa(around_c)
        wet_kpa = saturation_vapour_pressure_kpa(self.medium_c)
        target_kpa = around_kpa + exchange.vapour_share * (wet_kpa - around_kpa)
        self.vapour_kpa += (target_kpa - self.vapour_kpa) * _share(exchange.vapour_s)
        coldest_c = self.air_c if self.is_open else self.air_c - _COVER_SHARE * (self.air_c - around_c)
        self.vapour_kpa = min(self.vapour_kpa, saturation_vapour_pressure_kpa(coldest_c))
        lost_g_per_h = exchange.loss_g_per_kpa_h * max(0.0, self.vapour_kpa - around_kpa)
        self.mass_g -= lost_g_per_h * STEP_MS / 3_600_000


def _share(time_constant_s: float) -> float:
    """Return which part of the way to its target a state goes within one step."""
    return 1 - math.exp(-STEP_MS / 1000 / time_constant_s)
