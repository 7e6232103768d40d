"""The light of each tray as the store has it: today so far, yesterday, and the level that its lamp usually burns at.

The rule of this file: it only looks at what is kept, and late readings count, too.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from typing import Any, Final

import numpy as np

from wardian.daemon.tongue import utc_text
from wardian.rules.light_days import LightDay, day_around_ms, light_days
from wardian.rules.observing.minutes import KEPT, MINUTE_MS, Minutes
from wardian.rules.observing.usual import Lamp, lamp_of
from wardian.rules.plans import TrayPlan
from wardian.rules.ports import Store
from wardian.rules.quantities import QUANTITIES
from wardian.rules.readings import Points, Series, chunk_of

#: By quantity, the light of one tray.
TrayLight = Mapping[str, Points]
_LIGHTS: Final = ("illuminance", "ppfd")


@dataclass(frozen=True, slots=True)
class LightSeen:
    """One tray's light.

    Attributes:
        yesterday: The last whole local day.
        today: The day that goes on, as far as it has come; None in its first instant.
        lux_per_umol: By which photons are made of illuminance, None where they are measured.
        lamp: The level at which the lamp usually burns, None where nothing burns as evenly as a lamp.
        share_pct: The present light as a share of that level, None where one of them is unknown.
    """

    yesterday: LightDay
    today: LightDay | None
    lux_per_umol: float | None
    lamp: Lamp | None
    share_pct: float | None

    def as_json(self) -> dict[str, Any]:
        """Return it as the status that programs read."""
        lamp = self.lamp
        return {
            "today": day_json(self.today) if self.today else None,
            "yesterday": day_json(self.yesterday),
            "lux_per_umol": self.lux_per_umol,
            "lamp_quantity": lamp.quantity if lamp else None,
            "lamp_level": lamp.level if lamp else None,
            "lamp_unit": QUANTITIES[lamp.quantity].unit if lamp else None,
            "lamp_share_pct": self.share_pct,
        }


def day_json(day: LightDay) -> dict[str, Any]:
    """Return a day's light as programs read it; photons in mol m⁻²."""
    photons = day.photons
    return {
        "date": day.day.isoformat(),
        "from": utc_text(day.from_ms),
        "to": utc_text(day.to_ms),
        "lit_h": day.lit_h,
        "dark_h": day.dark_h,
        "unknown_h": day.unknown_h,
        "photons_mol_m2": photons.measured if photons else None,
        "photons_may_add_mol_m2": photons.may_add if photons else None,
        "photons_unknown_h": photons.unknown_h if photons else None,
    }


def light_read(store: Store, from_ms: int, to_ms: int) -> Mapping[str, TrayLight]:
    """Return the light of every tray between two instants, late readings included.

    Raises:
        StoreFailed: The store cannot be read.
    """
    pieces: dict[Series, list[Points]] = {}
    late = {series for series in store.late(from_ms, to_ms) if series.quantity in _LIGHTS}
    if late:
        readings = store.readings(from_ms, to_ms)
        chunks = [chunk_of(one for one in readings if Series(one.tray, one.quantity) in late)]
    else:
        chunks = []
    for chunk in (*chunks, store.chunk(from_ms, to_ms, _LIGHTS)):
        for series, points in chunk.items():
            pieces.setdefault(series, []).append(points)
    found: dict[str, dict[str, Points]] = {}
    for series, some in pieces.items():
        joined = Points(*map(np.concatenate, zip(*some, strict=True)))
        found.setdefault(series.tray, {})[series.quantity] = joined
    return found


def lights_seen(store: Store, plans: Sequence[TrayPlan], now_ms: int, zone: tzinfo) -> dict[str, LightSeen]:
    """Return, by tray, the light of those that have any.

    Raises:
        StoreFailed: The store cannot be read.
    """
    yesterday_ms = day_around_ms(day_around_ms(now_ms, zone)[0] - 1, zone)[0]
    longest_ms = max((plan.hold_ms for plan in plans), default=0)
    from_ms = min(yesterday_ms - longest_ms, now_ms - KEPT * MINUTE_MS)
    light = light_read(store, from_ms, now_ms)
    seen = {plan.tray: _seen(light[plan.tray], plan, now_ms, zone) for plan in plans if plan.tray in light}
    return {tray: one for tray, one in seen.items() if one is not None}


def light_of_yesterday(
    store: Store, plans: Sequence[TrayPlan], now_ms: int, zone: tzinfo
) -> dict[str, LightDay]:
    """Return, by tray, the last whole local day of those that had light then.

    Raises:
        StoreFailed: The store cannot be read.
    """
    to_ms, _ = day_around_ms(now_ms, zone)
    from_ms, _ = day_around_ms(to_ms - 1, zone)
    light = light_read(store, from_ms - max((plan.hold_ms for plan in plans), default=0), to_ms)
    days = {plan.tray: light_days(light.get(plan.tray, {}), plan, (from_ms, to_ms), zone) for plan in plans}
    return {tray: some[0] for tray, some in days.items() if some and tray in light}


def _seen(light: TrayLight, plan: TrayPlan, now_ms: int, zone: tzinfo) -> LightSeen | None:
    today_ms, _ = day_around_ms(now_ms, zone)
    yesterday_ms, _ = day_around_ms(today_ms - 1, zone)
    days = light_days(light, plan, (yesterday_ms, now_ms), zone)
    if not days:
        return None
    minutes = Minutes(plan.hold_ms)
    for quantity, points in light.items():
        minutes.feed(quantity, points)
    for _ in minutes.close(now_ms):
        pass
    lamp = lamp_of(plan, minutes)
    return LightSeen(
        yesterday=days[0],
        today=days[1] if len(days) > 1 else None,
        lux_per_umol=plan.lux_per_umol,
        lamp=lamp,
        share_pct=_share_pct(light, lamp, now_ms - plan.hold_ms),
    )


def _share_pct(light: TrayLight, lamp: Lamp | None, after_ms: int) -> float | None:
    """Return the newest light as a share of the lamp's level, None where it stands no longer."""
    if lamp is None:
        return None
    times, values = light[lamp.quantity]
    newest = int(np.argmax(times))
    return 100 * float(values[newest]) / lamp.level if times[newest] > after_ms else None
