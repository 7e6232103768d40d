"""Why an alarm was raised, as far as the traces of its tray and of its neighbours can tell.

The rule of this file: a cause is named by two signs that do not hang on each other, or not at all; rather none
than a wrong one.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import Final, NamedTuple

from wardian.rules.evidence import Evidence
from wardian.rules.observing.looks import Look
from wardian.rules.observing.observer import Observer
from wardian.rules.observing.signs_of_air import care, cover_cracked, cover_left_off, never_aired
from wardian.rules.observing.signs_of_heat import heater_dead, heater_stuck_on, room_too_cold, room_too_hot
from wardian.rules.observing.signs_of_light import half_the_lamp, lamp_dead, lamp_never_off, lamp_on_late
from wardian.rules.observing.signs_of_mains import mains_lost, mains_were_lost
from wardian.rules.observing.signs_of_water import medium_left_dry, over_misted
from wardian.rules.transitions import Transition

#: Groups of alarms that ask the same question.
COLD: Final = "too cold"
WARM: Final = "too warm"
DRY_AIR: Final = "air too dry"
WET_AIR: Final = "air too humid"
DRY_MEDIUM: Final = "medium too dry"
WET_MEDIUM: Final = "medium too wet"
DARK: Final = "too little light"
BRIGHT: Final = "too much light"
SENSOR: Final = "sensor"
GROUPS: Final = (COLD, WARM, DRY_AIR, WET_AIR, DRY_MEDIUM, WET_MEDIUM, DARK, BRIGHT, SENSOR)

_TEMPERATURES: Final = ("air_temperature", "medium_temperature", "leaf_temperature")
_HUMIDITIES: Final = ("relative_humidity", "dew_point")
_DEFICITS: Final = ("vapour_pressure_deficit", "leaf_vapour_pressure_deficit")
_WATER: Final = ("medium_moisture", "tray_mass")
_LIGHT: Final = ("illuminance", "ppfd", "light_hours", "daily_light_integral")
_OF_LIMITS: Final[Mapping[tuple[str, str], str]] = {
    **{(one, "low"): COLD for one in _TEMPERATURES},
    **{(one, "high"): WARM for one in _TEMPERATURES},
    **{(one, "high"): DRY_AIR for one in _DEFICITS},
    **{(one, "low"): WET_AIR for one in _DEFICITS},
    **{(one, "low"): DRY_AIR for one in _HUMIDITIES},
    **{(one, "high"): WET_AIR for one in _HUMIDITIES},
    **{(one, "low"): DRY_MEDIUM for one in _WATER},
    **{(one, "high"): WET_MEDIUM for one in _WATER},
    ("water_lost", "high"): DRY_MEDIUM,
    ("water_lost", "low"): WET_MEDIUM,
    **{(one, "low"): DARK for one in _LIGHT},
    **{(one, "high"): BRIGHT for one in _LIGHT},
}
#: By condition of the traces, its group.
OF_CONDITIONS: Final[Mapping[str, str]] = {
    "heater-idle": COLD,
    "medium-chilled": COLD,
    "mains-lost": COLD,
    "heater-runaway": WARM,
    "medium-overheated": WARM,
    "air-overheated": WARM,
    "cover-off": DRY_AIR,
    "cover-leaking": DRY_AIR,
    "drying-fast": DRY_MEDIUM,
    "wet-too-long": WET_AIR,
    "not-tended": WET_AIR,
    "over-misted": WET_MEDIUM,
    "lamp-not-on": DARK,
    "lamp-weak": DARK,
    "lamp-not-off": BRIGHT,
}
#: Alarms about a sensor, of which each says itself what is wrong.
_OF_SENSORS: Final[Mapping[str, str]] = {
    "sensor-silent": "sensor silent",
    "sensor-implausible": "sensor implausible",
    "sensor-jumping": "sensor implausible",
    "sensor-stuck": "sensor stuck",
    "sensor-saturated": "sensor saturated",
    "sensors-disagree": "sensors disagree",
}

#: What is looked for: a tray and its neighbours in, the signs out, none where it is not so.
_Signs = Callable[[Look, Sequence[Look]], tuple[Evidence, ...]]


class _Known(NamedTuple):
    """A cause that the traces can tell, the groups of alarms that it explains, and its signs."""

    name: str
    explains: tuple[str, ...]
    signs: _Signs


#: In the order in which they are looked for: what befalls much before what befalls little.
_KNOWN: Final = (
    _Known("mains lost", (COLD,), mains_lost),
    _Known("mains lost", (DARK,), mains_were_lost),
    _Known("cover left off", (DRY_AIR, COLD, DRY_MEDIUM), cover_left_off),
    _Known("cover cracked", (DRY_AIR, COLD, DRY_MEDIUM), cover_cracked),
    _Known("heater stuck on", (WARM, DRY_AIR, DRY_MEDIUM), heater_stuck_on),
    _Known("heater dead", (COLD,), heater_dead),
    _Known("lamp on late", (DARK, COLD), lamp_on_late),
    _Known("lamp dead", (DARK, COLD), lamp_dead),
    _Known("half the lamp", (DARK, COLD), half_the_lamp),
    _Known("lamp never off", (BRIGHT, WARM, DRY_AIR), lamp_never_off),
    _Known("room too hot", (WARM, DRY_AIR, DRY_MEDIUM), room_too_hot),
    _Known("room too cold", (COLD, DRY_AIR), room_too_cold),
    _Known("over-misted", (WET_AIR, WET_MEDIUM, COLD), over_misted),
    _Known("medium left dry", (DRY_MEDIUM, DRY_AIR), medium_left_dry),
    _Known("never aired", (WET_AIR,), never_aired),
    _Known("care", (COLD, DRY_AIR), care),
)
#: By cause, the groups of alarms that it explains.
EXPLAINS: Final[Mapping[str, tuple[str, ...]]] = {
    **{
        one.name: tuple(g for other in _KNOWN if other.name == one.name for g in other.explains)
        for one in _KNOWN
    },
    **dict.fromkeys(_OF_SENSORS.values(), (SENSOR,)),
}
#: Neighbours whose last minute is older than this tell nothing of now.
_SAME_MS: Final = 5 * 60_000


class Cause(NamedTuple):
    """The cause of an alarm, one of ``EXPLAINS``, and its signs; None where the traces cannot tell."""

    name: str | None
    evidence: tuple[Evidence, ...] = ()


def cause_of(transition: Transition, observer: Observer) -> Cause:
    """Return the cause of an alarm that was just raised.

    Args:
        transition: The raise.
        observer: All trays, observed until the end of the last minute before it.
    """
    if transition.condition in _OF_SENSORS:
        own = (transition.evidence,) if transition.evidence else ()
        return Cause(_OF_SENSORS[transition.condition], own)
    group, tray = group_of(transition), observer.trays.get(transition.tray)
    if group is None or tray is None or tray.minutes.now_ms is None:
        return Cause(None)
    look = tray.look()
    others = [
        other.look()
        for other in observer.trays.values()
        if other is not tray
        and other.minutes.now_ms is not None
        and abs(other.minutes.now_ms - look.now_ms) <= _SAME_MS
    ]
    for known in _KNOWN:
        signs = known.signs(look, others) if group in known.explains else ()
        if signs:
            return Cause(known.name, signs)
    return Cause(None)


def is_of_sensor(condition: str) -> bool:
    """Return whether an alarm is about a sensor, by its condition."""
    return condition in _OF_SENSORS


def group_of(transition: Transition) -> str | None:
    """Return the group of an alarm about a tray; None where no cause is known for it."""
    if transition.side is not None:
        return _OF_LIMITS.get((transition.quantity, transition.side))
    return OF_CONDITIONS.get(transition.condition)
