"""Strategies of trays and readings in which instants coincide and values lie on their limits.

Measured values, limits and deadbands are quarters, so ties are real ties. Limits of computed values
lie where no tie can be, except those of light hours over days, which are quarters of an hour.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import NamedTuple

from hypothesis import strategies as st

from wardian.rules.crops import Band, Limit, Stage, StageSpan
from wardian.rules.plans import LampRule, Masses, TrayPlan
from wardian.rules.quantities import QUANTITIES
from wardian.rules.readings import Reading

HOUR_MS = 3_600_000
TRAYS = ("tray-a", "tray-b")
STAGES = ("callusing", "striking", "weaning")
LAMPS = (LampRule("illuminance", 1000, 900), LampRule("ppfd", 50, 40))
#: What a reading may be off; mostly every input's is known.
_KNOWN = {"air_temperature": 0.3, "leaf_temperature": 0.5, "relative_humidity": 3.0}
ACCURACIES: tuple[dict[str, float], ...] = (_KNOWN, _KNOWN, {"relative_humidity": 3.0}, {})
#: Of lamps with a factor the photons are those of the illuminance; leaves without a probe follow the air.
LUX_PER_UMOL = (None, None, 54.0, 70.0)
LEAF_OFFSETS_K = (None, None, 0.0, 1.0, -0.5)
LIMIT_NAMES = ("low_low", "low", "high", "high_high")
LIMIT_SETS = (LIMIT_NAMES, ("low", "high"), ("high",), ("low",), ("high", "high_high"), ("low_low", "high"))

#: Time, tray and quantity of a refused reading.
Refused = tuple[int, str, str]


@dataclass(frozen=True)
class Scenario:
    """What an engine is given; readings in their order of arrival, none of anything after the end.

    No reading arrives after one whose time is more than ``settle_ms`` later than its own.
    """

    plans: tuple[TrayPlan, ...]
    readings: tuple[Reading, ...]
    refused: tuple[Refused, ...]
    end_ms: int
    settle_ms: int


class Piece(NamedTuple):
    """What arrives together and, then, up to which instant everything may be judged, if at all."""

    readings: tuple[Reading, ...]
    refused: tuple[Refused, ...]
    advance_ms: int | None


class Levels(NamedTuple):
    """Where the four limits of a band lie, how far stages move them, and what deadbands there are."""

    limits: tuple[float, float, float, float]
    shifts: tuple[float, ...]
    deadbands: tuple[float, ...]


@dataclass(frozen=True)
class Scale:
    """How fast things happen in a scenario, and where the limits of its light lie."""

    holds_ms: tuple[int, ...]
    gaps_ms: tuple[int, ...]
    delays_ms: tuple[int, ...]
    sensors: tuple[tuple[str, ...], ...]
    light_levels: Mapping[str, Levels]


_CELSIUS = Levels((18, 20, 24, 26), (0, 0.25, 1, -2), (0, 0.25, 0.5, 2))
_LEVELS = {
    "air_temperature": _CELSIUS,
    "leaf_temperature": _CELSIUS,
    "relative_humidity": Levels((70, 80, 95, 100), (0, 0.25, -5), (0, 0.5, 5)),
    "illuminance": Levels((0, 900, 1000, 5000), (0, 0.25), (0, 0.25, 100)),
    "ppfd": Levels((0, 40, 50, 400), (0, 0.25), (0, 0.25, 10)),
    "vapour_pressure_deficit": Levels((0.0137, 0.3137, 0.6137, 0.9137), (0, 0.1), (0, 0.1)),
    "leaf_vapour_pressure_deficit": Levels((-0.3137, 0.0137, 0.4137, 0.8137), (0, 0.1), (0, 0.2)),
    "dew_point": Levels((14.137, 17.137, 20.137, 23.137), (0, 1), (0, 1.5)),
    "tray_mass": Levels((1500, 2000, 3000, 3200), (0, 100), (0, 100)),
    # Masses are quarters of a kilogram, so that no share lies on a limit.
    "water_lost": Levels((-5.137, 10.137, 33.137, 60.137), (0, 1), (0, 3)),
}
_AIR_NEEDS = {
    "vapour_pressure_deficit": {"air_temperature", "relative_humidity"},
    "leaf_vapour_pressure_deficit": {"air_temperature", "relative_humidity"},
    "dew_point": {"air_temperature", "relative_humidity"},
}
_VALUES = {
    "air_temperature": [
        level + step for level in (18, 20, 24, 26) for step in (-2.0, -0.5, -0.25, 0.0, 0.25, 0.5, 2.0)
    ],
    "relative_humidity": [50, 69.75, 70, 79.75, 80, 80.5, 85, 94.5, 95, 95.25, 99.5, 100, 100.25, 105],
    "illuminance": [0, 899.75, 900, 900.25, 950, 1000, 1000.25, 5000, 5000.25],
    "tray_mass": [1000.0, 1500.0, 2000.0, 2250.0, 2500.0, 2750.0, 3000.0, 3250.0],
    "ppfd": [0, 39.75, 40, 40.25, 45, 50, 50.25, 100, 400, 400.25],
}
_VALUES["leaf_temperature"] = _VALUES["air_temperature"]

MINUTES = Scale(
    holds_ms=(60_000, 90_000, 120_000),
    gaps_ms=(30_000, 30_000, 30_000, 60_000, 30_001, 0, 600_000),
    delays_ms=(0, 0, 30_000, 60_000, 90_001),
    sensors=(
        ("air_temperature",),
        ("air_temperature", "relative_humidity"),
        ("air_temperature", "relative_humidity", "leaf_temperature"),
        ("air_temperature", "relative_humidity", "leaf_temperature"),
        ("illuminance", "ppfd"),
        ("illuminance", "ppfd"),
        ("leaf_temperature", "ppfd"),
        ("tray_mass",),
        ("tray_mass",),
    ),
    light_levels={
        # Between the half minutes; moved to the end of the day, where the low ones can be met.
        "light_hours": Levels(
            (15 / 3600, 45 / 3600, 75 / 3600, 135 / 3600), (0, 0, 24 - 210 / 3600), (0, 30 / 3600)
        ),
        "daily_light_integral": Levels(
            (0.00137137137, 0.01137137137, 0.02137137137, 34.5137137137), (0, 4.3, 8.6), (0, 0.003)
        ),
    },
)
DAYS = Scale(
    holds_ms=(HOUR_MS, 2 * HOUR_MS, 8 * HOUR_MS),
    gaps_ms=(HOUR_MS // 4, HOUR_MS, HOUR_MS, 3 * HOUR_MS, 10 * HOUR_MS + 7, 24 * HOUR_MS, 25 * HOUR_MS),
    delays_ms=(0, HOUR_MS // 4, HOUR_MS, 2 * HOUR_MS + 1),
    sensors=(("illuminance",), ("ppfd",), ("illuminance", "ppfd")),
    light_levels={
        "light_hours": Levels((4, 16, 18, 22), (0, -2, 0.25), (0, 0.25, 1)),
        "daily_light_integral": Levels(
            (0.3137137137, 2.3137137137, 4.3137137137, 8.6137137137), (0, 0.7, 4.3, 25), (0, 0.3)
        ),
    },
)


@st.composite
def scenarios(draw: st.DrawFn, scale: Scale = MINUTES) -> Scenario:
    """One or two trays over some minutes: every rule, hold, delay and stage in reach of another."""
    hold_ms = draw(st.sampled_from(scale.holds_ms))
    trays = {tray: draw(st.sampled_from(scale.sensors)) for tray in TRAYS[: draw(st.integers(1, 2))]}
    stages = {tray: draw(_stages(sensors, hold_ms, scale)) for tray, sensors in trays.items()}
    readings = [
        reading
        for tray, sensors in trays.items()
        for quantity in sensors
        for values in [_values(quantity, stages[tray])]
        for reading in draw(_series(tray, quantity, values, hold_ms=hold_ms, scale=scale))
    ]
    instants = _instants(readings, hold_ms, scale)
    plans = tuple(
        draw(_plan(tray, trays[tray], stages[tray], instants=instants, hold_ms=hold_ms)) for tray in trays
    )
    refused = draw(_refused(trays, instants))
    latest_ms = max([0, *(one.time_ms for one in readings), *(mark[0] for mark in refused)])
    extra_ms = draw(st.sampled_from((0, 0, hold_ms, hold_ms - 1, *scale.delays_ms, 10 * hold_ms)))
    settle_ms = draw(st.sampled_from((0, 5_000, scale.gaps_ms[0])))
    arrived = draw(_arrival(readings, settle_ms))
    return Scenario(plans, arrived, refused, latest_ms + extra_ms, settle_ms)


def light_scenarios() -> st.SearchStrategy[Scenario]:
    """One or two trays over some days: what the trailing 24 h make of lamps and of gaps."""
    return scenarios(DAYS)


@st.composite
def pieces(draw: st.DrawFn, scenario: Scenario) -> list[Piece]:
    """A scenario in pieces, in order of arrival; no advance reaches what is still to come.

    After the last piece everything up to the scenario's end is still to be judged.
    """
    count = len(scenario.readings)
    cuts = sorted(draw(st.lists(st.integers(0, count), max_size=6)))
    refused = sorted(scenario.refused)
    reached_ms = -HOUR_MS
    parts = []
    for start, stop in zip([0, *cuts], [*cuts, count], strict=True):
        rest = [one.time_ms for one in scenario.readings[stop:]]
        taken = refused if stop == count else refused[: draw(st.integers(0, len(refused)))]
        refused = refused[len(taken) :]
        limit_ms = min([scenario.end_ms + 1, *rest, *(mark[0] for mark in refused)]) - 1
        back_ms = draw(st.sampled_from((None, 0, 1, 30_000, 100_000)))
        if back_ms is not None:
            reached_ms = max(reached_ms, limit_ms - back_ms)
        advance_ms = None if back_ms is None else reached_ms
        parts.append(Piece(scenario.readings[start:stop], tuple(taken), advance_ms))
    return parts


@st.composite
def _stages(draw: st.DrawFn, sensors: Sequence[str], hold_ms: int, scale: Scale) -> list[Stage]:
    delays = st.sampled_from((*scale.delays_ms, hold_ms - 1, hold_ms, hold_ms + 1, 2 * hold_ms))
    banded = draw(st.lists(st.sampled_from(_bandable(sensors, scale)), min_size=1, max_size=4, unique=True))
    stages = []
    for name in STAGES[: draw(st.integers(1, 3))]:
        kept = [quantity for quantity in banded if draw(st.integers(0, 4))]
        stages.append(Stage(name, 0, {one: draw(_band(one, delays, scale)) for one in kept}))
    return stages


def _bandable(sensors: Sequence[str], scale: Scale) -> list[str]:
    """Return the quantities for which there are values: what is measured and what follows from it."""
    air = [name for name, needs in _AIR_NEEDS.items() if needs.issubset(sensors)]
    light = ["daily_light_integral", "light_hours"] * any(lamp.quantity in sensors for lamp in LAMPS)
    water = ["water_lost"] * 2 * ("tray_mass" in sensors)
    return light if scale is DAYS else [*sensors, *air, *air, *light, *water]


@st.composite
def _band(draw: st.DrawFn, quantity: str, delays: st.SearchStrategy[int], scale: Scale) -> Band:
    levels = {**_LEVELS, **scale.light_levels}[quantity]
    shift, deadband = draw(st.sampled_from(levels.shifts)), draw(st.sampled_from(levels.deadbands))
    on_ms, off_ms = draw(delays), draw(delays)
    limits = []
    for name in draw(st.sampled_from(LIMIT_SETS)):
        threshold = levels.limits[LIMIT_NAMES.index(name)] + shift
        clear = threshold - deadband if name.startswith("high") else threshold + deadband
        limits.append(Limit(name, float(threshold), float(clear), on_ms, off_ms))
    return Band(quantity, tuple(limits))


def _values(quantity: str, stages: Sequence[Stage]) -> st.SearchStrategy[float]:
    """Return values on, just beside and well beyond what limits there are, and some others."""
    limits = [limit for one in stages if quantity in one.bands for limit in one.bands[quantity].limits]
    edges = {edge for limit in limits for edge in (limit.threshold, limit.clear)}
    near = {edge + step for edge in edges for step in (0, 0, -0.25, 0.25, -2, 2)}
    possible = [value for value in near if QUANTITIES[quantity].why_impossible(value) == ""]
    others = st.sampled_from(_VALUES[quantity]).map(float)
    return st.sampled_from(sorted(possible)) | others if possible else others


@st.composite
def _series(
    draw: st.DrawFn, tray: str, quantity: str, values: st.SearchStrategy[float], *, hold_ms: int, scale: Scale
) -> list[Reading]:
    gaps = st.sampled_from((*scale.gaps_ms, hold_ms, hold_ms, hold_ms + 1, hold_ms - 1, 2 * hold_ms))
    few = draw(st.lists(values, min_size=2, max_size=4))  # so that runs last
    point = st.tuples(gaps, st.sampled_from(few))
    points = draw(st.lists(point, min_size=draw(st.sampled_from((0, 8))), max_size=18))
    start_ms = draw(st.sampled_from((0, 0, 1, scale.gaps_ms[0])))
    times = accumulate((gap for gap, _ in points[1:]), initial=start_ms)
    return [
        Reading(time_ms, tray, quantity, value) for time_ms, (_, value) in zip(times, points, strict=False)
    ]


def _instants(readings: Sequence[Reading], hold_ms: int, scale: Scale) -> list[int]:
    """Return the instants at which something may happen, and those beside them."""
    times = {0} | {one.time_ms for one in readings}
    after = {time_ms + step for time_ms in times for step in (0, hold_ms, *scale.delays_ms)}
    return sorted(after | {time_ms + step for time_ms in times for step in (-1, 1)})


@st.composite
def _plan(
    draw: st.DrawFn,
    tray: str,
    sensors: Sequence[str],
    stages: Sequence[Stage],
    *,
    instants: Sequence[int],
    hold_ms: int,
) -> TrayPlan:
    count = len(stages)
    starts = draw(st.lists(st.sampled_from(instants), min_size=count, max_size=count, unique=True))
    starts[0] = draw(st.sampled_from((-HOUR_MS, -HOUR_MS, starts[0])))
    spans = tuple(StageSpan(*span) for span in zip(sorted(starts), stages, strict=True))
    lamp = draw(st.sampled_from([lamp for lamp in LAMPS if lamp.quantity in sensors] or LAMPS))
    delays = st.sampled_from((0, 1, 30_000, hold_ms))
    silent = draw(st.dictionaries(st.sampled_from(sensors), delays, max_size=1))
    accuracies = draw(st.sampled_from(ACCURACIES))
    masses = draw(_masses(instants)) if "tray_mass" in sensors else ()
    return TrayPlan(
        tray,
        spans,
        hold_ms,
        lamp,
        silent,
        accuracies,
        lux_per_umol=draw(st.sampled_from(LUX_PER_UMOL)),
        leaf_offset_k=draw(st.sampled_from(LEAF_OFFSETS_K)),
        masses=masses,
    )


@st.composite
def _masses(draw: st.DrawFn, instants: Sequence[int]) -> tuple[Masses, ...]:
    """Return what a tray weighs full and dry: mostly from before everything, and perhaps once more later."""
    begins = draw(st.lists(st.sampled_from((-HOUR_MS, -HOUR_MS, *instants)), max_size=2, unique=True))
    return tuple(Masses(at_ms, draw(st.sampled_from((3000, 3250))), 1000) for at_ms in sorted(begins))


@st.composite
def _refused(
    draw: st.DrawFn, sensors: Mapping[str, Sequence[str]], instants: Sequence[int]
) -> tuple[Refused, ...]:
    series = [(tray, quantity) for tray, quantities in sensors.items() for quantity in quantities]
    marks = []
    for tray, quantity in draw(st.lists(st.sampled_from(series), max_size=2)):
        step_ms = draw(st.sampled_from((0, 0, -600_000, 1)))
        marks.append((max(0, draw(st.sampled_from(instants)) + step_ms), tray, quantity))
    return tuple(marks)


@st.composite
def _arrival(draw: st.DrawFn, readings: Sequence[Reading], settle_ms: int) -> tuple[Reading, ...]:
    """Readings in an order in which none is more than ``settle_ms`` late."""
    late = st.sampled_from((0, 0, settle_ms // 2, settle_ms)) if settle_ms else st.just(0)
    arrivals = [(one.time_ms + draw(late), one) for one in readings]
    return tuple(one for _, one in sorted(arrivals, key=lambda arrival: arrival[0]))
