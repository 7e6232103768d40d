"""Which alarms of a tray belong together, because one look and one action answer them all.

The rule of this file: what has one cause belongs together; where none is named, what goes the same way does.
Cold air and a cold medium are one trouble, cold and dark are two, unless one cause is named for both.
"""

from collections.abc import Mapping
from typing import Any, Final

from wardian.rules.observing.causes import DRY_AIR, DRY_MEDIUM, WET_AIR, WET_MEDIUM, is_of_sensor

#: Dry air and a dry medium are one walk with water, and too much of it is one, too.
_ONE_WALK: Final = {
    DRY_AIR: "thirsty",
    DRY_MEDIUM: "thirsty",
    WET_AIR: "too wet",
    WET_MEDIUM: "too wet",
}


def tags_of(fields: Mapping[str, Any]) -> frozenset[str]:
    """Return what an alarm shares with others: alarms of one tray with a tag in common belong together."""
    cause = fields.get("cause") or {}
    # Each probe is looked at by itself: one that falls silent later is news.
    named = (
        {f"cause: {cause['name']}"} if cause.get("name") and not is_of_sensor(fields["condition"]) else set()
    )
    return frozenset({_group(fields), *named})


def _group(fields: Mapping[str, Any]) -> str:
    quantity, condition = fields["quantity"], fields["condition"]
    if is_of_sensor(condition):
        # A probe that is silent and one that talks nonsense are one walk to one probe.
        return f"sensor: {quantity}"
    if group := fields.get("group"):
        return _ONE_WALK.get(group, str(group))
    # The farther limit belongs to the nearer one.
    return f"{quantity}: {condition.partition('_')[0]}" if fields.get("limit") else condition
