"""The keys of a configuration about the site, its trays and its crops, with defaults and their reasons.

Sensors and notifiers are in ``config_wires.py``. A check here sees one key alone; what keys mean
together is checked where they are put together.
"""

from typing import Annotated, Any, Final, Literal, Self

from pydantic import Field, PlainValidator, model_validator

from wardian.daemon.config_masses import MassKeys
from wardian.daemon.config_store import BackupKeys, KeepKeys
from wardian.daemon.config_types import (
    NAME_ACCEPTS,
    SENTENCE_ACCEPTS,
    TIME,
    AnyDuration,
    ClockTime,
    Day,
    DayNumber,
    DayPair,
    Duration,
    Exact,
    ExactDifference,
    HumidityAccuracy,
    LeafOffset,
    LightDifference,
    LightLimit,
    LuxPerUmol,
    Name,
    NumberPair,
    Sentence,
    SetPoint,
    SomeTime,
    TemperatureAccuracy,
    Text,
    Zone,
)
from wardian.daemon.written import Section, key, wrong
from wardian.rules.documents import shown

SQLITE: Final = "sqlite:///"
#: Keeps nothing longer than the program runs.
MEMORY: Final = "memory:"
#: What the key ``accuracy`` accepts.
ACCURATE: Final = "a mapping such as {air_temperature: 0.3 K, relative_humidity: 3 %}"
#: What the key ``leaf_offset`` accepts.
LEAF_WARMER: Final = "how much warmer leaves are than the air, such as 1 K,"

#: What days after sticking accept, mistings a day, and nitrogen in the water.
DAYS: Final = "a whole number of days after sticking, 0 to 3650,"
MISTINGS: Final = "a list of two numbers a day such as [2, 3]"
FEED: Final = "a list of two numbers of mg/l such as [50, 75]"


def _store_url(value: Any) -> str:
    if value == MEMORY:
        return MEMORY
    if not isinstance(value, str) or not value.startswith(SQLITE):
        # What else stands here may hold a password.
        raise wrong("is no store that is known")
    file = value.removeprefix(SQLITE)
    if not file.strip() or file.startswith(":") or "?" in file or "\0" in file:
        raise wrong(f"{shown(value)} names no file of its own")
    return value


class SiteKeys(Section):
    """Where the trays stand."""

    name: Name = key(NAME_ACCEPTS, "site", "only shown to people")
    timezone: Zone = key("a time zone such as Europe/Lisbon")
    units: Literal["US", "SI"] = key("US or SI", "SI", "for people only; everything is kept in SI")


class StoreKeys(Section):
    """Where everything is kept."""

    url: Annotated[str, PlainValidator(_store_url)] = key(
        "sqlite:///FILE, relative to this file or from the root with a fourth slash, or memory:,",
        "sqlite:///wardian.db",
        "one file beside the configuration is enough for one board",
    )
    commit_every: SomeTime = key(
        TIME,
        Duration(10_000),
        "a memory card wears out by commits; ten seconds is the most that is lost with the power",
    )
    backup: BackupKeys = key("a mapping such as {at: 03:30, folder: backups, keep: 3}", BackupKeys())
    keep: KeepKeys = key("a mapping such as {readings: 400 d}", KeepKeys())


class LightKeys(Section):
    """When a lamp counts as lit, and what lamp it is; lit_above is of the light that its unit means."""

    lit_above: LightLimit | None = key("a light with its unit, such as 1000 lx or 20 umol/m2/s", None)
    lit_deadband: LightDifference | None = key("a light such as 100 lx", None)
    on: ClockTime | None = key("when the lamp is switched on, such as 05:00,", None)
    off: ClockTime | None = key("when the lamp is switched off, such as 23:00,", None)

    lamp: Text | None = key("the kind of lamp, one of those that `wardian lamps` lists,", None)
    lux_per_umol: LuxPerUmol | None = key(
        "the lux of one µmol m⁻² s⁻¹ of the lamp's light, such as 70,", None
    )

    @model_validator(mode="after")
    def _is_on_for_a_while(self) -> Self:
        if (self.on is None) != (self.off is None):
            raise wrong("says half a lamp's day", "both `on` and `off` are accepted, or neither")
        if self.on is not None and self.on == self.off:
            raise wrong("is on and off at one time", "two times of the day are accepted")
        if self.lamp is not None and self.lux_per_umol is not None:
            raise wrong("has a lamp and a factor of its own", "`lamp` is accepted, or `lux_per_umol` instead")
        return self


class AccuracyKeys(Section):
    """How far a sensor's reading may be off, as its data sheet says: what is derived from humidity needs it."""

    air_temperature: TemperatureAccuracy | None = key("a difference such as 0.3 K", None)
    leaf_temperature: TemperatureAccuracy | None = key("a difference such as 0.5 K", None)
    relative_humidity: HumidityAccuracy | None = key("a difference such as 3 %", None)


class ReadingsKeys(Section):
    """How long a reading stands, and how long is waited for others."""

    hold: SomeTime = key(TIME, Duration(300_000), "a sensor that spoke within five minutes is believed")
    settle: AnyDuration = key(
        TIME, Duration(5_000), "readings of one instant take a few seconds to arrive, in any order"
    )
    silent_after: AnyDuration | None = key(TIME, None, "by quantity, as the crop library says")
    accuracy: AccuracyKeys = key(ACCURATE, AccuracyKeys())
    leaf_offset: LeafOffset | None = key(LEAF_WARMER, None)


class SettlingKeys(Section):
    """For how long after care nobody is told what it does to a tray; care in the traces, or recorded."""

    lifted: AnyDuration = key(TIME, Duration(2_700_000), "an airing mends within 45 min, by common practice")
    misted: AnyDuration = key(TIME, Duration(2_700_000), "mist dries off within 45 min, by common practice")
    watered: AnyDuration = key(
        TIME, Duration(5_400_000), "cold water chills the medium for an hour or longer; 90 min, from memory"
    )


class AdviceKeys(Section):
    """What one alarm is to say otherwise than the library."""

    priority: Literal["low", "medium", "high"] | None = key("low, medium or high", None)
    cause: Sentence | None = key(SENTENCE_ACCEPTS, None)
    consequence: Sentence | None = key(SENTENCE_ACCEPTS, None)
    action: Sentence | None = key(SENTENCE_ACCEPTS, None)
    within: Sentence | None = key(f"{SENTENCE_ACCEPTS}, such as within 2 h,", None)
    latch: bool | None = key("true or false", None)


class ConditionKeys(AdviceKeys):
    """The same for a condition of the traces, which may be left unwatched and has figures of its own."""

    watch: bool | None = key("true or false", None)
    figures: Any = key("a mapping of figures by name", None)


class TrayReadingsKeys(Section):
    """What one tray has otherwise than the site."""

    hold: SomeTime | None = key(TIME, None, "as site-wide")
    settle: AnyDuration | None = key(TIME, None, "as site-wide")
    silent_after: AnyDuration | None = key(TIME, None, "as site-wide")
    accuracy: AccuracyKeys = key(ACCURATE, AccuracyKeys(), "as site-wide")
    leaf_offset: LeafOffset | None = key(LEAF_WARMER, None, "as site-wide")


class TrayKeys(Section):
    """One tray."""

    name: Name = key(NAME_ACCEPTS)
    crop: Text = key("the name of one of the crops")
    stuck: Day = key("the day the cuttings went in, such as 2026-03-02,")
    light: LightKeys = key("a mapping such as {lamp: white LED 4000 K}", LightKeys(), "as site-wide")
    readings: TrayReadingsKeys = key(
        "a mapping such as {hold: 10 min, leaf_offset: 1 K}", TrayReadingsKeys(), "as site-wide"
    )
    mass: MassKeys = key("saturated, dry or volume, and retake", MassKeys())


class CropKeys(Section):
    """One crop; its stages are read one by one."""

    like: Text | None = key("the name of a crop that it takes after", None)
    stages: Any = key("a list with at least one stage", None)
    due: DayNumber | None = key(DAYS, None)
    roots: DayPair | None = key("a list of two days after sticking such as [5, 10]", None)
    pot: DayNumber | None = key(DAYS, None)
    feed_from: DayNumber | None = key(DAYS, None)
    dry: bool | None = key("true or false", None)
    eaten: bool | None = key("true or false", None)
    stick_within: SomeTime | None = key("a duration such as 4 h", None)
    warmth_base: SetPoint | None = key("a temperature such as 10 °C", None)
    notes: tuple[Sentence, ...] | None = Field(
        None, strict=False, description=f"a list of sentences, each {SENTENCE_ACCEPTS},"
    )


class StageKeys(Section):
    """One stage of a crop; its bands and aims are read one by one."""

    name: Name = key(NAME_ACCEPTS)
    from_day: DayNumber = key(DAYS)
    bands: Any = key("quantities with their limits", None)
    aims: Any = key("quantities with what is aimed at", None)
    mistings: NumberPair | None = key(MISTINGS, None)
    feed_mg_l: NumberPair | None = key(FEED, None)


class StageChangeKeys(Section):
    """What one stage has otherwise than that of the crop it takes after."""

    from_day: DayNumber | None = key(DAYS, None)
    bands: Any = key("quantities with their limits", None)
    aims: Any = key("quantities with what is aimed at", None)
    mistings: NumberPair | None = key(MISTINGS, None)
    feed_mg_l: NumberPair | None = key(FEED, None)


class AimKeys(Section):
    """What is aimed at of one quantity, in its own unit; read with the dimension of the quantity as context."""

    low: Exact | None = key("a number, with or without a unit,", None)
    high: Exact | None = key("a number, with or without a unit,", None)


class BandKeys(Section):
    """One band in its quantity's own unit; read with the dimension of the quantity as context."""

    low_low: Exact | None = key("a number, with or without a unit,", None)
    low: Exact | None = key("a number, with or without a unit,", None)
    high: Exact | None = key("a number, with or without a unit,", None)
    high_high: Exact | None = key("a number, with or without a unit,", None)
    deadband: ExactDifference | None = key("a difference of 0 or more", None)
    on_delay: AnyDuration | None = key(TIME, None)
    off_delay: AnyDuration | None = key(TIME, None)
