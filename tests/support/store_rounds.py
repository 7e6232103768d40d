"""What a round of the loop has for a store to keep: changes of alarms and messages about them."""

from collections.abc import Mapping
from typing import Any, Final

from wardian.rules.ports import DueMessage, Message, Round

#: 2026-03-02T12:00Z.
NOON_MS: Final = 1_772_452_800_000
HOUR_MS: Final = 3_600_000


def change(event: str, limit: str | None = "high", tray: str = "tray-a", **more: Any) -> dict[str, Any]:
    alarm = "too-warm" if limit else "sensor-silent"
    return {"quantity": "air_temperature", "limit": limit, "event": event, "alarm": alarm} | {
        "tray": tray,
        **more,
    }


def journal(*changes: Mapping[str, Any]) -> Round:
    entries = [(NOON_MS + place, entry["tray"], entry) for place, entry in enumerate(changes)]
    return Round(NOON_MS, journal=entries)


def to_tell(channel: str, key: str) -> DueMessage:
    return DueMessage(
        channel, Message(key, f"tray-a: {key}", "Lift the cover.\nNow.", {"limit": None, "n": 1})
    )
