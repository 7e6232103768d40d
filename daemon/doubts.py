"""What a configuration may say but hardly means: told as warnings, used as it stands."""

from collections.abc import Mapping, Sequence
from typing import Final, NamedTuple

from wardian.daemon.config_brokers import is_loopback
from wardian.daemon.config_sensors import MqttSensorKeys, SensorKeys
from wardian.daemon.doubts_of_light import NAME_THE_LAMP, doubt_leaves, doubt_schedules
from wardian.daemon.expected import Pair, may_bring_anything, missed
from wardian.daemon.written import Written
from wardian.rules.amounts import duration_words
from wardian.rules.crops import Crop
from wardian.rules.documents import Path
from wardian.rules.plans import TrayPlan, inputs_of

#: A value that is believed longer, or unknown longer without a word, hides a sensor that died. From memory.
_LONGEST_HOLD_MS: Final = 2 * 3_600_000
_LONGEST_SILENCE_MS: Final = 24 * 3_600_000


class WatchedTray(NamedTuple):
    """A tray, where it stands in the configuration, its crop and its plan."""

    path: Path
    crop: Crop
    plan: TrayPlan


def doubt(
    written: Written,
    trays: Sequence[WatchedTray],
    sensors: Sequence[SensorKeys],
    brought: Mapping[str, frozenset[Pair]],
) -> None:
    """Note what is hardly meant in a configuration that can be used.

    Args:
        written: Where it is noted.
        trays: In the order of the file.
        sensors: In the order of the file.
        brought: By sensor, the series it must bring.
    """
    if not written.document.is_whole:
        written.warn(
            _last(written), "is on a last line without an end", "if the file was cut off, restore it"
        )
    for tray in trays:
        _doubt_tray(written, tray, sensors, brought)
        doubt_leaves(written, tray.path, tray.plan, brought)
    _doubt_patience(written, trays)
    doubt_schedules(written, [tray for tray in trays if tray.plan.schedule is not None])
    shortest_hold_ms = min(tray.plan.hold_ms for tray in trays)
    for place, sensor in enumerate(sensors):
        _doubt_sensor(written, ("sensors", place), sensor, shortest_hold_ms)
    if sensors and not written.items(("notifiers",)):
        written.warn(("notifiers",), "name nobody to tell", "a notifier of kind console is the simplest")


def _last(written: Written) -> Path:
    """Return what was written last; lines are noted in the order of the file."""
    return next(reversed(list(written.document.lines)))


def _doubt_tray(
    written: Written, tray: WatchedTray, sensors: Sequence[SensorKeys], brought: Mapping[str, frozenset[Pair]]
) -> None:
    if not any(stage.bands for stage in tray.crop.stages):
        written.warn((*tray.path, "crop"), "has no band in any stage: nothing of this tray is watched")
    elif bare := [stage.name for stage in tray.crop.stages if not stage.bands]:
        problem = f"has no band while {', '.join(bare)}: then nothing of this tray is watched"
        written.warn((*tray.path, "crop"), problem)
    if any("water_lost" in stage.bands and "water_lost" not in stage.optional for stage in tray.crop.stages):
        _doubt_masses(written, tray)
    if not sensors or any(may_bring_anything(sensor) for sensor in sensors):
        return
    measured = {quantity for pairs in brought.values() for name, quantity in pairs if name == tray.plan.tray}
    for quantity in sorted(missed(tray.crop)):
        missing = [name for name in inputs_of(quantity, tray.plan) if name not in measured]
        if missing:
            problem = (
                f"has a band of {quantity}, which can never alarm: no sensor brings {' and '.join(missing)}"
            )
            hint = NAME_THE_LAMP if missing == ["ppfd"] and "illuminance" in measured else ""
            written.warn(tray.path, problem, hint)


def _doubt_patience(written: Written, trays: Sequence[WatchedTray]) -> None:
    """Note how long a value is believed, and may be silent, where a dead sensor would go unnoticed; each place once."""
    told = set()
    for tray in trays:
        own, site = (*tray.path, "readings"), ("readings",)
        silent_ms = max(tray.plan.silent_after_ms.values(), default=0)
        for key, lasts_ms, most_ms, problem in (
            (
                "hold",
                tray.plan.hold_ms,
                _LONGEST_HOLD_MS,
                "is believed that long after its sensor fell silent",
            ),
            (
                "silent_after",
                silent_ms,
                _LONGEST_SILENCE_MS,
                "may be unknown that long before anybody is told",
            ),
        ):
            place = next((path for path in ((*own, key), (*site, key)) if written.at(path) is not None), None)
            if place and lasts_ms > most_ms and place not in told:
                told.add(place)
                written.warn(place, f"is {duration_words(lasts_ms)}: a value {problem}")


def _doubt_masses(written: Written, tray: WatchedTray) -> None:
    if not tray.plan.masses:
        problem = (
            "has a band of water_lost, which cannot alarm before somebody says what it weighs full and dry"
        )
        written.warn(tray.path, problem, "write mass, or weigh it: wardian water weigh")


def _doubt_sensor(written: Written, path: Path, sensor: SensorKeys, hold_ms: int) -> None:
    if isinstance(sensor, MqttSensorKeys):
        if sensor.broker.user is None and sensor.broker.tls is None and not is_loopback(sensor.broker.host):
            problem = "asks for no user: anybody on the network may send readings"
            written.warn((*path, "broker"), problem, "a user with a password, and tls, are advised")
        return
    if sensor.every > hold_ms:
        problem = (
            f"is longer than a reading stands ({duration_words(hold_ms)}): in between the value is unknown"
        )
        written.warn((*path, "every"), problem)
