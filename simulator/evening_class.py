"""The bench that is pretended where nobody says which: an evening class with six trays and four crops."""

from typing import Final
from zoneinfo import ZoneInfo

from wardian.simulator.setup import SOME_TIME_MS, BenchSetup, Regime, TraySetup

#: Tray → what its thermostat is set to, as its crop wants it. [°C] Chosen so that air and medium keep to the
#: middle of the bands of the example configuration, whose trays and crops these are.
_SET_POINTS_C: Final = {
    "tray-a": 27.4,
    "tray-b": 27.4,
    "tray-c": 24.0,
    "tray-d": 22.0,
    "tray-e": 23.0,
    "tray-f": 24.2,
}

EVENING_CLASS: Final = BenchSetup(
    trays=tuple(TraySetup(name, (Regime(SOME_TIME_MS, c),)) for name, c in _SET_POINTS_C.items()),
    room_c=18.5,
    zone=ZoneInfo("America/New_York"),
)
#: Midnight of 1 March 2026 in that class.
START_MS: Final = 1_772_341_200_000
