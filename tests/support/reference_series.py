"""Which value stands when: what was measured and what is derived from it, one scalar at a time."""

import math
from collections.abc import Callable, Sequence
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from wardian.rules.plans import TrayPlan
from wardian.rules.readings import Reading

HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS
NEVER_MS = 2**62


class Standing(NamedTuple):
    """A value that stands from one instant (included) until another (excluded)."""

    from_ms: int
    until_ms: int
    value: float


def standing_at(series: Sequence[Standing], at_ms: int) -> Standing | None:
    """Return what stands at an instant, or None where the value is unknown."""
    return next((one for one in series if one.from_ms <= at_ms < one.until_ms), None)


def measured_series(plan: TrayPlan, readings: Sequence[Reading], end_ms: int) -> dict[str, list[Standing]]:
    """Return what stands for each measured quantity of one tray."""
    accepted: dict[str, dict[int, float]] = {}
    for reading in readings:
        if reading.tray == plan.tray and reading.time_ms <= end_ms:
            # The first of a repeated time stands.
            accepted.setdefault(reading.quantity, {}).setdefault(reading.time_ms, _as_judged(reading))
    return {quantity: _held(by_time, plan.hold_ms) for quantity, by_time in accepted.items()}


def _as_judged(reading: Reading) -> float:
    if reading.quantity == "relative_humidity" and reading.value > 100:
        return 100.0
    return reading.value


def _held(by_time: dict[int, float], hold_ms: int) -> list[Standing]:
    times = [*sorted(by_time), NEVER_MS]
    return [Standing(now, min(later, now + hold_ms), by_time[now]) for now, later in pairwise(times)]


def series_for(
    plan: TrayPlan, measured: dict[str, list[Standing]], quantity: str, *, is_low: bool
) -> list[Standing]:
    """Return what is judged for a quantity; ``is_low`` says for which side, where that matters."""
    if quantity == "light_hours":
        return _light_hours(plan, measured, is_low=is_low)
    if quantity == "daily_light_integral":
        return _daily_light_integral(_photon_flux(plan, measured), is_low=is_low)
    if quantity == "water_lost":
        return _water_lost(plan, measured.get("tray_mass", []))
    if quantity in AIR_FORMULAS:
        inputs, formula = air_formula(plan, quantity)
        return _derived([measured.get(name, []) for name in inputs], formula)
    return measured.get(quantity, [])


# Air.


def _e_s_hpa(t: float) -> float:
    # Magnus form of WMO-No. 8, over water.
    return 6.112 * math.exp(17.62 * t / (243.12 + t))


def _vpd_kpa(t: float, rh: float) -> float:
    return _e_s_hpa(t) * (1 - rh / 100) / 10


def _leaf_vpd_kpa(t_leaf: float, t_air: float, rh: float) -> float:
    return (_e_s_hpa(t_leaf) - rh / 100 * _e_s_hpa(t_air)) / 10


def _dew_point_c(t: float, rh: float) -> float:
    if rh == 0:
        return math.nan  # air without any vapour has no dew point
    x = math.log(rh / 100 * _e_s_hpa(t) / 6.112)
    return 243.12 * x / (17.62 - x)


AIR_FORMULAS: dict[str, tuple[tuple[str, ...], Callable[..., float]]] = {
    "vapour_pressure_deficit": (("air_temperature", "relative_humidity"), _vpd_kpa),
    "leaf_vapour_pressure_deficit": (
        ("leaf_temperature", "air_temperature", "relative_humidity"),
        _leaf_vpd_kpa,
    ),
    "dew_point": (("air_temperature", "relative_humidity"), _dew_point_c),
}


def air_formula(plan: TrayPlan, quantity: str) -> tuple[tuple[str, ...], Callable[..., float]]:
    """Return the inputs and the formula by which a tray's air is derived."""
    offset_k = plan.leaf_offset_k
    if quantity == "leaf_vapour_pressure_deficit" and offset_k is not None:
        return ("air_temperature", "relative_humidity"), lambda t, rh: _leaf_vpd_kpa(t + offset_k, t, rh)
    return AIR_FORMULAS[quantity]


def _derived(inputs: list[list[Standing]], formula: Callable[..., float]) -> list[Standing]:
    """A value at each input reading at which all inputs are known, until the next or an unknown."""
    values: dict[int, float] = {}
    for now_ms in sorted({one.from_ms for series in inputs for one in series}):
        known = [standing_at(series, now_ms) for series in inputs]
        if None not in known:
            values[now_ms] = formula(*(one.value for one in known if one is not None))
    times = [*values, NEVER_MS]
    return [
        Standing(now, min(later, *(_unknown_from(series, now) for series in inputs)), values[now])
        for now, later in pairwise(times)
        if not math.isnan(values[now])
    ]


def _unknown_from(series: list[Standing], at_ms: int) -> int:
    """Return the first instant from here on at which nothing stands."""
    standing = standing_at(series, at_ms)
    while standing is not None:
        at_ms = standing.until_ms
        standing = standing_at(series, at_ms)
    return at_ms


# Water.


def _water_lost(plan: TrayPlan, mass: list[Standing]) -> list[Standing]:
    """At each reading of the mass from the first weighing on: the share of the held water that is gone."""
    lost = []
    for one in mass:
        for masses in plan.masses:
            if masses.from_ms <= one.from_ms:
                held_g, gone_g = masses.saturated_g - masses.dry_g, masses.saturated_g - one.value
                value = float(100 * Fraction(gone_g) / Fraction(held_g))
        if plan.masses and plan.masses[0].from_ms <= one.from_ms:
            lost.append(one._replace(value=value))
    return lost


# Light.


def _light_hours(plan: TrayPlan, measured: dict[str, list[Standing]], *, is_low: bool) -> list[Standing]:
    """At each light reading: the hours lit in the trailing day, for a low limit with those unseen."""
    if plan.lamp is None:
        return []
    light = measured.get(plan.lamp.quantity, [])
    lit: list[Standing] = []
    is_lit = False  # before any reading: dark
    hours = []
    for one in light:
        if one.value > plan.lamp.lit_above:
            is_lit = True
        elif one.value <= plan.lamp.dark_at:
            is_lit = False
        if is_lit:
            lit.append(one)
        lit_ms = sum(_within_day(other, one.from_ms) for other in lit)
        judged_ms = lit_ms + _unseen_ms(light, one.from_ms) if is_low else lit_ms
        hours.append(one._replace(value=judged_ms / HOUR_MS))
    return hours


class _Flux(NamedTuple):
    """Photon flux density that stands, exact. [umol/m2/s]"""

    from_ms: int
    until_ms: int
    value: Fraction


def _photon_flux(plan: TrayPlan, measured: dict[str, list[Standing]]) -> list[_Flux]:
    """Return the flux whose photons count: of the illuminance where the lamp has a factor, else as measured."""
    if plan.lux_per_umol is None:
        return [_Flux(*one[:2], Fraction(one.value)) for one in measured.get("ppfd", [])]
    factor = Fraction(plan.lux_per_umol)
    return [_Flux(*one[:2], Fraction(one.value) / factor) for one in measured.get("illuminance", [])]


def _daily_light_integral(light: list[_Flux], *, is_low: bool) -> list[Standing]:
    """At each reading: mol/m2 in the trailing day, for a low limit with the unseen at its brightest."""
    integrals = []
    for one in light:
        t = one.from_ms
        # Exact until the one rounding at the end. [umol/m2/s times ms]
        total = sum((other.value * _within_day(other, t) for other in light), Fraction(0))
        if is_low:
            in_window = [other.value for other in light if other.until_ms > t - DAY_MS and other.from_ms <= t]
            total += max(in_window) * _unseen_ms(light, t)
        integrals.append(Standing(one.from_ms, one.until_ms, float(total / 1000 / 1_000_000)))
    return integrals


def _within_day(one: Standing | _Flux, t: int) -> int:
    """Return how long something stood within the 24 h that end at t. [ms]"""
    return max(0, min(one.until_ms, t) - max(one.from_ms, t - DAY_MS))


def _unseen_ms(light: Sequence[Standing | _Flux], t: int) -> int:
    return DAY_MS - sum(_within_day(one, t) for one in light)
