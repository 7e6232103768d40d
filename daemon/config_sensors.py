"""The keys of sensors, kind by kind, with defaults and their reasons.

Which part of the program fulfils a kind is known to the wiring alone.
"""

import re
from pathlib import Path, PurePosixPath
from typing import Annotated, Any, Final, Literal, Self, TypeAlias

from pydantic import BeforeValidator, PlainValidator, model_validator

from wardian.daemon.config_brokers import FILE, BrokerKeys
from wardian.daemon.config_types import (
    NAME_ACCEPTS,
    TIME,
    AnyDuration,
    ClockTime,
    Duration,
    FaultName,
    FilePath,
    InstantMs,
    Measured,
    Name,
    PollEvery,
    Seed,
    SetPoint,
    SomeTime,
    Speed,
    Text,
)
from wardian.daemon.written import LIST, SOME, Section, described, key, wrong
from wardian.rules.documents import shown

#: Says of a SenML name that it is known and of no interest.
IGNORED: Final = "ignore"
_PLACEHOLDERS: Final = ("{tray}", "{quantity}")
_POINTER: Final = re.compile(r"(?:/(?:[^~/]|~[01])*)*")
_LONGEST_TOPIC_BYTES: Final = 65_535


class ExpectedKeys(Section):
    """One series that a sensor must bring."""

    tray: Text = key("the name of one of the trays")
    quantity: Measured = key("a measured quantity")


def _topic(value: Any) -> str:
    if not isinstance(value, str) or not 0 < len(value.encode(errors="replace")) <= _LONGEST_TOPIC_BYTES:
        raise wrong(f"is {described(value)}")
    levels = value.split("/")
    for level in levels:
        is_lonely = level in ("+", "#", *_PLACEHOLDERS)
        if not is_lonely and any(sign in level for sign in "+#{}\0"):
            raise wrong(
                f"has the level {shown(level)}", "+, #, {tray} and {quantity} each fill a whole level"
            )
    if "#" in levels[:-1]:
        raise wrong("has # before its end", "# is accepted as the last level only")
    if any(levels.count(name) > 1 for name in _PLACEHOLDERS):
        raise wrong("has a placeholder twice", "{tray} and {quantity} once each are accepted")
    return value


def _pointer(value: Any) -> str:
    if not isinstance(value, str) or not _POINTER.fullmatch(value):
        raise wrong(
            f"is {described(value)}", 'a JSON pointer (RFC 6901) such as "/air/temperature" is accepted'
        )
    return value


Pointer = Annotated[str, PlainValidator(_pointer)]


class TargetKeys(Section):
    """Which series a value belongs to; what is absent is told by the topic or by the value's own name."""

    tray: Text | None = key("the name of one of the trays", None, "as the topic or the name says")
    quantity: Measured | None = key("a measured quantity", None, "as the topic or the name says")
    unit: Text | None = key("a unit of the quantity", None, "the quantity's own unit")


def _spelled_out(value: Any) -> Any:
    """Return what a short target means: a quantity alone, or a name to be left alone."""
    return None if value == IGNORED else {"quantity": value} if isinstance(value, str) else value


class SubscriptionKeys(TargetKeys):
    """One topic of a broker and what its messages mean."""

    topic: Annotated[str, PlainValidator(_topic)] = key("a topic such as class/{tray}/{quantity}")
    payload: Literal["number", "senml", "json"] = key("number, senml or json")
    pointers: dict[Measured, Pointer] | None = key("quantities with a JSON pointer each", None)
    units: dict[Measured, Text] | None = key("quantities with a unit each", None, "each quantity's own unit")
    names: dict[Text, Annotated[TargetKeys | None, BeforeValidator(_spelled_out)]] | None = key(
        f"SenML names, each with a quantity, a mapping of tray, quantity and unit, or {IGNORED}", None
    )
    time: Pointer | None = key('a JSON pointer (RFC 6901) such as "/time"', None, "the time of arrival")
    time_form: Literal["rfc3339", "unix_s", "unix_ms"] = key(
        "rfc3339, unix_s or unix_ms", "rfc3339", "the only form that says what it is"
    )

    @model_validator(mode="after")
    def _says_what_it_means(self) -> Self:
        self._refuse_foreign_keys()
        targets = self.targets
        if not targets:
            needed = "names" if self.payload == "senml" else "pointers"
            raise wrong(f"has no {needed}", f"payload {self.payload} needs {needed}")
        self._refuse_shared_pointers()
        if self.tray is not None and "{tray}" in self.topic:
            raise wrong("says the tray twice", "{tray} in the topic or the key tray is accepted")
        if self.quantity is not None and "{quantity}" in self.topic:
            raise wrong("says the quantity twice", "{quantity} in the topic or the key quantity is accepted")
        for name, target in targets.items():
            where = f"{shown(name)} " if name else ""
            if target.tray is None and "{tray}" not in self.topic + name:
                raise wrong(
                    f"does not say {where}of which tray", "{tray} in the topic or the key tray is accepted"
                )
            if target.quantity is None and "{quantity}" not in self.topic + name:
                raise wrong(
                    f"does not say {where}of which quantity",
                    "{quantity} in the topic or the key quantity is accepted",
                )
        return self

    def _refuse_foreign_keys(self) -> None:
        allowed = {"number": {"unit"}, "json": {"pointers", "units", "time", "time_form"}, "senml": {"names"}}
        foreign = set().union(*allowed.values()) - allowed[self.payload]
        for name in sorted(foreign & self.model_fields_set):
            raise wrong(f"has {name}, which payload {self.payload} does not know", "take it out")

    def _refuse_shared_pointers(self) -> None:
        """Refuse a place that is to be two quantities, of which one would be lost, and units of nothing."""
        pointers = self.pointers or {}
        for quantity, pointer in pointers.items():
            first = next(name for name, other in pointers.items() if other == pointer)
            if first != quantity:
                raise wrong(
                    f"has {shown(pointer)} for {first} and for {quantity}", "one quantity is accepted"
                )
        for quantity in self.units or {}:
            if quantity not in pointers:
                raise wrong(f"has a unit of {quantity}, for which it has no pointer", "take it out")

    @property
    def targets(self) -> dict[str, TargetKeys]:
        """What it brings, by pointer or SenML name; of a plain number, by an empty name."""
        if self.payload == "number":
            return {"": self}
        if self.payload == "json":
            units = self.units or {}
            return {
                pointer: TargetKeys(tray=self.tray, quantity=quantity, unit=units.get(quantity))
                for quantity, pointer in (self.pointers or {}).items()
            }
        return {
            name: TargetKeys(
                tray=target.tray or self.tray, quantity=target.quantity or self.quantity, unit=target.unit
            )
            for name, target in (self.names or {}).items()
            if target is not None
        }


class MqttSensorKeys(Section):
    """Readings that a broker passes on."""

    name: Name = key(NAME_ACCEPTS)
    kind: Literal["mqtt"]
    broker: BrokerKeys = key("host, port and the like")
    subscriptions: Annotated[tuple[SubscriptionKeys, ...], SOME] = key("a list of topics")
    expect: Annotated[tuple[ExpectedKeys, ...], LIST] | None = key(
        "a list of {tray, quantity}", None, "what the topics name"
    )


def _kernel_file(value: Any) -> str:
    is_text = isinstance(value, str) and bool(value) and "\0" not in value
    path = PurePosixPath(value if is_text else "/")
    if path.is_absolute() or ".." in path.parts:
        raise wrong(f"is {described(value)}")
    return str(value)


class ChannelKeys(Section):
    """One file of the kernel and what it measures."""

    tray: Text = key("the name of one of the trays")
    quantity: Measured = key("a measured quantity")
    file: Annotated[str, PlainValidator(_kernel_file)] = key(
        "a path below root such as bus/iio/devices/iio:device0/in_temp_input"
    )


class KernelSensorKeys(Section):
    """Chips that the Linux kernel reads."""

    name: Name = key(NAME_ACCEPTS)
    kind: Literal["kernel"]
    root: FilePath = key(FILE, Path("/sys"), "where Linux shows its devices")
    every: PollEvery = key(TIME, Duration(10_000), "air under a cover changes within minutes")
    channels: Annotated[tuple[ChannelKeys, ...], SOME] = key("a list of {tray, quantity, file}")


class CsvSensorKeys(Section):
    """A file of readings that grows."""

    name: Name = key(NAME_ACCEPTS)
    kind: Literal["csv"]
    file: FilePath = key(FILE)
    every: PollEvery = key(TIME, Duration(5_000), "a file is cheap to look at")
    expect: Annotated[tuple[ExpectedKeys, ...], LIST] | None = key(
        "a list of {tray, quantity}", None, "nothing is missed"
    )


class FaultKeys(Section):
    """One fault of the pretended bench."""

    tray: Text = key("the name of one of the trays")
    fault: FaultName = key("the name of a fault such as heater dead")
    quantity: Measured | None = key("what the sensor at fault measures", None, "every sensor of the tray")
    after: AnyDuration = key(TIME, Duration(0), "from the start on")
    lasts: SomeTime | None = key(TIME, None, "for good")


class LampKeys(Section):
    """The lamp's hours, by the clock on the wall."""

    on: ClockTime = key("a time of the day such as 05:00")
    off: ClockTime = key("a time of the day such as 23:00")


class SimulatorKeys(Section):
    """A pretended bench."""

    name: Name = key(NAME_ACCEPTS)
    kind: Literal["simulator"]
    trays: Annotated[tuple[Text, ...], SOME] | None = key("a list of names of trays", None, "every tray")
    seed: Seed = key("a whole number from 0 to 4294967295", 1, "the same seed gives the same readings")
    every: PollEvery = key(TIME, Duration(10_000), "as a real sensor would be read")
    speed: Speed = key("a number from 1 to 100000", 1.0, "time passes as it does")
    start: InstantMs | None = key("a time such as 2026-03-02T06:00:00Z", None, "now")
    set_point: SetPoint | None = key(
        "a temperature such as 78 °F", None, "as the bands of each stage want it"
    )
    lamp: LampKeys = key(
        "on and off",
        LampKeys.model_validate({"on": "05:00", "off": "23:00"}),
        "18 h of light: common practice, no source",
    )
    faults: Annotated[tuple[FaultKeys, ...], LIST] = key(
        "a list of {tray, fault, after, lasts}", (), "nothing goes wrong"
    )


SensorKeys: TypeAlias = MqttSensorKeys | KernelSensorKeys | CsvSensorKeys | SimulatorKeys
SENSOR_KINDS: Final[dict[str, type[Section]]] = {
    "mqtt": MqttSensorKeys,
    "kernel": KernelSensorKeys,
    "csv": CsvSensorKeys,
    "simulator": SimulatorKeys,
}
