"""The sensors and notifiers of a configuration, and what they refer to."""

from collections.abc import Collection, Mapping
from pathlib import Path as FilePath
from typing import Any, cast

from wardian.daemon.config_brokers import is_loopback
from wardian.daemon.config_notifiers import NOTIFIER_KINDS, NotifierKeys
from wardian.daemon.config_sensors import (
    SENSOR_KINDS,
    MqttSensorKeys,
    SensorKeys,
    SimulatorKeys,
    SubscriptionKeys,
    TargetKeys,
)
from wardian.daemon.expected import SIMULATED
from wardian.daemon.written import Section, Written, described, within
from wardian.rules.amounts import accepted_units
from wardian.rules.documents import Path, nearest, shown
from wardian.rules.faults import FAULTS
from wardian.rules.quantities import QUANTITIES
from wardian.rules.units import unit_named


def read_sensors(written: Written, folder: FilePath, trays: Collection[str]) -> tuple[SensorKeys, ...]:
    """Return the sensors that can be used; what is wrong with the others is noted."""
    read = _read_kinds(written, "sensors", SENSOR_KINDS, folder)
    for path, sensor in read:
        for where, section in within(sensor, path):
            _check_trays(written, where, section, trays)
            if isinstance(section, SubscriptionKeys) and section.payload == "json":
                for quantity, unit in (section.units or {}).items():
                    _check_unit(written, (*where, "units", quantity), quantity, unit)
            elif isinstance(section, TargetKeys) and section.quantity and section.unit:
                _check_unit(written, (*where, "unit"), section.quantity, section.unit)
        _doubt_strangers(written, path, sensor)
    _check_simulators(written, read)
    return tuple(cast("SensorKeys", sensor) for _, sensor in read)


def read_notifiers(written: Written, folder: FilePath) -> tuple[NotifierKeys, ...]:
    """Return the notifiers that can be used; what is wrong with the others is noted."""
    read = _read_kinds(written, "notifiers", NOTIFIER_KINDS, folder)
    return tuple(cast("NotifierKeys", notifier) for _, notifier in read)


def _read_kinds(
    written: Written, name: str, kinds: Mapping[str, type[Section]], folder: FilePath
) -> list[tuple[Path, Section]]:
    read: list[tuple[Path, Section]] = []
    first: dict[str, Path] = {}
    for path in written.items((name,)):
        kind = _kind(written, path, kinds)
        keys = written.read(kinds[kind], path, {"folder": folder}) if kind else None
        if keys is None:
            continue
        title: str = getattr(keys, "name")  # noqa: B009 # every kind has one, which their common class does not say
        if title in first:
            line = written.document.line((*first[title], "name"))
            written.mistake((*path, "name"), f"{shown(title)} is the name of the one on line {line}, too")
        first.setdefault(title, path)
        read.append((path, keys))
    return read


def _kind(written: Written, path: Path, kinds: Mapping[str, type[Section]]) -> str | None:
    kind: Any = written.mapping(path).get("kind")
    if isinstance(kind, str) and kind in kinds:
        return kind
    if isinstance(written.at(path), dict):
        accepted = nearest(kind if isinstance(kind, str) else "", kinds)
        written.mistake((*path, "kind"), "is missing" if kind is None else f"is {described(kind)}", accepted)
    return None


def _doubt_strangers(written: Written, path: Path, sensor: Section) -> None:
    """Warn of a broker on the network that lets us in without asking who we are: so it does with others."""
    if not isinstance(sensor, MqttSensorKeys) or is_loopback(sensor.broker.host):
        return
    is_known = sensor.broker.user is not None or (sensor.broker.tls and sensor.broker.tls.cert_file)
    if not is_known:
        problem = (
            f"is {sensor.broker.host} without a user: where anybody may write, anybody can forge readings"
        )
        hint = "let the broker ask for a password or a certificate, and give each sensor its own topic alone"
        written.warn((*path, "broker"), problem, hint)


def _check_trays(written: Written, path: Path, section: Section, trays: Collection[str]) -> None:
    tray = getattr(section, "tray", None)
    named = [((*path, "tray"), tray)] if isinstance(tray, str) else []
    if isinstance(section, SimulatorKeys) and section.trays:
        named = [((*path, "trays", place), name) for place, name in enumerate(section.trays)]
    if isinstance(section, SimulatorKeys):
        _check_faults(written, path, section)
    for where, name in named:
        if trays and name not in trays:
            written.mistake(where, f"{shown(name)} is none of the trays", nearest(name, trays))


def _check_faults(written: Written, path: Path, simulator: SimulatorKeys) -> None:
    bench = simulator.trays
    for place, fault in enumerate(simulator.faults):
        if bench and fault.tray not in bench:
            where = (*path, "faults", place, "tray")
            written.mistake(where, f"{shown(fault.tray)} is not on this bench", nearest(fault.tray, bench))
        if fault.quantity is not None:
            _check_befallen(written, (*path, "faults", place, "quantity"), fault.fault, fault.quantity)


def _check_befallen(written: Written, path: Path, name: str, quantity: str) -> None:
    fault = FAULTS[name]
    if not fault.of_sensor:
        written.mistake(path, f"is of a sensor, and {name} is a fault of the tray", "leave it out")
    elif quantity not in (fault.befalls or SIMULATED):
        befallen = ", ".join(fault.befalls or SIMULATED)
        written.mistake(path, f"{shown(quantity)} cannot have {name}", f"{befallen} is accepted")


def _check_unit(written: Written, path: Path, quantity: str, unit: str) -> None:
    dimension = QUANTITIES[quantity].dimension
    if unit_named(dimension, unit) is None:
        written.mistake(path, f"{shown(unit)} is no unit of {quantity}", accepted_units(dimension, unit))


def _check_simulators(written: Written, read: list[tuple[Path, Section]]) -> None:
    """A clock that is hurried or set back is everybody's clock: no real sensor can live by it."""
    simulators = [(path, keys) for path, keys in read if isinstance(keys, SimulatorKeys)]
    pretended = [(path, keys) for path, keys in simulators if keys.speed != 1 or keys.start is not None]
    if pretended and len(simulators) < len(read):
        path, keys = pretended[0]
        which = "speed" if keys.speed != 1 else "start"
        written.mistake((*path, which), "changes the time, which real sensors beside it cannot follow")
    for path, keys in simulators[1:]:
        for which in ("speed", "start"):
            if getattr(keys, which) != getattr(simulators[0][1], which):
                written.mistake((*path, which), "is not that of the first simulator", "one clock is accepted")
