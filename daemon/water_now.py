"""Water in every tray: how much is gone, how fast it goes, and when the next watering is due.

The rule of this file: what was not seen is None, and no day is named where the limit or the rate is unknown.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

import numpy as np

from wardian.daemon.config import Config, TraySettings
from wardian.daemon.planning import with_records
from wardian.daemon.recording import remembered_cares
from wardian.daemon.tongue import utc_text
from wardian.daemon.weighing import weighings
from wardian.rules.crops import Stage, day_start_ms, stage_at
from wardian.rules.observing.balance import Weighed, quiet, seen_on_balance
from wardian.rules.observing.looks import WATERED, Care, Look
from wardian.rules.observing.minutes import KEPT, MINUTE_MS
from wardian.rules.observing.observer import Observer
from wardian.rules.plans import Masses
from wardian.rules.ports import Store
from wardian.rules.records import CARE, Record, in_force, of_tray
from wardian.rules.water import (
    HoursLeft,
    Rate,
    available_g,
    drying_pct_per_h,
    evaporation_g_per_h,
    hours_left,
    lost_pct,
    masses_at,
)

MASS: Final = "tray_mass"
MOISTURE: Final = "medium_moisture"
#: So much is read at once of what was kept: more would need much memory for a moment.
_READ_AT_ONCE_MS: Final = 6 * 3_600_000
_HOURS_A_DAY: Final = 24


class Weighing(NamedTuple):
    """What a tray was found to weigh; ``who`` says so, the configuration where that is empty."""

    masses: Masses
    who: str = ""
    record: int | None = None


@dataclass(frozen=True, slots=True)
class WaterNow:
    """Water in one tray now.

    Attributes:
        tray: Its name.
        by: What it is known by, ``tray_mass`` or ``medium_moisture``; empty where neither is read.
        value: What that shows, in its own unit; None where it is unknown now.
        masses: What the tray weighs full and dry now.
        lost_pct: Share of the water held that is gone.
        limit_pct: Of that, what it should not come to in its stage.
        rate: How fast it dries without care, in g/h by mass, else in %/h.
        left: In how many hours the limit is reached, if nobody mists.
        watered_ms: When it was watered last, as far as that was seen or recorded.
        cover_is_off: Whether the cover is off, whose weight is missing then.
        weighings: All that it was found to weigh, in order of time.
        seen: What care and the balance showed in the last three days, in order of time.
    """

    tray: str
    by: str
    value: float | None
    masses: Masses | None
    lost_pct: float | None
    limit_pct: float | None
    rate: Rate | None
    left: HoursLeft | None
    watered_ms: int | None
    cover_is_off: bool
    weighings: tuple[Weighing, ...]
    seen: tuple[Care | Weighed, ...]

    def as_json(self) -> dict[str, Any]:
        """Return it as programs read it."""
        rate, left = self.rate, self.left
        return {
            "tray": self.tray,
            "by": self.by or None,
            "value": self.value,
            "saturated_g": self.masses.saturated_g if self.masses else None,
            "dry_g": self.masses.dry_g if self.masses else None,
            "is_estimated": self.masses.is_estimated if self.masses else None,
            "available_g": available_g(self.masses.saturated_g, self.masses.dry_g) if self.masses else None,
            "lost_pct": self.lost_pct,
            "limit_pct": self.limit_pct,
            "per_h": rate._asdict() if rate else None,
            "days_left": _days(left) if left else None,
            "last_watered": utc_text(self.watered_ms) if self.watered_ms is not None else None,
            "cover_is_off": self.cover_is_off,
            "weighed": [_weighing_json(one) for one in self.weighings],
            "seen": [_seen_json(one) for one in self.seen],
        }


def _days(left: HoursLeft) -> dict[str, float | None]:
    return {name: None if hours is None else hours / _HOURS_A_DAY for name, hours in left._asdict().items()}


def _weighing_json(one: Weighing) -> dict[str, Any]:
    (from_ms, saturated_g, dry_g, is_estimated), who, record = one
    masses = {"saturated_g": saturated_g, "dry_g": dry_g, "is_estimated": is_estimated}
    return {"time": utc_text(from_ms), **masses, "who": who or None, "record": record}


def _seen_json(one: Care | Weighed) -> dict[str, Any]:
    grams = one.grams if isinstance(one, Weighed) else None
    return {"event": one.event, "from": utc_text(one.from_ms), "to": utc_text(one.to_ms), "grams": grams}


def water_now(config: Config, store: Store, now_ms: int, names: Sequence[str] = ()) -> list[WaterNow]:
    """Return the water in some trays, or in all, without writing anything."""
    records = store.records()
    planned = [one for one in with_records(config, records).trays if not names or one.name in names]
    observer = _observed(planned, store, records, now_ms)
    written = {tray.name: tray.plan.masses for tray in config.trays}
    found = []
    for tray in planned:
        own = of_tray(in_force(records), tray.name, day_start_ms(tray.stuck, config.site.zone))
        known = _weighings(written[tray.name], own)
        seen = observer.trays[tray.name]
        if seen.minutes.now_ms is None:
            found.append(_unseen(tray, known, own, now_ms))
        else:
            found.append(_of_tray(seen.look(), known, own))
    return found


def _observed(
    trays: Iterable[TraySettings], store: Store, records: Sequence[Record], now_ms: int
) -> Observer:
    """Return what the last three days show of trays, conditions left out."""
    observer = Observer((tray.plan for tray in trays), ())
    for from_ms in range(now_ms - KEPT * MINUTE_MS, now_ms + 1, _READ_AT_ONCE_MS):
        observer.feed(store.chunk(from_ms, min(from_ms + _READ_AT_ONCE_MS, now_ms + 1)))
    for tray, care in remembered_cares(records, now_ms):
        if tray in observer.trays:
            observer.record(tray, care)
    observer.advance(now_ms)
    return observer


def _weighings(written: Sequence[Masses], records: Sequence[Record]) -> tuple[Weighing, ...]:
    recorded = (
        Weighing(masses, record.who, record.number)
        for record, masses in weighings(written, records)
        if masses is not None
    )
    return (*map(Weighing, written), *recorded)


def _of_tray(look: Look, known: tuple[Weighing, ...], records: Iterable[Record]) -> WaterNow:
    masses, stage = masses_at(look.plan.masses, look.now_ms), stage_at(look.plan.spans, look.now_ms)
    by = MASS if masses and _is_read(look, MASS) else MOISTURE if _is_read(look, MOISTURE) else ""
    value = _last(look, by)
    lost, limit, rate = _lost(by, value, masses), _limit_pct(stage), _rate(look, by)
    cover_is_off = look.lift is not None and look.lift.is_off and look.lift.cover_g is not None
    left = None
    if lost is not None and limit is not None and rate and not cover_is_off:
        held = masses.saturated_g - masses.dry_g if masses and by == MASS else 100.0
        left = hours_left(held * (limit - lost) / 100, rate)
    return WaterNow(
        tray=look.plan.tray,
        by=by,
        value=value,
        masses=masses,
        lost_pct=lost,
        limit_pct=limit,
        rate=rate,
        left=left,
        watered_ms=_watered_ms(look.care, records),
        cover_is_off=cover_is_off,
        weighings=known,
        seen=tuple(sorted([*look.care, *seen_on_balance(look)], key=lambda one: one.from_ms)),
    )


def _unseen(
    tray: TraySettings, known: tuple[Weighing, ...], records: Iterable[Record], now_ms: int
) -> WaterNow:
    """Return what is known of a tray of which nothing was read."""
    stage = stage_at(tray.plan.spans, now_ms)
    return WaterNow(
        tray=tray.name,
        by="",
        value=None,
        masses=masses_at(tray.plan.masses, now_ms),
        lost_pct=None,
        limit_pct=_limit_pct(stage),
        rate=None,
        left=None,
        watered_ms=_watered_ms((), records),
        cover_is_off=False,
        weighings=known,
        seen=(),
    )


def _is_read(look: Look, quantity: str) -> bool:
    return bool(np.isfinite(look.minutes.trace(quantity, KEPT).mean).any())


def _last(look: Look, quantity: str) -> float | None:
    last = look.minutes.trace(quantity, 1).mean
    return float(last[-1]) if len(last) and np.isfinite(last[-1]) else None


def _lost(by: str, value: float | None, masses: Masses | None) -> float | None:
    if value is None:
        return None
    return lost_pct(value, masses) if masses and by == MASS else 100 - value


def _limit_pct(stage: Stage | None) -> float | None:
    """Return how much of its water a tray may lose in a stage: what is alarmed, else what its crop wants."""
    bands, aims = (stage.bands, stage.aims) if stage else ({}, {})
    if "water_lost" in bands and (most := bands["water_lost"].threshold("high")) is not None:
        return most
    if MOISTURE in bands and (least := bands[MOISTURE].threshold("low")) is not None:
        return 100 - least
    if "water_lost" in aims and (wanted := aims["water_lost"].high) is not None:
        return wanted
    least = aims[MOISTURE].low if MOISTURE in aims else None
    return None if least is None else 100 - least


def _rate(look: Look, by: str) -> Rate | None:
    trace = look.minutes.trace(by, KEPT).mean
    if by == MASS:
        return evaporation_g_per_h(trace, quiet(look, by))
    return drying_pct_per_h(trace, quiet(look, by)) if by else None


def _watered_ms(care: Iterable[Care], records: Iterable[Record]) -> int | None:
    """Return when a tray was watered last: seen in the last days, or recorded whenever that was."""
    seen = [one.from_ms for one in care if one.event == WATERED]
    recorded = [one.time_ms for one in records if one.kind == CARE and one.fields.get("event") == WATERED]
    return max([*seen, *recorded], default=None)
