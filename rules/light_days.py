"""Light day by day, as the calendar on the wall has them: lit, dark and unknown hours, and the photons of each.

The rule of this file: the days of 23 and of 25 hours are as long as they are, and what nobody measured is neither
lit nor dark.
"""

from collections.abc import Mapping
from datetime import date, timedelta, tzinfo
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np

from wardian.rules.crops import day_start_ms, local_day
from wardian.rules.judging import verdict_runs
from wardian.rules.light import MS_PER_HOUR, PHOTON_MS_PER_MOL
from wardian.rules.plans import LampRule, TrayPlan
from wardian.rules.readings import Points, Times, Values, merged

_NOTHING: Final = Points(np.empty(0, np.int64), np.empty(0, np.float64))


class Photons(NamedTuple):
    """The photons of a day [mol m⁻²]: what was measured, and what the unknown hours may add to it.

    They may add as much as the highest light of that day gives; ``may_add`` is None where none was read.
    """

    measured: float
    may_add: float | None
    unknown_h: float


class LightDay(NamedTuple):
    """One local day, or the part of it within the time asked for.

    ``photons`` is None where neither PPFD nor illuminance with a factor was read at any time.
    """

    day: date
    from_ms: int
    to_ms: int
    lit_h: float
    dark_h: float
    unknown_h: float
    photons: Photons | None


class _Standing(NamedTuple):
    """Readings as what stands from each until its hold has passed or the next comes."""

    from_ms: Times
    until_ms: Times
    values: Values

    def up_to(self, weights: Values, instants: Times) -> Values:
        """Return, for each instant, the sum before it of the weights times the ms that each stood."""
        if not len(self.from_ms):
            return np.zeros(len(instants))
        sums = np.concatenate(([0.0], np.cumsum(weights * (self.until_ms - self.from_ms))))
        edges = np.column_stack((self.from_ms, self.until_ms)).ravel()
        up_to: Values = np.interp(instants, edges, np.column_stack((sums[:-1], sums[1:])).ravel())
        return up_to

    def highest(self, from_ms: int, to_ms: int) -> float | None:
        """Return the highest value that stood at any time in a span, None where none did."""
        first = int(self.until_ms.searchsorted(from_ms, side="right"))
        last = int(self.from_ms.searchsorted(to_ms))
        return float(self.values[first:last].max()) if first < last else None


def light_days(
    light: Mapping[str, Points], plan: TrayPlan, span: tuple[int, int], zone: tzinfo
) -> list[LightDay]:
    """Return every local day of a time, the first and the last as far as they lie in it, in order.

    Args:
        light: Readings of ``illuminance`` and ``ppfd``, in any order; those from before the time say what stood at
            its beginning.
        plan: Its ``lamp`` says when the lamp is lit, its ``hold_ms`` how long a reading stands, its
            ``lux_per_umol`` whether photons are those of the illuminance.
        span: From the first instant up to the second, which is left out. [ms]
        zone: Whose days.

    Returns:
        No day at all where the plan does not say when the lamp is lit.

    Source:
        Photons: flux density times seconds, divided by 10⁶: definition, ANSI/ASABE S640 (from memory).
    """
    edges = _edges(span, zone)
    if plan.lamp is None or not edges:
        return []
    days = list(pairwise(edges))
    lamp_light = _standing(light.get(plan.lamp.quantity, _NOTHING), plan.hold_ms)
    instants = np.array(edges, dtype=np.int64)
    known_h = np.diff(lamp_light.up_to(np.ones(len(lamp_light.from_ms)), instants)) / MS_PER_HOUR
    lit_h = np.diff(lamp_light.up_to(_lit(lamp_light, plan.lamp), instants)) / MS_PER_HOUR
    photons = _photons(light, plan, days)
    return [
        LightDay(
            day=local_day(from_ms, zone),
            from_ms=from_ms,
            to_ms=to_ms,
            lit_h=float(lit_h[place]),
            dark_h=float(known_h[place] - lit_h[place]),
            unknown_h=float((to_ms - from_ms) / MS_PER_HOUR - known_h[place]),
            photons=photons[place] if photons else None,
        )
        for place, (from_ms, to_ms) in enumerate(days)
    ]


def lit_spans(points: Points, plan: TrayPlan, span: tuple[int, int]) -> list[tuple[int, int]]:
    """Return when the lamp is lit by readings of its light, between two instants [ms], in order of time.

    Nowhere where the plan does not say when it is lit.
    """
    light = _standing(points, plan.hold_ms)
    if plan.lamp is None or not len(light.from_ms):
        return []
    lit = _lit(light, plan.lamp) > 0
    from_ms, until_ms = np.maximum(light.from_ms[lit], span[0]), np.minimum(light.until_ms[lit], span[1])
    spans = zip(from_ms.tolist(), until_ms.tolist(), strict=True)
    found: list[tuple[int, int]] = []
    for begin_ms, end_ms in spans:
        if begin_ms >= end_ms:
            continue
        if found and found[-1][1] == begin_ms:
            found[-1] = (found[-1][0], end_ms)
        else:
            found.append((begin_ms, end_ms))
    return found


def day_around_ms(time_ms: int, zone: tzinfo) -> tuple[int, int]:
    """Return the first instant of the local day in which an instant lies, and that of the day after."""
    day = local_day(time_ms, zone)
    return day_start_ms(day, zone), day_start_ms(day + timedelta(days=1), zone)


def _photons(
    light: Mapping[str, Points], plan: TrayPlan, days: list[tuple[int, int]]
) -> list[Photons] | None:
    """Return the photons of each day, None where no such light was read."""
    read = light.get(plan.photon_light, _NOTHING)
    if not len(read.times_ms):
        return None
    flux = _standing(Points(read.times_ms, read.values / (plan.lux_per_umol or 1.0)), plan.hold_ms)
    instants = np.array([days[0][0], *(to_ms for _, to_ms in days)], dtype=np.int64)
    measured = np.diff(flux.up_to(flux.values, instants)) / PHOTON_MS_PER_MOL
    known_ms = np.diff(flux.up_to(np.ones(len(flux.from_ms)), instants))
    found = []
    for place, (from_ms, to_ms) in enumerate(days):
        unknown_ms = to_ms - from_ms - float(known_ms[place])
        highest = flux.highest(from_ms, to_ms)
        may_add = None if highest is None else highest * unknown_ms / PHOTON_MS_PER_MOL
        found.append(Photons(float(measured[place]), may_add, unknown_ms / MS_PER_HOUR))
    return found


def _standing(points: Points, hold_ms: int) -> _Standing:
    (times, values), _ = merged([points])
    following = np.append(times[1:], np.iinfo(np.int64).max)
    return _Standing(times, np.minimum(times + hold_ms, following), values)


def _lit(light: _Standing, lamp: LampRule) -> Values:
    """Return 1 for each reading at which the lamp is lit, 0 where it is dark."""
    if not len(light.from_ms):
        return light.values
    breaks = light.until_ms[:-1] < light.from_ms[1:]
    first, lit = verdict_runs(light.values, breaks, (lamp.lit_above, lamp.dark_at), former=False)
    lengths = np.diff(np.append(first, len(light.from_ms)))
    return np.repeat(lit, lengths).astype(np.float64)


def _edges(span: tuple[int, int], zone: tzinfo) -> list[int]:
    """Return the instants at which days begin within a span, with its ends; one that is empty has none."""
    from_ms, to_ms = span
    edges = []
    while from_ms < to_ms:
        edges.append(from_ms)
        from_ms = day_around_ms(from_ms, zone)[1]
    return [*edges, to_ms] if edges else []
