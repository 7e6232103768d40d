"""Which alarms of a tray belong together, because one look and one action answer them all.

The rule of this file: what has one cause belongs together; where none is named, what goes the same way does.
Cold air and a cold medium are one trouble, cold and dark are two, unless one cause is named for both.
"""

from collections.abc import Mapping
from typing import Any, Final

_HEAT: Final = {"low": "cold", "high": "warm"}
_WATER: Final = {"low": "thirsty", "high": "wet"}
#: Of a deficit, much is dry.
_DEFICIT: Final = {"low": "wet", "high": "thirsty"}
_LIGHT: Final = {"low": "dark", "high": "bright"}
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
    quantity, limit = fields["quantity"], fields.get("limit")
    if limit is None:
        # A probe that is silent and one that talks nonsense are one walk to one probe.
        return f"sensor: {quantity}"
    # The farther limit belongs to the nearer one.
    side = str(limit).partition("_")[0]
    return _GROUPS[quantity][side] if quantity in _GROUPS else f"{quantity}: {side}"
