"""How a pretended bench is set up: its trays, what a grower sets for each stage, and what goes wrong."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, tzinfo
from typing import Final, NamedTuple

import numpy as np

from wardian.rules.air import saturation_vapour_pressure_kpa
from wardian.rules.crops import Stage, StageSpan
from wardian.rules.truth import TrueFault
from wardian.simulator.parameters import VAPOUR_KPA_M3_PER_G_K, ZERO_C_IN_K, TrayParameters
from wardian.simulator.wall import MS_PER_DAY

#: Air of 75 to 80 °F for a crop that nobody described: common practice, no source.
DEFAULT_AIR_C: Final = 25.3
#: About 18 h of light a day: common practice, no source.
DEFAULT_LIT_H: Final = 18.0
#: How warm a room is chosen for its trays: so far below their air, within what rooms are. Common practice,
#: no source: bottom heat works against a cooler room.
_ROOM_BELOW_K: Final = 3.8
_ROOM_C: Final = (17.5, 23.0)
#: Of this tray's heat: the medium's place above the air, as a share of its place above the room, and half
#: of what the lamp adds to the air. Both read off the balance; a test holds them to it.
MEDIUM_ABOVE_AIR: Final = 0.37
_HALF_LAMP_K: Final = 0.85
#: So far inside its band a grower keeps the medium.
_MARGIN_K: Final = 0.8
#: Relative humidity of the room. From memory (heated rooms: 40 to 60 %).
ROOM_HUMIDITY_PCT: Final = 48.0
_SOME_TIME_MS: Final = -(2**62)
_PARAMETERS: Final = TrayParameters()


class Regime(NamedTuple):
    """What a grower sets from an instant on.

    Attributes:
        from_ms: The instant.
        set_point_c: Of the thermostat of the bottom heat. [°C]
        changes_per_h: Air changes through the cover's vents. [1/h]
        lit_h: Hours of light a day. [h]
        is_misted: Whether cuttings are misted at the airings, which ends with toning.
    """

    from_ms: int
    set_point_c: float
    changes_per_h: float = _PARAMETERS.closed_per_h
    lit_h: float = DEFAULT_LIT_H
    is_misted: bool = True


class TraySetup(NamedTuple):
    """One tray and its regimes in order of time."""

    name: str
    regimes: tuple[Regime, ...]


@dataclass(frozen=True, slots=True)
class BenchSetup:
    """A bench: the same setup gives the same life, to the last reading.

    The lamp's hours are local, 5.5 is half past five; without ``lamp_off_h`` each tray is lit as its regime
    says.
    """

    trays: tuple[TraySetup, ...]
    seed: int = 1
    room_c: float = 19.0
    lamp_on_h: float = 5.0
    lamp_off_h: float | None = None
    every_ms: int = 10_000
    zone: tzinfo = UTC
    faults: tuple[TrueFault, ...] = ()

    def __post_init__(self) -> None:
        """Refuse a fault of a tray that is not on the bench."""
        names = [tray.name for tray in self.trays]
        for fault in self.faults:
            if fault.tray not in names:
                raise ValueError(
                    f"{fault.fault}: tray {fault.tray!r} is unknown; {', '.join(names)} is accepted"
                )

    def with_set_point(self, set_point_c: float) -> "BenchSetup":
        """Return the same bench with every thermostat set to one temperature [°C], whatever the stage."""
        trays = (
            tray._replace(regimes=tuple(one._replace(set_point_c=set_point_c) for one in tray.regimes))
            for tray in self.trays
        )
        return replace(self, trays=tuple(trays))


class Wanted(NamedTuple):
    """What bands want: the middle of the air's, the medium's limits, a humidity if it has a ceiling, light."""

    air_c: float
    medium_c: tuple[float, float]
    humidity_pct: float | None
    lit_h: float


def wanted(stage: Stage | None) -> Wanted:
    """Return what the bands of a stage want of a grower."""
    bands = stage.bands if stage else {}

    def span(quantity: str) -> tuple[float | None, float | None]:
        band = bands.get(quantity)
        return (band.threshold("low"), band.threshold("high")) if band else (None, None)

    medium_low, medium_high = span("medium_temperature")
    low, high = span("air_temperature")
    if low is None and high is None:
        # Trade practice gives the medium where it gives one figure: the air is a little cooler.
        low = medium_low - 1 if medium_low is not None else None
        high = medium_high - 1 if medium_high is not None else None
    air_c = DEFAULT_AIR_C
    if low is not None or high is not None:
        air_c = (low + high) / 2 if low is not None and high is not None else (low or high or 0)
        air_c += 1.5 if high is None else -1.5 if low is None else 0
    dry, moist = span("relative_humidity")
    humidity_pct = None if moist is None else (moist + (dry if dry is not None else moist - 20)) / 2
    limits_c = (
        medium_low + _MARGIN_K if medium_low is not None else -np.inf,
        medium_high - _MARGIN_K if medium_high is not None else np.inf,
    )
    least_h, most_h = span("light_hours")
    lit_h = DEFAULT_LIT_H
    if least_h is not None and most_h is not None and not least_h < lit_h < most_h:
        lit_h = (least_h + most_h) / 2
    return Wanted(air_c, limits_c, humidity_pct, lit_h)


def room_for(stages: Iterable[Stage | None]) -> float:
    """Return the temperature of a room that suits trays in these stages [°C]."""
    airs = [wanted(stage).air_c for stage in stages]
    mean_c = sum(airs) / len(airs)
    return min(max(mean_c - _ROOM_BELOW_K, _ROOM_C[0]), _ROOM_C[1])


def regime(stage: Stage | None, from_ms: int, room_c: float) -> Regime:
    """Return what a grower sets for a stage, in a room of this temperature."""
    want = wanted(stage)
    from_air_c = (want.air_c - _HALF_LAMP_K - MEDIUM_ABOVE_AIR * room_c) / (1 - MEDIUM_ABOVE_AIR)
    low_c, high_c = want.medium_c
    set_point_c = float(np.clip(from_air_c, low_c, max(low_c, high_c)))
    if want.humidity_pct is None:
        return Regime(from_ms, set_point_c, lit_h=want.lit_h)
    return Regime(from_ms, set_point_c, _vents(want, set_point_c, room_c), want.lit_h, is_misted=False)


def _vents(want: Wanted, set_point_c: float, room_c: float) -> float:
    """Return how many air changes an hour keep a humidity: what evaporates leaves through the vents."""
    p = _PARAMETERS
    assert want.humidity_pct is not None
    air_kpa = saturation_vapour_pressure_kpa(want.air_c)
    vapour_kpa = want.humidity_pct / 100 * air_kpa
    gained_g_per_h = p.medium_g_per_h_kpa * (saturation_vapour_pressure_kpa(set_point_c) - vapour_kpa)
    gained_g_per_h += p.leaf_lit_g_per_h_kpa * (air_kpa - vapour_kpa)
    room_kpa = ROOM_HUMIDITY_PCT / 100 * saturation_vapour_pressure_kpa(room_c)
    g_per_kpa = p.air_m3 / (VAPOUR_KPA_M3_PER_G_K * (want.air_c + ZERO_C_IN_K))
    lost_g_per_change = g_per_kpa * max(vapour_kpa - room_kpa, 0.05)
    return max(gained_g_per_h / lost_g_per_change, p.closed_per_h)


def tray_setup(name: str, spans: Sequence[StageSpan], room_c: float) -> TraySetup:
    """Return a tray whose grower follows the bands of its stages; before the first, as in it."""
    first = spans[0].stage if spans else None
    regimes = [regime(first, _SOME_TIME_MS, room_c)]
    regimes += [regime(span.stage, span.from_ms, room_c) for span in spans[1:]]
    return TraySetup(name, tuple(regimes))


def bench_setup(trays: Sequence[tuple[str, Sequence[StageSpan]]], start_ms: int) -> BenchSetup:
    """Return a bench for trays and their stages, in a room that suits the stages of its first week."""
    stages = [_stage_on(spans, start_ms + day * MS_PER_DAY) for _, spans in trays for day in (0, 6)]
    room_c = room_for(stages)
    return BenchSetup(tuple(tray_setup(name, spans, room_c) for name, spans in trays), room_c=room_c)


def _stage_on(spans: Sequence[StageSpan], time_ms: int) -> Stage | None:
    begun = [span.stage for span in spans if span.from_ms <= time_ms] or [span.stage for span in spans[:1]]
    return begun[-1] if begun else None
