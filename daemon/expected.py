"""Which series the sensors of a configuration must bring: silence of these, and of these alone, is an alarm."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Final, TypeAlias

from wardian.daemon.config_sensors import (
    CsvSensorKeys,
    KernelSensorKeys,
    MqttSensorKeys,
    SensorKeys,
    SimulatorKeys,
    SubscriptionKeys,
)
from wardian.rules.crops import Crop
from wardian.rules.plans import Makings, inputs_of

#: A series by tray and quantity.
Pair: TypeAlias = tuple[str, str]

#: What the simulator's probes show.
SIMULATED: Final = ("air_temperature", "medium_temperature", "relative_humidity", "illuminance", "tray_mass")


def needed(crop: Crop, tray: Makings) -> frozenset[str]:
    """Return what must be measured at a tray, or some band of its crop, but for optional ones, cannot be judged."""
    return frozenset(name for quantity in missed(crop) for name in inputs_of(quantity, tray))


def missed(crop: Crop) -> frozenset[str]:
    """Return the quantities whose bands are missed where nothing measures them."""
    return frozenset(
        quantity for stage in crop.stages for quantity in stage.bands if quantity not in stage.optional
    )


def expected(sensor: SensorKeys, trays: Mapping[str, frozenset[str]]) -> frozenset[Pair]:
    """Return the series that a sensor must bring.

    Args:
        sensor: What the configuration says of it.
        trays: By tray, the quantities its bands need: what a topic that leaves the quantity open must bring.
    """
    return frozenset(pair for pair in _named(sensor, trays) if pair[0] in trays)


def may_bring_anything(sensor: SensorKeys) -> bool:
    """Return whether a sensor may bring series beyond those it must bring."""
    return isinstance(sensor, (CsvSensorKeys, MqttSensorKeys))


def _named(sensor: SensorKeys, trays: Mapping[str, frozenset[str]]) -> Iterable[Pair]:
    if isinstance(sensor, SimulatorKeys):
        return ((tray, quantity) for tray in sensor.trays or trays for quantity in SIMULATED)
    if isinstance(sensor, KernelSensorKeys):
        return ((channel.tray, channel.quantity) for channel in sensor.channels)
    if sensor.expect is not None:
        return ((series.tray, series.quantity) for series in sensor.expect)
    if isinstance(sensor, CsvSensorKeys):
        return ()
    return (pair for one in sensor.subscriptions for pair in _subscribed(one, trays))


def _subscribed(subscription: SubscriptionKeys, trays: Mapping[str, frozenset[str]]) -> Iterator[Pair]:
    for target in subscription.targets.values():
        for tray in trays if target.tray is None else (target.tray,):
            quantities = trays.get(tray, ()) if target.quantity is None else (target.quantity,)
            for quantity in quantities:
                yield tray, quantity
