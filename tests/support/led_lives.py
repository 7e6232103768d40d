"""Lives that are led for a test, and the journal that is written of them."""

import json
from collections.abc import Mapping
from typing import Any, Final

from fake_clock import NOON_MS

from wardian.daemon.lives import Lives
from wardian.daemon.tongue import utc_text
from wardian.rules import life
from wardian.rules.ports import Act, Alarm, JournalEntry

HOUR_MS: Final = 3_600_000
TOO_WARM: Final = Alarm("tray-a", "air_temperature", "high")
TOO_DRY: Final = Alarm("tray-a", "relative_humidity", "low")
SILENT: Final = Alarm("tray-a", "air_temperature", "sensor-silent")
NAMES: Final = {TOO_WARM: "air-too-warm", TOO_DRY: "too-dry", SILENT: "sensor-silent"}


def fields_of(alarm: Alarm, event: str = "", time_ms: int = NOON_MS) -> dict[str, Any]:
    """Return what an entry says of an alarm, as far as lives look at it."""
    return {
        "time": utc_text(time_ms),
        "tray": alarm.tray,
        "quantity": alarm.quantity,
        "limit": None if alarm == SILENT else alarm.condition,
        "event": event,
        "alarm": NAMES[alarm],
        "priority": "medium",
        "message": f"{event}.",
        "condition": alarm.condition,
    }


def asked(
    event: str, alarm: Alarm = TOO_WARM, until_ms: int | None = None, who: str = "a helper", why: str = ""
) -> Act:
    if event == life.SHELVE and until_ms is None:
        until_ms = NOON_MS + HOUR_MS
    return Act(NOON_MS, alarm, event, who, why, until_ms)


class Journal:
    """Lives that are led, and the journal that is written of them."""

    def __init__(self) -> None:
        self.lives = Lives({}, moment=lambda ms: f"+{(ms - NOON_MS) // HOUR_MS} h", names=fields_of)
        self.entries: list[JournalEntry] = []
        self.now_ms = NOON_MS

    def write(self, fields: Mapping[str, Any]) -> Mapping[str, Any]:
        # As a store gives it back: nothing but JSON.
        kept = json.loads(json.dumps(fields))
        self.entries.append(JournalEntry(len(self.entries) + 1, self.now_ms, kept["tray"], kept))
        return self.entries[-1].fields

    def comes(self, alarm: Alarm = TOO_WARM) -> bool:
        return self._follow(alarm, life.RAISED)

    def goes(self, alarm: Alarm = TOO_WARM) -> bool:
        return self._follow(alarm, life.RETURNED)

    def _follow(self, alarm: Alarm, event: str) -> bool:
        fields = fields_of(alarm, event, self.now_ms)
        is_told = self.lives.follow(fields)
        self.write(fields)
        return is_told

    def do(
        self,
        event: str,
        alarm: Alarm = TOO_WARM,
        until_ms: int | None = None,
        who: str = "a helper",
        why: str = "",
    ) -> Mapping[str, Any]:
        return self.write(self.lives.do(asked(event, alarm, until_ms, who, why), self.now_ms))

    def off_the_shelf(self) -> list[Mapping[str, Any]]:
        return [self.write(fields) for fields in self.lives.off_the_shelf(self.now_ms)]

    def last(self) -> dict[Alarm, JournalEntry]:
        last = {}
        for entry in self.entries:
            alarm = Alarm(entry.tray, entry.fields["quantity"], entry.fields["condition"])
            last[alarm] = entry
        return last

    def reread(self) -> Lives:
        return Lives(self.last(), moment=str, names=fields_of)

    def state(self, alarm: Alarm = TOO_WARM) -> str:
        return self.lives.of(alarm).state
