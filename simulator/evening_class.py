"""The bench that is pretended where nobody says which: an evening class with six trays and four crops."""

from datetime import date
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo

from wardian.simulator.setup import SOME_TIME_MS, BenchSetup, Regime, TraySetup
from wardian.simulator.wall import MS_PER_MINUTE, at_wall_ms

_ZONE: Final = ZoneInfo("America/New_York")
_EPOCH: Final = date(1970, 1, 1)


class _Kept(NamedTuple):
    """How a tray is kept: its thermostat [°C]; toning: from when on, thermostat [°C], vents lit and dark [1/h]."""

    set_point_c: float
    toned_from: date
    toned_set_point_c: float
    toned_changes_per_h: float
    toned_dark_changes_per_h: float

    def regimes(self) -> tuple[Regime, ...]:
        evening_ms = at_wall_ms((self.toned_from - _EPOCH).days, 0, _ZONE) - 25 * MS_PER_MINUTE
        vents = self.toned_changes_per_h, self.toned_dark_changes_per_h
        toned = Regime(evening_ms, self.toned_set_point_c, *vents, is_misted=False)
        return Regime(SOME_TIME_MS, self.set_point_c), toned


#: As ``growing`` finds it for the example configuration, whose trays and crops these are, rounded.
_TRAYS: Final = {
    "tray-a": _Kept(27.4, date(2026, 3, 14), 20.0, 23, 27),
    "tray-b": _Kept(27.4, date(2026, 3, 9), 20.0, 23, 27),
    "tray-c": _Kept(23.7, date(2026, 3, 9), 21.2, 35, 39),
    "tray-d": _Kept(21.6, date(2026, 3, 15), 18.1, 34, 39),
    "tray-e": _Kept(23.0, date(2026, 3, 16), 19.8, 25, 29),
    "tray-f": _Kept(23.9, date(2026, 3, 16), 21.2, 35, 39),
}

EVENING_CLASS: Final = BenchSetup(
    trays=tuple(TraySetup(name, kept.regimes()) for name, kept in _TRAYS.items()),
    room_c=18.4,
    zone=_ZONE,
)
#: Midnight of 1 March 2026 in that class.
START_MS: Final = 1_772_341_200_000
