"""What is known now: the present value of everything on the bench, from what the store has kept.

The rule of this file: the same engine that judges says what is within and beyond; a value that no
longer stands is unknown, with its age, and never shown as present.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from wardian.daemon.config import Config, TraySettings
from wardian.daemon.light_seen import LightSeen, lights_seen
from wardian.daemon.tongue import utc_text
from wardian.rules.crops import Band, day_of, is_optional, stage_at
from wardian.rules.engine import Engine
from wardian.rules.ports import JournalEntry, Store
from wardian.rules.quantities import QUANTITIES
from wardian.rules.transitions import SENSOR_SILENT
from wardian.rules.tray_engine import Present
from wardian.rules.water import is_estimated

#: Readings may be stored a little ahead of our own clock.
_AHEAD_MS = 600_000
#: Of a tray that has no state yet while others have; states are saved once an hour.
_NEWEST_MS = 2 * 3_600_000
#: Where nothing was ever judged, so much up to the newest reading says how things are; a look must not read years.
_NEVER_JUDGED_MS = 2 * 86_400_000


@dataclass(frozen=True, slots=True)
class QuantityNow:
    """One quantity of one tray now; ``value`` is None when it is unknown, ``last_value`` never was."""

    name: str
    unit: str
    state: str
    value: float | None
    last_value: float | None
    age_s: float | None
    band: Band | None
    beyond: tuple[str, ...] = ()
    #: Expanded, for a level of confidence of about 95 %; None where nobody knows it.
    uncertainty: float | None = None
    #: What more it may be, for light that nobody measured.
    unseen: float = 0.0
    #: Whether it hangs on a mass that nobody weighed.
    is_estimated: bool = False
    #: By which it is made of illuminance, for photons that nobody measured.
    lux_per_umol: float | None = None

    def as_json(self) -> dict[str, Any]:
        """Return it as the status that programs read."""
        return {
            "value": self.value,
            "unit": self.unit,
            "age_s": self.age_s,
            "state": self.state,
            "low": self.band.threshold("low") if self.band else None,
            "high": self.band.threshold("high") if self.band else None,
            "low_low": self.band.threshold("low_low") if self.band else None,
            "high_high": self.band.threshold("high_high") if self.band else None,
            "last_value": self.last_value,
            "unseen": self.unseen,
            "uncertainty": self.uncertainty,
            "is_estimated": self.is_estimated,
            **({} if self.lux_per_umol is None else {"lux_per_umol": self.lux_per_umol}),
        }


@dataclass(frozen=True, slots=True)
class TrayNow:
    """One tray now."""

    name: str
    crop: str
    day: int
    stage: str | None
    quantities: tuple[QuantityNow, ...]
    alarms: tuple[Mapping[str, Any], ...]
    silent: tuple[str, ...]
    light: LightSeen | None = None

    def as_json(self) -> dict[str, Any]:
        """Return it as the status that programs read."""
        return {
            "name": self.name,
            "crop": self.crop,
            "day": self.day,
            "stage": self.stage,
            "quantities": {quantity.name: quantity.as_json() for quantity in self.quantities},
            "alarms": [dict(alarm) for alarm in self.alarms],
            "silent_sensors": list(self.silent),
            "light": self.light.as_json() if self.light else None,
        }


@dataclass(frozen=True, slots=True)
class BenchNow:
    """The whole bench at one instant."""

    time_ms: int
    trays: tuple[TrayNow, ...]
    daemon: Mapping[str, Any] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        """Return it as the status that programs read."""
        trays = [tray.as_json() for tray in self.trays]
        return {"time": utc_text(self.time_ms), "trays": trays, "daemon": dict(self.daemon)}


def bench_now(config: Config, store: Store, now_ms: int, daemon: Mapping[str, Any]) -> BenchNow:
    """Return the present state of every tray, without writing anything."""
    engine = Engine((tray.plan for tray in config.trays), store.states())
    engine.feed(store.chunk(_unjudged_from_ms(engine, store, now_ms), now_ms + _AHEAD_MS))
    engine.advance(now_ms)
    standing = store.standing()
    lights = lights_seen(store, [tray.plan for tray in config.trays], now_ms, config.site.zone)
    trays = (
        _tray_now(tray, engine.trays[tray.name].present(now_ms), standing, config, now_ms)
        for tray in config.trays
    )
    return BenchNow(now_ms, tuple(replace(tray, light=lights.get(tray.name)) for tray in trays), daemon)


def _unjudged_from_ms(engine: Engine, store: Store, now_ms: int) -> int:
    """Return from when on readings are judged for a look: those since the last state, and of a new tray the newest alone."""
    judged = [max(tray.judged_ms, 0) for tray in engine.trays.values()]
    begun = [time_ms for time_ms in judged if time_ms]
    if begun and len(begun) == len(judged):
        return min(begun)
    if begun:
        return min(*begun, now_ms - _NEWEST_MS)
    newest_ms = max((reading.time_ms for reading in store.latest().values()), default=now_ms)
    return newest_ms - _NEVER_JUDGED_MS


def _tray_now(
    tray: TraySettings,
    present: Mapping[str, Present],
    standing: Iterable[JournalEntry],
    config: Config,
    now_ms: int,
) -> TrayNow:
    stage = stage_at(tray.plan.spans, now_ms)
    bands = stage.bands if stage else {}
    names = [
        name
        for name in QUANTITIES
        if (name in present or name in bands)
        and not (is_optional(tray.plan.spans, name) and _never_read(present.get(name)))
    ]
    alarms = tuple(entry.fields for entry in standing if entry.tray == tray.name)
    return TrayNow(
        name=tray.name,
        crop=tray.crop.name,
        day=day_of(tray.stuck, config.site.zone, now_ms),
        stage=stage.name if stage else None,
        quantities=tuple(
            replace(
                _quantity_now(name, present.get(name), bands.get(name), now_ms),
                is_estimated=is_estimated(name, tray.plan.masses, now_ms),
                lux_per_umol=tray.plan.lux_per_umol if name == "daily_light_integral" else None,
            )
            for name in names
        ),
        alarms=alarms,
        silent=tuple(alarm["quantity"] for alarm in alarms if alarm["condition"] == SENSOR_SILENT),
    )


def _never_read(present: Present | None) -> bool:
    return present is None or present.last is None


def _quantity_now(name: str, present: Present | None, band: Band | None, now_ms: int) -> QuantityNow:
    last = present.last if present else None
    stands = present is not None and present.stand is not None
    beyond = present.beyond if present else ()
    value = last.for_high if last else None
    return QuantityNow(
        name=name,
        unit=QUANTITIES[name].unit,
        state=("beyond" if beyond else "within") if stands else "unknown",
        value=value if stands else None,
        last_value=value,
        age_s=(now_ms - last.from_ms) / 1000 if last else None,
        band=band,
        beyond=beyond,
        uncertainty=present.uncertainty if present else None,
        unseen=last.for_low - last.for_high if last else 0.0,
    )
