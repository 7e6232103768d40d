"""Which alarms of a tray belong together, because one look and one action answer them all.

The rule of this file: what has one cause belongs together; where none is named, what goes the same way does.
Cold air and a cold medium are one trouble, cold and dark are two, unless one cause is named for both.
"""

from collections.abc import Mapping
from typing import Any, Final

from wardian.rules.observing.causes import (
    BRIGHT,
    COLD,
    DARK,
    DRY_AIR,
    DRY_MEDIUM,
    OF_CONDITIONS,
    WARM,
    WET_AIR,
    WET_MEDIUM,
)
from wardian.rules.observing.drift import HEADING_OUT

_THIRSTY: Final = "thirsty"
_WET: Final = "wet"
_HEAT: Final = {"low": COLD, "high": WARM}
_LIGHT: Final = {"low": DARK, "high": BRIGHT}
#: Dry air and a dry medium are one walk with water.
_WATER: Final = {"low": _THIRSTY, "high": _WET}
#: Of a deficit, much is dry.
_DEFICIT: Final = {"low": _WET, "high": _THIRSTY}
_OF_WATER: Final = {DRY_AIR: _THIRSTY, DRY_MEDIUM: _THIRSTY, WET_AIR: _WET, WET_MEDIUM: _WET}
_GROUPS: Final = {
    "air_temperature": _HEAT,
    "medium_temperature": _HEAT,
    "leaf_temperature": _HEAT,
    "relative_humidity": _WATER,
    "dew_point": _WATER,
    "medium_moisture": _WATER,
    "tray_mass": _WATER,
    "vapour_pressure_deficit": _DEFICIT,
    "leaf_vapour_pressure_deficit": _DEFICIT,
    "illuminance": _LIGHT,
    "ppfd": _LIGHT,
    "light_hours": _LIGHT,
    "daily_light_integral": _LIGHT,
}


def tags_of(fields: Mapping[str, Any]) -> frozenset[str]:
    """Return what an alarm shares with others: alarms of one tray with a tag in common belong together."""
    cause = fields.get("cause")
    named = {f"cause: {cause['name']}"} if cause else set()
    return frozenset({_group(fields), *named})


def _group(fields: Mapping[str, Any]) -> str:
    quantity, limit, condition = fields["quantity"], fields.get("limit"), str(fields["condition"])
    if limit is not None:
        # The farther limit belongs to the nearer one.
        return _of_side(quantity, str(limit).partition("_")[0])
    if condition == HEADING_OUT and None not in (fields.get("value"), fields.get("threshold")):
        # It belongs to the limit that it foretells.
        return _of_side(quantity, "high" if fields["value"] < fields["threshold"] else "low")
    if condition.startswith("sensor"):
        # A probe that is silent and one that talks nonsense are one walk to one probe.
        return f"sensor: {quantity}"
    group = OF_CONDITIONS.get(condition, condition)
    return _OF_WATER.get(group, group)


def _of_side(quantity: str, side: str) -> str:
    return _GROUPS[quantity][side] if quantity in _GROUPS else f"{quantity}: {side}"
