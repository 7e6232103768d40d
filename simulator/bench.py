"""The pretended bench: its trays live on, minute by minute, under the room, the lamp, and people's hands.

The rule of this file: what happens in a minute depends on the setup and the instant alone, never on
how the time is cut into pieces.
"""

from collections.abc import Collection
from datetime import UTC, datetime, timedelta, timezone
from typing import Final, NamedTuple

import numpy as np

from wardian.rules.readings import Times, Values
from wardian.rules.truth import TrueCare, Truth
from wardian.simulator.balance import Balance, begin
from wardian.simulator.care import Deed, deeds
from wardian.simulator.chance import chance
from wardian.simulator.flows import (
    AIR,
    BEADS,
    LEAVES,
    MEDIUM,
    WATER,
    Flags,
    Links,
    Moment,
    Surroundings,
    links,
)
from wardian.simulator.parameters import TrayParameters
from wardian.simulator.room import Room
from wardian.simulator.setup import BenchSetup
from wardian.simulator.wall import MS_PER_MINUTE, wall

#: A step of the balance; people, lamps and thermostats act on whole minutes.
STEP_MS: Final = MS_PER_MINUTE
#: Light at the cuttings. [lx] From memory: 5,500 lx of a white LED are about 80 umol/m2/s.
LAMP_LX: Final = 5500.0
ROOM_LX: Final = 60.0
_BY_DAY_H: Final = (7, 18)
#: No two trays are alike: water held at the start, thermostats, leaks, lamps. From memory.
_HELD: Final = (0.92, 0.99)
_THERMOSTAT_K: Final = 0.15
_LEAKS: Final = (0.7, 1.5)
_LAMPS: Final = (0.95, 1.05)
_WICK_PER_H: Final = 0.03
#: So much cooler than its medium the air begins; it settles within minutes.
_COOLER_K: Final = 2.0

_NO_LAMP: Final = frozenset({"lamp dead", "mains lost"})
_NO_HEAT: Final = frozenset({"heater dead", "mains lost"})
_ALL_HEAT: Final = frozenset({"heater stuck on", "thermostat probe fallen out"})


class Trace(NamedTuple):
    """What is true of the trays at whole minutes. Shape: times, trays.

    Temperatures in °C, humidity in %, light in lx, mass in g, its cover on the scale included.
    """

    times_ms: Times
    air_c: Values
    medium_c: Values
    cover_c: Values
    humidity_pct: Values
    light_lx: Values
    mass_g: Values


class Bench:
    """Trays side by side, from a start on.

    Attributes:
        now_ms: How far they have lived, a whole minute.
    """

    def __init__(self, setup: BenchSetup, start_ms: int, parameters: TrayParameters | None = None) -> None:
        """Begin with warm, moist trays at the last whole minute before the start; no beads where vents are open."""
        self.setup = setup
        self.now_ms = start_ms - start_ms % STEP_MS
        self._p = parameters or TrayParameters()
        self._room = Room(setup)
        # A plug-in timer is set once and knows nothing of summer time.
        begins = datetime.fromtimestamp(self.now_ms / 1000, UTC).astimezone(setup.zone)
        self._timer_zone = timezone(begins.utcoffset() or timedelta())
        trays, draw = len(setup.trays), chance(setup.seed, "trays")
        self._held = draw.uniform(*_HELD, trays)
        self._thermostat_k = draw.uniform(-_THERMOSTAT_K, _THERMOSTAT_K, trays)
        self._leaks = draw.uniform(*_LEAKS, trays)
        self._lamp_lx = LAMP_LX * draw.uniform(*_LAMPS, trays)
        times_ms = np.array([self.now_ms])
        medium_c = self._set_points(times_ms)[0]
        air_c = medium_c - _COOLER_K
        beaded = np.where(self._by_regime(times_ms, "changes_per_h")[0] > self._p.closed_per_h, 0.0, 0.5)
        self._balance = Balance(self._p, begin(self._p, air_c, medium_c, self._held, beaded))
        self._heats = np.zeros(trays)

    @property
    def moment(self) -> Moment:
        """What the trays hold now."""
        return self._balance.now

    def advance(self, until_ms: int) -> Trace:
        """Live on to the first whole minute that is not before an instant; return the way there, its ends included."""
        steps = max(-(-(until_ms - self.now_ms) // STEP_MS), 0)
        times_ms = self.now_ms + np.arange(steps + 1) * STEP_MS
        around = self.surroundings(times_ms)
        link, set_points = links(self._p, around), self._set_points(times_ms)
        never, always = self._faulty(times_ms, _NO_HEAT), self._faulty(times_ms, _ALL_HEAT)
        seen = np.empty((steps + 1, 6, len(self.setup.trays)))
        seen[0] = self._look()
        for step in range(steps):
            mat = self._thermostat(set_points[step])
            mat = (mat.astype(bool) | always[step]) & ~never[step]
            self._balance.step(Links(*(column[step] for column in link)), mat, STEP_MS / 1000)
            seen[step + 1] = self._look()
        self.now_ms = int(times_ms[-1])
        light = self._lamp_lx * around.lamp + self._by_day(times_ms)[:, None]
        air_c, cover_c, medium_c, humidity_pct, below_g, beads_g = seen.swapaxes(0, 1)
        # The cover rides on the scale, with the drops on it, as long as it is on.
        mass_g = self._p.dry_g + below_g + (self._p.cover_g + beads_g) * (1 - around.is_open)
        return Trace(times_ms, air_c, medium_c, cover_c, humidity_pct, light, mass_g)

    def skip(self, until_ms: int) -> None:
        """Let whole minutes pass in which nothing happens at all."""
        self.now_ms += max(until_ms - self.now_ms, 0) // STEP_MS * STEP_MS

    def _look(self) -> Values:
        now = self._balance.now
        humidity = np.minimum(100 * now.vapour_kpa / now.saturated_kpa[AIR], 100)
        below_g = now.stores[LEAVES] + now.stores[WATER]
        return np.stack((*now.temperature_c, humidity, below_g, now.stores[BEADS]))

    def _thermostat(self, set_point_c: Values) -> Values:
        medium_c, swing_k = self._balance.now.temperature_c[MEDIUM], self._p.thermostat_half_swing_k
        self._heats = np.where(medium_c < set_point_c - swing_k, 1.0, self._heats)
        self._heats = np.where(medium_c > set_point_c + swing_k, 0.0, self._heats)
        return self._heats

    # -------------------------------------------------------------------------------- what acts on it

    def surroundings(self, times_ms: Times) -> Surroundings:
        """Return what acts on each tray in the minute that begins at each time. Shape: times, trays."""
        room_c, room_kpa = self._room.around(times_ms, self.setup.zone)
        is_open = self._faulty(times_ms, {"cover left off"}).astype(float)
        mist, watering = np.zeros_like(room_c), np.zeros_like(room_c)
        water_c = np.full_like(room_c, 20.0)
        for place, tray in enumerate(self.setup.trays):
            for deed in deeds(self.setup, tray, int(times_ms[0]), int(times_ms[-1]) + STEP_MS):
                during = slice(*times_ms.searchsorted((deed.care.from_ms, deed.care.to_ms)))
                _do(deed, is_open[during, place], mist[during, place], watering[during, place])
                if deed.grams:
                    water_c[during, place] = deed.water_c
        vents = [self._by_regime(times_ms, when) for when in ("changes_per_h", "dark_changes_per_h")]
        # Vents are set by the clock, as the lamp's timer is: people are there in the morning and at night.
        changes = np.where(self._burns(times_ms), *vents) + self._p.closed_per_h * (self._leaks - 1)
        cracked = self._faulty(times_ms, {"cover cracked"})
        return Surroundings(
            room_c=room_c,
            room_kpa=room_kpa,
            is_open=is_open,
            changes_per_h=np.where(cracked, self._p.cracked_per_h, changes),
            lamp=self._lamp(times_ms),
            mist_g_per_s=mist,
            watering_g_per_s=watering,
            water_c=water_c,
            wick_per_h=np.where(self._faulty(times_ms, {"medium left dry"}), _WICK_PER_H, 0.0),
        )

    def _lamp(self, times_ms: Times) -> Values:
        """Return how much of each lamp burns [0 to 1]."""
        on_late = self._faulty(times_ms, {"lamp on late"})
        lamp = np.where(on_late, self._burns(times_ms, late_h=1), self._burns(times_ms)).astype(float)
        lamp = np.where(self._faulty(times_ms, {"lamp never off"}), 1.0, lamp)
        lamp = lamp * np.where(self._faulty(times_ms, {"half the lamp"}), 0.5, 1.0)
        return np.where(self._faulty(times_ms, _NO_LAMP), 0.0, lamp)

    def _burns(self, times_ms: Times, late_h: float = 0) -> Flags:
        """Return whether each lamp is meant to burn, coming on so much late [h]."""
        on_h, off_h = self.setup.lamp_on_h, self.setup.lamp_off_h
        since_h = (wall(times_ms, self._timer_zone).hours[:, None] - on_h) % 24
        lasts_h = self._by_regime(times_ms, "lit_h") if off_h is None else (off_h - on_h) % 24
        burning: Flags = (since_h >= late_h) & (since_h < lasts_h)
        return burning

    def _by_day(self, times_ms: Times) -> Values:
        hours = wall(times_ms, self.setup.zone).hours
        return np.where((hours >= _BY_DAY_H[0]) & (hours < _BY_DAY_H[1]), ROOM_LX, 0.0)

    def _set_points(self, times_ms: Times) -> Values:
        return self._by_regime(times_ms, "set_point_c") + self._thermostat_k

    def _by_regime(self, times_ms: Times, what: str) -> Values:
        chosen = np.empty((len(times_ms), len(self.setup.trays)))
        for place, tray in enumerate(self.setup.trays):
            for regime in tray.regimes:
                chosen[times_ms >= regime.from_ms, place] = getattr(regime, what)
        return chosen

    def _faulty(self, times_ms: Times, names: Collection[str]) -> Flags:
        """Return whether one of some faults is there in the minute that begins at each time."""
        places = [tray.name for tray in self.setup.trays]
        there = np.zeros((len(times_ms), len(places)), dtype=np.bool_)
        for fault in self.setup.faults:
            if fault.fault in names:
                first, last = times_ms.searchsorted((fault.from_ms, fault.to_ms))
                there[first:last, places.index(fault.tray)] = True
        return there


def _do(deed: Deed, is_open: Values, mist: Values, watering: Values) -> None:
    """Let one thing be done in the minutes that it takes."""
    per_s = deed.grams / max((deed.care.to_ms - deed.care.from_ms) / 1000, 1)
    if deed.care.event == "lifted":
        is_open[:] = 1.0
    elif deed.care.event == "misted":
        mist[:] += per_s
    else:
        watering[:] += per_s


def truth(setup: BenchSetup, start_ms: int, end_ms: int) -> Truth:
    """Return the truth about a bench between two instants: its faults, and what people did."""
    done = [deed.care for tray in setup.trays for deed in deeds(setup, tray, start_ms, end_ms)]
    faults = [fault for fault in setup.faults if fault.from_ms < end_ms and fault.to_ms > start_ms]
    whole: list[TrueCare] = sorted(done, key=lambda care: (care.from_ms, care.tray, care.event))
    return Truth(setup.seed, start_ms, end_ms, tuple(faults), tuple(whole))
