"""A publisher whose messages tell their own times, and which remembers every reading that the broker has taken."""

import json
import random
import time
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, Final

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from wardian.rules.readings import Reading

if TYPE_CHECKING:
    from paho.mqtt.client import MQTTMessageInfo

TRAYS: Final = tuple(f"tray-{letter}" for letter in "abcdef")
HOUR_MS: Final = 3_600_000
HISTORY_STEP_MS: Final = 30_000
LIVE_STEP_MS: Final = 100


def now_ms() -> int:
    """Return what the machine's clock shows: the daemon under test goes by it."""
    return time.time_ns() // 1_000_000


class Publisher:
    """Sends packs and plain objects with times of their own, at least once, and remembers what was taken."""

    def __init__(self, broker: Any, chance: random.Random) -> None:
        """Connect as the broker's user."""
        self.published: list[Reading] = []
        self.messages = 0
        self._chance = chance
        self._client = Client(CallbackAPIVersion.VERSION2, client_id="bench-publisher")
        self._client.username_pw_set(broker.user, broker.password)
        self._client.max_inflight_messages_set(200)
        self._client.connect(broker.address, broker.port)
        self._client.loop_start()
        self._sent: list[MQTTMessageInfo] = []
        self._last_ms = 0

    def history(self, from_ms: int, to_ms: int) -> Iterator[None]:
        """Publish some hours of all trays, a step at a time; a limit is crossed every ten minutes or so."""
        for time_ms in range(from_ms, to_ms, HISTORY_STEP_MS):
            for place, tray in enumerate(TRAYS):
                turn = (time_ms // HISTORY_STEP_MS + 3 * place) % (17 + place)
                self.medium(tray, time_ms, is_warm=turn < 6)
                self.climate(tray, time_ms + 1, is_cold=turn > 11)
            yield

    def live(self, passed_ms: int) -> None:
        """Publish what the probes of all trays show now, ten times a second; a limit is crossed every few seconds."""
        if now_ms() < self._last_ms + LIVE_STEP_MS:
            return
        time_ms = self._now_ms()
        for place, tray in enumerate(TRAYS):
            turn = (passed_ms // 100 + 31 * place) % (170 + 13 * place)
            self.medium(tray, time_ms, is_warm=turn < 60)
            self.climate(tray, time_ms, is_cold=turn > 110)

    def all_well(self) -> None:
        """Publish that every limit is kept, so that what was raised returns."""
        time_ms = self._now_ms()
        for tray in TRAYS:
            self.medium(tray, time_ms, is_warm=False)
            self.climate(tray, time_ms, is_cold=False)

    def _now_ms(self) -> int:
        """Return a time at which nothing was measured yet."""
        self._last_ms = max(now_ms(), self._last_ms + 1)
        return self._last_ms

    def medium(self, tray: str, time_ms: int, *, is_warm: bool) -> None:
        """Publish one pack."""
        value = (25.3 if is_warm else 24.3) + self._chance.uniform(-0.2, 0.2)
        pack = [{"bt": time_ms / 1000, "n": "temp", "u": "Cel", "v": value}]
        self._publish(f"class/{tray}/medium", pack, Reading(time_ms, tray, "medium_temperature", value))

    def climate(self, tray: str, time_ms: int, *, is_cold: bool) -> None:
        """Publish one plain object."""
        value = (19.6 if is_cold else 20.9) + self._chance.uniform(-0.3, 0.3)
        humidity = self._chance.uniform(93.0, 95.0)
        told = {"at": time_ms, "air": {"t": value, "rh": humidity}}
        readings = (
            Reading(time_ms, tray, "air_temperature", value),
            Reading(time_ms, tray, "relative_humidity", humidity),
        )
        self._publish(f"class/{tray}/climate", told, *readings)

    def _publish(self, topic: str, told: Any, *readings: Reading) -> None:
        self._sent.append(self._client.publish(topic, json.dumps(told), qos=1))
        self.published += readings
        self.messages += 1
        if len(self._sent) > 1000:
            self.wait_until_taken()

    def wait_until_taken(self) -> None:
        """Return once the broker has acknowledged everything."""
        for info in self._sent:
            info.wait_for_publish(60)
            assert info.is_published()
        self._sent.clear()

    def stop(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()
