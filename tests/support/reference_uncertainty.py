"""How uncertain each value of a journal is, one entry at a time, with derivatives written in another way."""

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

from reference_series import AIR_FORMULAS, Standing, air_formula

from wardian.rules.plans import TrayPlan
from wardian.rules.transitions import RAISED, Transition


def with_uncertainty(
    plan: TrayPlan, measured: Mapping[str, Sequence[Standing]], changes: Iterable[Transition]
) -> Iterator[Transition]:
    """Yield the changes of one limit, in order of time, with how uncertain their values are.

    What a value was derived from is what was last read; an alarm stays in doubt until its return.
    """
    in_doubt = False
    for one in changes:
        uncertainty = None if one.value is None else _expanded(plan, measured, one.quantity, one.time_ms)
        if one.event == RAISED:
            assert one.value is not None
            assert one.threshold is not None
            in_doubt = uncertainty is not None and abs(one.value - one.threshold) < uncertainty
        yield one._replace(uncertainty=uncertainty, in_doubt=in_doubt)


def _expanded(
    plan: TrayPlan, measured: Mapping[str, Sequence[Standing]], quantity: str, at_ms: int
) -> float | None:
    if quantity not in SLOPES:
        return None
    names, _ = air_formula(plan, quantity)
    if any(name not in plan.accuracies for name in names):
        return None
    values = [[one.value for one in measured[name] if one.from_ms <= at_ms][-1] for name in names]
    if quantity == "dew_point" and values[-1] == 0:
        return None
    # A half-width a of a rectangle has a variance of a² / 3; the coverage factor is 2.
    variances = [plan.accuracies[name] ** 2 / 3 for name in names]
    pairs = zip(_slopes(plan, quantity, values), variances, strict=True)
    return 2 * math.sqrt(sum(slope**2 * variance for slope, variance in pairs))


def _slopes(plan: TrayPlan, quantity: str, values: Sequence[float]) -> tuple[float, ...]:
    if quantity == "leaf_vapour_pressure_deficit" and plan.leaf_offset_k is not None:
        # A leaf that follows the air errs with it: one slope for both, the offset itself taken as it is said.
        t, rh = values
        by_leaf, by_air, by_humidity = _leaf_vpd_slopes(t + plan.leaf_offset_k, t, rh)
        return by_leaf - by_air, by_humidity
    return SLOPES[quantity](*values)


def _e_s_kpa(t: float) -> float:
    return 0.6112 * math.exp(17.62 * t / (243.12 + t))


def _e_s_slope(t: float) -> float:
    # The derivative of the exponent by the quotient rule.
    return _e_s_kpa(t) * (17.62 * (243.12 + t) - 17.62 * t) / (243.12 + t) ** 2


def _vpd_slopes(t: float, rh: float) -> tuple[float, ...]:
    return _e_s_slope(t) * (1 - rh / 100), _e_s_kpa(t) / 100


def _leaf_vpd_slopes(t_leaf: float, t_air: float, rh: float) -> tuple[float, ...]:
    return _e_s_slope(t_leaf), _e_s_slope(t_air) * rh / 100, _e_s_kpa(t_air) / 100


def _dew_point_slopes(t: float, rh: float) -> tuple[float, ...]:
    # Of e_s(dew point) = rh / 100 · e_s(t), both sides.
    _, dew_point = AIR_FORMULAS["dew_point"]
    at_dew_point = _e_s_slope(dew_point(t, rh))
    return _e_s_slope(t) * rh / 100 / at_dew_point, _e_s_kpa(t) / 100 / at_dew_point


SLOPES: dict[str, Callable[..., tuple[float, ...]]] = {
    "vapour_pressure_deficit": _vpd_slopes,
    "leaf_vapour_pressure_deficit": _leaf_vpd_slopes,
    "dew_point": _dew_point_slopes,
}
