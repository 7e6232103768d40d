"""Worked examples of derived series, of light, and of which readings are judged at all."""

from collections.abc import Sequence
from dataclasses import replace

from case_terms import (
    HOUR_MS,
    Case,
    air,
    high,
    hours,
    humid,
    low,
    minutes,
    plan,
    raised,
    returned,
    series,
    stage,
    urgent,
    warm,
)

from wardian.rules.crops import Limit
from wardian.rules.plans import LampRule, Masses, TrayPlan
from wardian.rules.readings import Reading

HOUR = minutes(60)
VPD = "vapour_pressure_deficit"
LEAF_VPD = "leaf_vapour_pressure_deficit"
DLI = "daily_light_integral"
LUX_LAMP = LampRule("illuminance", 1000, 900)


def judged(quantity: str, *limits: Limit, leaf_offset_k: float | None = None) -> TrayPlan:
    """One tray whose only band is of this quantity."""
    return replace(plan((0, stage("callusing", **{quantity: limits}))), leaf_offset_k=leaf_offset_k)


def lamp(*limits: Limit, hold_ms: int = HOUR_MS, rule: LampRule = LUX_LAMP) -> TrayPlan:
    return plan((0, stage("callusing", light_hours=limits)), hold_ms=hold_ms, lamp=rule)


def photons(*limits: Limit, hold_ms: int = HOUR_MS, lux_per_umol: float | None = None) -> TrayPlan:
    of_stage = stage("callusing", daily_light_integral=limits)
    return replace(plan((0, of_stage), hold_ms=hold_ms), lux_per_umol=lux_per_umol)


def light(*points: tuple[float, float], quantity: str = "illuminance") -> Sequence[Reading]:
    """Readings of light by hour."""
    return series(quantity, ((hours(hour), value) for hour, value in points))


# At 25 °C e_s is 3.160 kPa: 80 % leave 0.632 kPa, 90 % leave 0.316. At 30 °C it is 4.234 kPa.
AIR = [
    Case(
        "a derived value begins when its last input is known",
        [judged(VPD, high(0.4, 0.05))],
        air((0, 25)) + humid((2, 80)),
        HOUR,
        [raised(minutes(2), quantity=VPD)],
        details=[(0.6321, 0.4, "callusing", minutes(2))],
    ),
    Case(
        "a derived value stands until an input turns unknown",
        [judged(VPD, high(0.4, 0.05, on_ms=minutes(3)))],
        air((0, 25)) + humid((2, 80)),
        HOUR,
        [raised(minutes(5), quantity=VPD)],
    ),
    Case(
        "a derived value does not stand a millisecond longer",
        [judged(VPD, high(0.4, 0.05, on_ms=minutes(3, 1)))],
        air((0, 25)) + humid((2, 80)),
        HOUR,
    ),
    Case(
        "there is no derived value at the instant an input turns unknown",
        [judged(VPD, high(0.4, 0.05))],
        air((0, 25)) + humid((5, 80)),
        HOUR,
    ),
    Case(
        "inputs renewed at exactly their hold make one run of derived values",
        [judged(VPD, high(0.4, 0.05, on_ms=minutes(12)))],
        air((0, 25), (5, 25), (10, 25)) + humid((1, 80), (6, 80), (11, 80)),
        HOUR,
        [raised(minutes(13), quantity=VPD)],
    ),
    Case(
        "inputs of one instant give one value",
        [judged(VPD, high(0.4, 0.05))],
        air((0, 25), (4, 30)) + humid((0, 90), (4, 95)),
        HOUR,
    ),
    Case(
        "a later input gives a value with the one that stands",
        [judged(VPD, high(0.4, 0.05))],
        air((0, 25), (4, 30)) + humid((0, 90), (4 + 1 / 60_000, 95)),
        HOUR,
        [raised(minutes(4), quantity=VPD), returned(minutes(4, 1), quantity=VPD)],
    ),
    Case(
        "humidity above 100 % is judged as 100 %",
        [judged("relative_humidity", high(99, 0.5), urgent(high(100, 0.5)))],
        humid((0, 104)),
        HOUR,
        [raised(0, quantity="relative_humidity")],
        details=[(100, 99, "callusing", 0)],
    ),
    Case(
        "air above saturation has no deficit and no surplus",
        [judged(VPD, low(0, 0.1), high(0.5, 0.1))],
        air((0, 25)) + humid((0, 104)),
        HOUR,
    ),
    Case(
        "a leaf colder than the dew point keeps its sign",
        [judged(LEAF_VPD, urgent(low(-1, 0.1)), low(-0.75, 0.1))],
        [*air((0, 25)), *humid((0, 100)), *series("leaf_temperature", [(0, 20)])],
        HOUR,
        [raised(0, "low", LEAF_VPD)],
        details=[(-0.8274, -0.75, "callusing", 0)],
    ),
    Case(
        "the leaf's deficit needs three inputs",
        [judged(LEAF_VPD, low(-0.75, 0.1))],
        [*air((0, 25)), *series("leaf_temperature", [(0, 20)])],
        HOUR,
    ),
    Case(
        # Leaves of 26 °C could hold 3.353 kPa, the air of 25 °C holds 90 % of 3.160.
        "leaves without a probe are as much warmer than the air as is said",
        [judged(LEAF_VPD, high(0.4, 0.1), urgent(high(0.6, 0.1)), leaf_offset_k=1.0)],
        air((0, 25)) + humid((0, 90)),
        HOUR,
        [raised(0, quantity=LEAF_VPD)],
        details=[(0.5093, 0.4, "callusing", 0)],
    ),
    Case(
        "where an offset is said a leaf's own temperature does not count",
        [judged(LEAF_VPD, high(0.6, 0.1), leaf_offset_k=1.0)],
        [*air((0, 25)), *humid((0, 90)), *series("leaf_temperature", [(0, 40), (1, 40)])],
        HOUR,
    ),
    Case(
        "dew point",
        [judged("dew_point", high(13.84, 0.1), urgent(high(13.86, 0.1)))],
        air((0, 25)) + humid((0, 50)),
        HOUR,
        [raised(0, quantity="dew_point")],
        details=[(13.8516, 13.84, "callusing", 0)],
    ),
]

LIGHT = [
    Case(
        "time before the first reading is unknown and not held against the lamp",
        [lamp(low(17, 0.5))],
        light((0, 0)),
        hours(10),
    ),
    Case(
        "too little light as soon as the lit and the unknown hours are too few",
        [lamp(low(17, 0.5), hold_ms=hours(8))],
        light((0, 0), (7, 0), (7.25, 0)),
        hours(10),
        [raised(hours(7.25), "low", "light_hours")],
        details=[(16.75, 17, "callusing", hours(7.25))],
    ),
    Case(
        "too much light as soon as the lit hours are too many",
        [lamp(high(19, 0.5), hold_ms=hours(20))],
        light((0, 5000), (19, 5000), (19.25, 5000)),
        hours(30),
        [raised(hours(19.25), "high", "light_hours")],
        details=[(19.25, 19, "callusing", hours(19.25))],
    ),
    Case(
        "lit above, dark at the deadband's end, else as before, dark before any reading",
        [lamp(high(1.75, 0))],
        light((0, 950), (1, 1000), (2, 1000.25), (3, 900.25), (4, 900), (5, 950), (6, 0)),
        hours(6),
        [raised(hours(4), "high", "light_hours")],
        details=[(2, 1.75, "callusing", hours(4))],
    ),
    Case(
        "lit hours stop at the deadband's end",
        [lamp(high(2, 0))],
        light((0, 950), (1, 1000), (2, 1000.25), (3, 900.25), (4, 900), (5, 950), (6, 0)),
        hours(6),
    ),
    Case(
        "the lamp's verdict stays through unknown time, which is neither lit nor dark",
        [lamp(high(1.75, 0), urgent(high(2.25, 0)))],
        light((0, 5000), (5, 950), (6, 950)),
        hours(7),
        [raised(hours(6), "high", "light_hours")],
        details=[(2, 1.75, "callusing", hours(6))],
    ),
    Case(
        "unknown time in the window counts for the lamp",
        [lamp(low(22, 0), urgent(low(21, 0)))],
        light((0, 0), (20, 0), (21, 0), (21.25, 0)),
        hours(21.25),
        [raised(hours(21.25), "low", "light_hours")],
        details=[(21.75, 22, "callusing", hours(21.25))],
    ),
    Case(
        "what is lit leaves the window after 24 h",
        [lamp(high(1.5, 0), hold_ms=hours(24))],
        light((0, 5000), (2, 0), (24, 0), (24.5, 0)),
        hours(25),
        [raised(hours(2), "high", "light_hours"), returned(hours(24.5), "high", "light_hours")],
    ),
    Case(
        "only the light that the lamp's limit names is a light reading",
        [lamp(low(17, 0.5), hold_ms=hours(8), rule=LampRule("ppfd", 50, 40))],
        light((0, 0), (7.25, 0)),
        hours(8),
    ),
    Case(
        "a lamp judged by PPFD",
        [lamp(low(17, 0.5), hold_ms=hours(8), rule=LampRule("ppfd", 50, 40))],
        light((0, 50), (7.25, 50), quantity="ppfd"),
        hours(8),
        [raised(hours(7.25), "low", "light_hours")],
    ),
    Case(
        "light hours stand until their light reading's hold has passed",
        [lamp(low(17, 0.5, on_ms=hours(8)), hold_ms=hours(8))],
        light((0, 0), (7.25, 0)),
        hours(20),
        [raised(hours(15.25), "low", "light_hours")],
    ),
    Case(
        "a stage's start computes no light hours anew",
        [
            plan(
                (0, stage("callusing")),
                (hours(8), stage("rooting", light_hours=low(17, 0.5))),
                hold_ms=hours(8),
                lamp=LUX_LAMP,
            )
        ],
        light((0, 0), (6, 0)),
        hours(10),
    ),
    Case(
        "the daily light integral is judged high without what was not seen",
        [photons(high(7, 0), urgent(high(7.25, 0)), hold_ms=hours(12))],
        light((0, 200), (10, 200), quantity="ppfd"),
        hours(10),
        [raised(hours(10), "high", DLI)],
        details=[(7.2, 7, "callusing", hours(10))],
    ),
    Case(
        "photons of a lamp with a factor are those of its illuminance",
        [photons(high(7, 0), urgent(high(7.25, 0)), hold_ms=hours(12), lux_per_umol=70.0)],
        light((0, 14_000), (10, 14_000)),
        hours(10),
        [raised(hours(10), "high", DLI)],
        details=[(7.2, 7, "callusing", hours(10))],
    ),
    Case(
        "and of nothing else",
        [photons(high(7, 0), hold_ms=hours(12), lux_per_umol=70.0)],
        light((0, 200), (10, 200), quantity="ppfd"),
        hours(10),
    ),
    Case(
        "without a factor illuminance has no photons",
        [photons(high(7, 0), hold_ms=hours(12))],
        light((0, 14_000), (10, 14_000)),
        hours(10),
    ),
    Case(
        "the daily light integral is judged low with the unseen as bright as the brightest seen",
        [photons(low(8.75, 0), urgent(low(8.5, 0)))],
        light((0, 100), quantity="ppfd"),
        hours(1),
        [raised(0, "low", DLI)],
        details=[(8.64, 8.75, "callusing", 0)],
    ),
    Case(
        "a reading counts as standing in the window that it ends",
        [photons(low(33, 0), urgent(low(8.5, 0)))],
        light((0, 100), (1, 400), quantity="ppfd"),
        hours(1),
        [raised(0, "low", DLI), returned(hours(1), "low", DLI)],
        details=[(8.64, 33, "callusing", 0), (33.48, 33, "callusing", hours(1))],
    ),
    Case(
        "what ended exactly 24 h ago does not stand in the window",
        [photons(low(9, 0))],
        light((0, 400), (25, 100), quantity="ppfd"),
        hours(25),
        [raised(hours(25), "low", DLI)],
        details=[(8.64, 9, "callusing", hours(25))],
    ),
    Case(
        "what ended a millisecond later does",
        [photons(low(9, 0))],
        light((0, 400), (25 - 1 / HOUR_MS, 100), quantity="ppfd"),
        hours(25),
    ),
]

ORDER = [
    Case(
        "the first of a repeated reading stands",
        [warm(high(26))],
        air((0, 20), (0, 27)),
        HOUR,
    ),
    Case(
        "the first in the order of arrival, even if it is beyond",
        [warm(high(26))],
        air((1, 20), (0, 27), (0, 20)),
        HOUR,
        [raised(0), returned(minutes(1))],
    ),
    Case(
        "readings are judged in order of time",
        [warm(high(26, on_ms=minutes(6)))],
        air((4, 28), (8, 20), (0, 27)),
        HOUR,
        [raised(minutes(6)), returned(minutes(8))],
    ),
    Case(
        "the same instant of another tray is no repeat",
        [warm(high(26))],
        air((0, 20), tray="tray-b") + air((0, 27)),
        HOUR,
        [raised(0)],
    ),
]


def weighed(*limits: Limit, masses: Sequence[Masses]) -> TrayPlan:
    return replace(judged("water_lost", *limits), masses=tuple(masses))


def mass(*points: tuple[float, float]) -> Sequence[Reading]:
    """Readings of the mass by minute."""
    return series("tray_mass", ((minutes(minute), value) for minute, value in points))


FULL_AND_DRY = Masses(-HOUR, 3000, 1200)
WATER = [
    Case(
        "a third of the water is gone",
        [weighed(high(33, 3), masses=[FULL_AND_DRY])],
        mass((0, 2410), (1, 2400), (2, 2450), (3, 2470)),
        HOUR,
        [raised(minutes(1), quantity="water_lost"), returned(minutes(3), quantity="water_lost")],
        details=[(100 / 3, 33, "callusing", minutes(1)), (530 / 18, 33, "callusing", minutes(3))],
    ),
    Case(
        "a tray that nobody weighed has lost an unknown share",
        [weighed(high(33, 3), masses=[])],
        mass((0, 1300)),
        HOUR,
    ),
    Case(
        "nothing is known before the tray was weighed, and then with the next reading",
        [weighed(high(33, 3), masses=[FULL_AND_DRY._replace(from_ms=minutes(1))])],
        mass((0, 1300), (3, 1300)),
        HOUR,
        [raised(minutes(3), quantity="water_lost")],
    ),
    Case(
        "a reading at the very instant of a weighing is compared with it",
        [weighed(high(33, 3), masses=[FULL_AND_DRY, Masses(minutes(2), 3300, 1200)])],
        mass((1, 2450), (2, 2450)),
        HOUR,
        [raised(minutes(2), quantity="water_lost")],
        details=[(850 / 21, 33, "callusing", minutes(2))],
    ),
    Case(
        "a tray heavier than full has lost less than nothing",
        [weighed(low(-5, 3), urgent(low(-10, 3)), masses=[FULL_AND_DRY])],
        mass((0, 3091), (1, 3180), (2, 3181)),
        HOUR,
        [
            raised(0, "low", "water_lost"),
            raised(minutes(2), "low_low", "water_lost"),
        ],
    ),
]

CASES_OF_SERIES = [*AIR, *LIGHT, *WATER, *ORDER]
