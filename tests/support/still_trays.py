"""Trays whose every minute is written by hand: what was seen of them, and the crop they are held against."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import UTC, date
from typing import Final

import numpy as np

from wardian.rules.batches import Batch
from wardian.rules.crops import Aim, Crop, Stage, day_start_ms, due_ms, stage_spans
from wardian.rules.observing.looks import Care
from wardian.rules.plans import LampRule, TrayPlan
from wardian.rules.postmortem.gathering import Column, Seen
from wardian.rules.postmortem.ground import Case, Ground
from wardian.rules.readings import Values

TRAY: Final = "tray-a"
STUCK: Final = date(2026, 3, 2)
BEGIN_MS: Final = day_start_ms(STUCK, UTC)
MINUTE_MS: Final = 60_000
HOUR: Final = 60
DAY: Final = 24 * HOUR

_WARM: Final = {
    "medium_temperature": Aim(21.0, 25.0),
    "relative_humidity": Aim(88.0, 99.9),
    "vapour_pressure_deficit": Aim(None, 0.4),
    "light_hours": Aim(16.0, 19.0),
}
_TONING: Final = {"medium_temperature": Aim(18.0, 21.0), "relative_humidity": Aim(60.0, 80.0)}
CROP: Final = Crop(
    "coleus",
    (Stage("callusing", 0, aims=_WARM), Stage("rooting", 7, aims=_WARM), Stage("toning", 15, aims=_TONING)),
    due_day=14,
    stick_within_h=4.0,
    warmth_base_c=10.0,
)
LAMP: Final = LampRule("illuminance", 1000.0, 900.0)


def plan_of(crop: Crop = CROP) -> TrayPlan:
    return TrayPlan(
        TRAY, stage_spans(crop, STUCK, UTC), 5 * MINUTE_MS, lamp=LAMP, due_ms=due_ms(crop, STUCK, UTC)
    )


def healthy(days: int) -> dict[str, Values]:
    """Return minutes of a tray in which everything is as it should be: lit from 5 to 23, dry for a while at noon."""
    minute = np.arange(days * DAY) % DAY
    humidity = np.where((minute >= 12 * HOUR) & (minute < 12 * HOUR + 20), 80.0, 95.0)
    return {
        "air_temperature": np.full(days * DAY, 23.0),
        "medium_temperature": np.full(days * DAY, 23.0),
        "relative_humidity": humidity,
        "illuminance": np.where((minute >= 5 * HOUR) & (minute < 23 * HOUR), 5500.0, 0.0),
        "tray_mass": np.full(days * DAY, 3000.0),
    }


def ground(
    minutes: Mapping[str, Values],
    *,
    care: Iterable[Care] = (),
    cover_off: Values | None = None,
    plan: TrayPlan | None = None,
    crop: Crop = CROP,
    batch: Batch | None = None,
) -> Ground:
    """Return what was seen of a tray beside what its crop wants; every minute of it moves."""
    count = len(next(iter(minutes.values())))
    columns = {name: Column(values, np.ones(count, dtype=np.bool_)) for name, values in minutes.items()}
    off = np.zeros(count, dtype=np.bool_) if cover_off is None else cover_off.astype(np.bool_)
    seen = Seen((BEGIN_MS, BEGIN_MS + count * MINUTE_MS), columns, tuple(care), off, count * len(columns))
    return Ground(Case(plan or plan_of(crop), crop, UTC, batch), seen)


def put(minutes: dict[str, Values], quantity: str, part: slice, value: float) -> dict[str, Values]:
    """Return minutes with one quantity otherwise for a part of the time."""
    values = minutes[quantity].copy()
    values[part] = value
    return {**minutes, quantity: values}


def stuck_at(grown: Ground, quantity: str, part: slice) -> Ground:
    """Return the same ground in which one probe did not move for a part of the time."""
    column = grown.seen.columns[quantity]
    moved = column.moved.copy()
    moved[part] = False
    columns = {**grown.seen.columns, quantity: Column(column.mean, moved)}
    return Ground(grown.case, replace(grown.seen, columns=columns))
