"""A configuration: what a person wrote, checked as a whole and turned into what the program uses.

The rule of this file: either everything holds, or every mistake is told at once, each with its line,
and nothing is used.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from wardian.daemon.config_alarms import read_alarms
from wardian.daemon.config_care import SECTION as CARE
from wardian.daemon.config_care import CareKeys
from wardian.daemon.config_channels import read_notifiers, read_sensors
from wardian.daemon.config_crops import Grown, may_be_nothing, read_crops
from wardian.daemon.config_models import (
    MEMORY,
    SQLITE,
    LightKeys,
    ReadingsKeys,
    SettlingKeys,
    SiteKeys,
    StoreKeys,
)
from wardian.daemon.config_notifiers import NotifierKeys
from wardian.daemon.config_outward import SECTIONS as OUTWARD
from wardian.daemon.config_outward import Outward, read_outward
from wardian.daemon.config_sensors import SensorKeys, SimulatorKeys
from wardian.daemon.config_trays import TrayPart, accuracies, read_trays
from wardian.daemon.doubts import WatchedTray, doubt
from wardian.daemon.expected import Pair, expected, needed
from wardian.daemon.library import Library, library
from wardian.daemon.written import Section, Written, described
from wardian.rules.crops import Crop, day_start_ms, due_ms, pot_ms, stage_spans
from wardian.rules.documents import Document, Parse
from wardian.rules.documents import Path as Place
from wardian.rules.errors import BadConfig, Mistake
from wardian.rules.plans import LampSchedule, TrayPlan

if TYPE_CHECKING:
    from wardian.daemon.config_people import PersonKeys

SECTIONS: Final = (
    "site",
    "store",
    "trays",
    "crops",
    "light",
    "readings",
    "settling",
    "alarms",
    "sensors",
    "notifiers",
    "people",
    CARE,
    *OUTWARD,
)
#: More than any file that can be read as a configuration.
_MOST_BYTES: Final = 1 << 20
#: Of our own time: within so much of it readings arrive, however fast a simulator's clock runs.
HURRIED_SETTLE_MS: Final = 2_000
#: So many readings of a polled sensor may fail before it counts as silent.
_POLLS_MISSED: Final = 3


@dataclass(frozen=True, slots=True)
class Site:
    """Where the trays stand; ``units`` is US or SI, for people only."""

    name: str
    zone: ZoneInfo
    units: str

    @property
    def zone_name(self) -> str:
        """The zone's name as written."""
        return self.zone.key


@dataclass(frozen=True, slots=True)
class TraySettings:
    """One tray: what the engine needs is its plan."""

    name: str
    crop: Crop
    stuck: date
    plan: TrayPlan
    settle_ms: int


@dataclass(frozen=True, slots=True)
class Config:
    """Everything a configuration says, with defaults filled in.

    Attributes:
        site: Where the trays stand.
        store_url: The store; a file in it is named from the root.
        commit_every_ms: How often readings are committed.
        store: How it is looked after.
        trays: In the order of the file.
        crops: Those in force, each with where its values are from.
        sensors: As written, defaults filled in.
        notifiers: As written, defaults filled in.
        outward: What may be asked from afar, the daily summary and the beat.
        people: As written, defaults filled in; nobody where every channel gets every alarm.
        care: When rounds are made, and whether people are reminded.
        expected: By sensor, the series (tray, quantity) that it must bring.
        warnings: What can be used but is hardly meant.
        library: Defaults and advice that are in force.
        document: What was written.
        sections: The checked keys by the place where they stand.
    """

    site: Site
    store_url: str
    commit_every_ms: int
    store: StoreKeys
    trays: tuple[TraySettings, ...]
    crops: Mapping[str, Grown]
    sensors: tuple[SensorKeys, ...]
    notifiers: tuple[NotifierKeys, ...]
    outward: Outward
    people: tuple["PersonKeys", ...]
    care: CareKeys
    expected: Mapping[str, frozenset[Pair]]
    warnings: tuple[Mistake, ...]
    library: Library
    document: Document
    sections: Mapping[Place, Section]

    @property
    def simulator(self) -> SimulatorKeys | None:
        """The simulator whose ``speed`` and ``start`` the daemon's clock follows, if there is one."""
        return _simulator(self.sensors)


@dataclass(frozen=True, slots=True)
class _Parts:
    """The parts of a configuration; None or missing where they are wrong."""

    site: SiteKeys | None
    store: StoreKeys | None
    readings: ReadingsKeys | None
    settling: SettlingKeys | None
    light: LightKeys | None
    crops: Mapping[str, Grown | None]
    trays: list[TrayPart]
    sensors: tuple[SensorKeys, ...]
    notifiers: tuple[NotifierKeys, ...]
    outward: Outward
    people: tuple["PersonKeys", ...]
    care: CareKeys | None
    library: Library


def load(path: Path, parse: Parse) -> Config:
    """Return the configuration in a file, with every default filled in.

    Args:
        path: The file; other files are named relative to its folder.
        parse: Reads its format.

    Raises:
        BadConfig: It cannot be read or used, with every mistake in it.
    """
    try:
        with path.open("rb") as file:
            data = file.read(_MOST_BYTES)
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or "no such path can be"
        raise BadConfig(str(path), [Mistake("", 1, f"cannot be read: {why}")]) from error
    return build(parse(data, str(path)), path.parent.absolute(), library(parse))


def build(document: Document, folder: Path, library_: Library) -> Config:
    """Return the configuration that a document says.

    Raises:
        BadConfig: It cannot be used, with every mistake in it.
    """
    written = Written(document)
    parts = _read(written, folder, library_) if isinstance(document.value, dict) else None
    if parts is None:
        found = "is empty" if document.value is None else f"is {described(document.value)}"
        written.mistake((), found, f"a mapping with the sections {', '.join(SECTIONS)} is accepted")
    if written.mistakes or parts is None:
        raise BadConfig(document.file, written.mistakes)
    return _assembled(written, parts, folder)


def _read(written: Written, folder: Path, library_: Library) -> _Parts:
    written.refuse_everywhere(may_be_nothing)
    written.known_keys((), SECTIONS)
    light = written.read(LightKeys, ("light",))
    crops = read_crops(written, library_)
    trays = read_trays(written, crops, light, library_)
    store = written.read(StoreKeys, ("store",))
    notifiers = read_notifiers(written, folder)
    channels = [notifier.name for notifier in notifiers]
    names = [
        name for path in written.items(("trays",)) if isinstance(name := written.at((*path, "name")), str)
    ]
    return _Parts(
        site=written.read(SiteKeys, ("site",)),
        store=store,
        readings=written.read(ReadingsKeys, ("readings",)),
        settling=written.read(SettlingKeys, ("settling",)),
        light=light,
        crops=crops,
        trays=trays,
        sensors=read_sensors(written, folder, names),
        notifiers=notifiers,
        people=_people(written),
        care=written.read(CareKeys, (CARE,)),
        outward=read_outward(written, folder, channels, int((store or StoreKeys()).commit_every)),
        library=read_alarms(written, library_),
    )


def _people(written: Written) -> tuple["PersonKeys", ...]:
    """Return the people who are told; what is known of them is loaded only where there are any."""
    if written.at(("people",)) is None:
        return ()
    from wardian.daemon.config_people import read_people

    return read_people(written)


# ----------------------------------------------------------------------------------- assembling


def _assembled(written: Written, parts: _Parts, folder: Path) -> Config:
    assert parts.site is not None
    assert parts.store is not None
    plans = [_plan(parts, part) for part in parts.trays]
    by_tray = {
        plan.tray: needed(_crop(parts, part), plan) for part, plan in zip(parts.trays, plans, strict=True)
    }
    brought = {sensor.name: expected(sensor, by_tray) for sensor in parts.sensors}
    trays = tuple(_tray(parts, *of_tray, brought) for of_tray in zip(parts.trays, plans, strict=True))
    watched = [
        WatchedTray(part.path, tray.crop, tray.plan) for part, tray in zip(parts.trays, trays, strict=True)
    ]
    doubt(written, watched, parts.sensors, brought)
    return Config(
        site=Site(parts.site.name, parts.site.timezone, parts.site.units),
        store_url=_located(parts.store.url, folder),
        commit_every_ms=int(parts.store.commit_every),
        store=parts.store,
        trays=trays,
        crops={name: grown for name, grown in parts.crops.items() if grown is not None},
        sensors=parts.sensors,
        notifiers=parts.notifiers,
        outward=parts.outward,
        people=parts.people,
        care=parts.care if parts.care and written.at((CARE,)) is not None else CareKeys(remind=False),
        expected=brought,
        warnings=tuple(sorted(written.warnings, key=lambda warning: warning.line)),
        library=parts.library,
        document=written.document,
        sections=written.sections,
    )


def _located(url: str, folder: Path) -> str:
    return url if url == MEMORY else SQLITE + str(folder / url.removeprefix(SQLITE))


def _crop(parts: _Parts, tray: TrayPart) -> Crop:
    grown = parts.crops[tray.keys.crop]
    assert grown is not None
    return grown.crop


def _tray(
    parts: _Parts, part: TrayPart, plan: TrayPlan, brought: Mapping[str, frozenset[Pair]]
) -> TraySettings:
    plan = replace(plan, silent_after_ms=dict(_silences(parts, part, brought, plan.hold_ms)))
    return TraySettings(plan.tray, _crop(parts, part), part.keys.stuck, plan, _settle_ms(parts, part))


def _plan(parts: _Parts, part: TrayPart) -> TrayPlan:
    """Return how a tray is judged, but for the silence of its sensors."""
    assert parts.site is not None
    assert parts.readings is not None
    assert parts.settling is not None
    keys, crop = part.keys, _crop(parts, part)
    masses = keys.mass.masses(day_start_ms(keys.stuck, parts.site.timezone))
    offset_k = parts.readings.leaf_offset if keys.readings.leaf_offset is None else keys.readings.leaf_offset
    return TrayPlan(
        tray=keys.name,
        spans=stage_spans(crop, keys.stuck, parts.site.timezone),
        hold_ms=int(keys.readings.hold or parts.readings.hold),
        lamp=part.lamp,
        accuracies=accuracies(keys.readings.accuracy, parts.readings.accuracy, parts.library),
        schedule=LampSchedule(*part.lamp_day, parts.site.timezone) if part.lamp_day else None,
        settling_ms={name: int(getattr(parts.settling, name)) for name in SettlingKeys.model_fields},
        due_ms=due_ms(crop, keys.stuck, parts.site.timezone),
        overdue_ms=pot_ms(crop, keys.stuck, parts.site.timezone),
        figures=parts.library.watched_figures(),
        masses=(masses,) if masses else (),
        is_dry=crop.is_dry,
        retakes_mass=keys.mass.retake,
        lux_per_umol=part.lux_per_umol,
        zone=parts.site.timezone,
        leaf_offset_k=None if offset_k is None else float(offset_k),
    )


def _silences(
    parts: _Parts, part: TrayPart, brought: Mapping[str, frozenset[Pair]], hold_ms: int
) -> Iterator[tuple[str, int]]:
    """Yield how long each series that a sensor must bring may be unknown."""
    assert parts.readings is not None
    own, site = part.keys.readings.silent_after, parts.readings.silent_after
    written = site if own is None else own
    for sensor in parts.sensors:
        every_ms = int(getattr(sensor, "every", 0))
        for _, quantity in sorted(pair for pair in brought[sensor.name] if pair[0] == part.keys.name):
            least_ms = parts.library.defaults[quantity].silent_after_ms
            patient_ms = max(least_ms, _POLLS_MISSED * every_ms - hold_ms)
            yield quantity, patient_ms if written is None else int(written)


def _settle_ms(parts: _Parts, part: TrayPart) -> int:
    """Return how long is waited for readings; longer where a simulator hurries the clock."""
    assert parts.readings is not None
    own, site = part.keys.readings.settle, parts.readings
    if own is not None:
        return int(own)
    simulator = _simulator(parts.sensors)
    if simulator is None or simulator.speed == 1 or "settle" in site.model_fields_set:
        return int(site.settle)
    return max(int(site.settle), round(simulator.speed * HURRIED_SETTLE_MS))


def _simulator(sensors: tuple[SensorKeys, ...]) -> SimulatorKeys | None:
    return next((sensor for sensor in sensors if isinstance(sensor, SimulatorKeys)), None)
