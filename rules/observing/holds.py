"""What ordinary care does to a tray for a while, and nobody needs to be told of.

The rule of this file: a hold acts on who is told, never on what is raised.
"""

from collections.abc import Iterable, Mapping
from typing import Final, NamedTuple

from wardian.rules.observing.looks import LIFTED, MISTED, WATERED, Care
from wardian.rules.transitions import Transition

_COOLER: Final = {"air_temperature low", "leaf_temperature low"}
#: By care, the limits that it drives a tray across for a while: common practice, no source.
_DRIVES: Final = {
    LIFTED: {
        "relative_humidity low",
        "vapour_pressure_deficit high",
        "leaf_vapour_pressure_deficit high",
        "dew_point low",
        "tray_mass low",
        "water_lost high",
        *_COOLER,
    },
    MISTED: {
        "relative_humidity high",
        "vapour_pressure_deficit low",
        "leaf_vapour_pressure_deficit low",
        "dew_point high",
        *_COOLER,
    },
    WATERED: {
        "medium_temperature low",
        "medium_temperature high",
        "medium_moisture high",
        "tray_mass high",
        "water_lost low",
        "relative_humidity high",
        "vapour_pressure_deficit low",
    },
}


class Hold(NamedTuple):
    """Care after which an alarm is held back, and until when."""

    care: Care
    until_ms: int


def hold_of(transition: Transition, care: Iterable[Care], settling_ms: Mapping[str, int]) -> Hold | None:
    """Return what holds an alarm back at the instant it is raised; the longest where there are several.

    Args:
        transition: A raise.
        care: What was done at its tray.
        settling_ms: By care, for how long after its beginning its effects are let pass.
    """
    side = f"{transition.quantity} {(transition.limit or '').partition('_')[0]}"
    holds = [
        Hold(one, one.from_ms + settling_ms.get(one.event, 0))
        for one in care
        if side in _DRIVES.get(one.event, ()) and one.from_ms <= transition.time_ms
    ]
    lasting = [hold for hold in holds if hold.until_ms > transition.time_ms]
    return max(lasting, key=lambda hold: hold.until_ms, default=None)
