"""What can go wrong with a tray, and across which limits each fault drives it.

The rule of this file: the signs of a fault are what its physics can do, never what a rule happens to
find; that is how an alarm is known to belong to a fault or to nobody.
"""

from dataclasses import dataclass
from typing import Final

from wardian.rules.quantities import DERIVED_FROM
from wardian.rules.transitions import SENSOR_SILENT, Transition

_COOLER: Final = frozenset(
    {"medium_temperature low", "air_temperature low", "leaf_temperature low", "dew_point low"}
)
_WARMER: Final = frozenset(
    {"medium_temperature high", "air_temperature high", "leaf_temperature high", "dew_point high"}
)
_DRIER_AIR: Final = frozenset(
    {
        "relative_humidity low",
        "vapour_pressure_deficit high",
        "leaf_vapour_pressure_deficit high",
        "dew_point low",
    }
)
_WETTER_AIR: Final = frozenset(
    {
        "relative_humidity high",
        "vapour_pressure_deficit low",
        "leaf_vapour_pressure_deficit low",
        "dew_point high",
    }
)
_DRIER_MEDIUM: Final = frozenset({"medium_moisture low", "tray_mass low", "water_lost high"})
_WETTER_MEDIUM: Final = frozenset({"medium_moisture high", "tray_mass high", "water_lost low"})
_LESS_LIGHT: Final = frozenset({"illuminance low", "ppfd low", "light_hours low", "daily_light_integral low"})
_MORE_LIGHT: Final = frozenset(
    {"illuminance high", "ppfd high", "light_hours high", "daily_light_integral high"}
)

#: Conditions of the traces, by what brings them about.
_NO_HEAT: Final = frozenset({"heater-idle", "medium-chilled"})
_MUCH_HEAT: Final = frozenset({"heater-runaway", "medium-overheated", "air-overheated"})
_OPEN: Final = frozenset({"cover-off", "cover-leaking", "drying-fast"})
_DRYING: Final = frozenset({"drying-fast"})
_NO_LAMP: Final = frozenset({"lamp-not-on"})
_UNTENDED: Final = frozenset({"wet-too-long", "not-tended"})

#: The medium comes back within hours; the hours of light look back over a whole day.
_MEDIUM_H: Final = 6.0
_TEMPERATURES: Final = ("air_temperature", "medium_temperature")
_HUMIDITY: Final = ("relative_humidity",)
_DAY_H: Final = 25.0


@dataclass(frozen=True, slots=True)
class Fault:
    """One kind of fault.

    Attributes:
        name: As it stands in a truth and in a configuration.
        words: What happens, for people.
        signs: The limits across which it can drive a tray, as ``quantity low`` or ``quantity high``; the
            more urgent limit of the same side is meant, too. And the conditions of its traces that it can bring about.
        lingers_h: How long after its end a value may still cross such a limit because of it. [h]
        of_sensor: Whether the reading is wrong and not the tray. Where it names no signs, they are the
            alarms of the series that it is about, of what is derived from it, and of the sensor itself;
            a sign is then also the name of an alarm about the sensor.
        befalls: The quantities whose sensors it can befall; none named: any.
    """

    name: str
    words: str
    signs: frozenset[str] = frozenset()
    lingers_h: float = 1.0
    of_sensor: bool = False
    befalls: tuple[str, ...] = ()

    def explains(self, transition: Transition, quantity: str | None) -> bool:
        """Return whether an alarm can come from this fault, of one quantity or (None) of any."""
        if transition.side is not None:
            return self.drives(transition.quantity, transition.side, quantity)
        if self.signs and transition.condition not in self.signs:
            return False
        return quantity is None or transition.quantity == quantity

    def drives(self, judged: str, limit: str, quantity: str | None) -> bool:
        """Return whether it can drive a quantity across a limit: the tray, or what its sensor shows.

        Args:
            judged: The quantity of the limit, measured or derived.
            limit: One of its band's.
            quantity: Whose sensor the fault is about, or None for any.
        """
        if self.signs:
            return f"{judged} {limit.partition('_')[0]}" in self.signs
        if not self.of_sensor:
            return False
        # Hours of light and photons follow from whichever light the tray's lamp names.
        of_light = judged in ("light_hours", "daily_light_integral")
        inputs = ("illuminance", "ppfd") if of_light else DERIVED_FROM.get(judged, ())
        return quantity is None or judged == quantity or quantity in inputs


_KINDS: Final = (
    Fault("heater dead", "the heating mat gives no heat any more", _COOLER | _NO_HEAT, _MEDIUM_H),
    Fault(
        "heater stuck on",
        "the heating mat heats whatever the thermostat says",
        _WARMER | _DRIER_AIR | _DRIER_MEDIUM | _MUCH_HEAT | _DRYING,
        _MEDIUM_H,
    ),
    Fault(
        "thermostat probe fallen out",
        "the thermostat feels the cool room and heats for good",
        _WARMER | _DRIER_AIR | _DRIER_MEDIUM | _MUCH_HEAT | _DRYING,
        _MEDIUM_H,
    ),
    Fault(
        "cover left off", "the cover is not put back", _DRIER_AIR | _COOLER | _DRIER_MEDIUM | _OPEN, _MEDIUM_H
    ),
    Fault(
        "cover cracked",
        "the cover leaks like a sieve",
        _DRIER_AIR | _COOLER | _DRIER_MEDIUM | _OPEN,
        _MEDIUM_H,
    ),
    Fault("lamp dead", "the lamp gives no light any more", _LESS_LIGHT | _COOLER | _NO_LAMP, _DAY_H),
    Fault(
        "lamp never off",
        "the lamp burns day and night",
        _MORE_LIGHT | _WARMER | _DRIER_AIR | {"lamp-not-off"},
        _DAY_H,
    ),
    Fault("lamp on late", "the lamp comes on an hour late", _LESS_LIGHT | _COOLER | _NO_LAMP, _DAY_H),
    Fault("half the lamp", "half of the lamp is dead", _LESS_LIGHT | _COOLER | {"lamp-weak"}, _DAY_H),
    Fault(
        "cold night",
        "the room cools far down for a night",
        _COOLER | _DRIER_AIR | {"medium-chilled"},
        _MEDIUM_H,
    ),
    Fault(
        "heat wave",
        "the room is hot for days",
        _WARMER | _DRIER_AIR | _DRIER_MEDIUM | {"medium-overheated", "air-overheated"} | _DRYING,
        2 * _MEDIUM_H,
    ),
    Fault(
        "mains lost",
        "lamp and heater are without power",
        _COOLER | _LESS_LIGHT | _NO_HEAT | _NO_LAMP | {"mains-lost"},
        _DAY_H,
    ),
    Fault("medium left dry", "nobody waters", _DRIER_MEDIUM | _DRIER_AIR | _DRYING, 2 * _MEDIUM_H),
    Fault(
        "over-misted",
        "far too much mist, far too often",
        _WETTER_MEDIUM | _WETTER_AIR | _COOLER | {"over-misted", "wet-too-long"},
        2 * _MEDIUM_H,
    ),
    Fault("never aired", "the cover is not lifted for days", _WETTER_AIR | _UNTENDED, 2 * _MEDIUM_H),
    Fault(
        "sensor silent",
        "no reading arrives any more",
        frozenset({SENSOR_SILENT}),
        of_sensor=True,
    ),
    Fault("sensor stuck", "the reading does not change any more", lingers_h=_DAY_H, of_sensor=True),
    Fault("sensor implausible", "readings that cannot be true", of_sensor=True),
    Fault(
        "sensor drifting",
        "the reading leaves the truth, day by day",
        lingers_h=_DAY_H,
        of_sensor=True,
        befalls=(*_TEMPERATURES, *_HUMIDITY),
    ),
    Fault(
        "sensor saturated", "water on the humidity probe: it shows 100 %", of_sensor=True, befalls=_HUMIDITY
    ),
    Fault(
        "sensors disagree",
        "two probes of one quantity tell different things",
        of_sensor=True,
        befalls=(*_TEMPERATURES, *_HUMIDITY),
    ),
    Fault(
        "power-on value",
        "a thermometer shows 85.0 °C, its value at power-on",
        of_sensor=True,
        befalls=_TEMPERATURES,
    ),
    Fault(
        "repeated and late readings",
        "readings come twice, or long after their time",
        frozenset({SENSOR_SILENT}),
        of_sensor=True,
    ),
    Fault(
        "clock set back",
        "the clock that stamps the readings goes back by an hour, and later forward again",
        # An hour of light is stamped upon an hour of dark, and the other way round.
        frozenset({SENSOR_SILENT, "light_hours high", "light_hours low", "lamp-not-on", "lamp-not-off"}),
        _DAY_H,
        of_sensor=True,
    ),
)

#: Every kind of fault by its name.
FAULTS: Final = {kind.name: kind for kind in _KINDS}
