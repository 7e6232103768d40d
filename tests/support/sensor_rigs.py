"""A sensor of any kind on a bench: what it measures, whom it tells, and how its device is taken away."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from fake_clock import FakeClock
from fake_loop import FakeLoop

from wardian.adapters.sensors.mqtt import MqttSensor
from wardian.rules.errors import SensorUnreachable
from wardian.rules.ports import Measured, Sensor

EVERY_MS = 10_000


@dataclass
class Rig:
    """One sensor at one pretended place, and the hands that move what it measures.

    Attributes:
        make: Makes the sensor, again after a restart.
        clock: What it reads the time from.
        measure: Lets the device have one more thing to say; called once per interval.
        per_measure: How many readings that is.
        message: What the sensor would hand over for these bytes from outside.
        device: What is taken away by renaming.
        grain_ms: How far before the end of its interval it may measure, and no further.
    """

    make: Callable[[], Sensor]
    clock: FakeClock
    measure: Callable[[], None] = lambda: None
    per_measure: int = 1
    message: Callable[[bytes], Any] = lambda _: ()
    device: Path = Path()
    grain_ms: int = 1
    loop: FakeLoop = field(default_factory=FakeLoop)

    def __post_init__(self) -> None:
        self.sensor = self.make()

    def start(self) -> None:
        self.sensor.start(self.loop.take)

    def stop(self) -> None:
        self.sensor.stop()

    def restart(self) -> None:
        """End the sensor and its loop, and start new ones in their place."""
        self.stop()
        self.sensor, self.loop = self.make(), FakeLoop()
        self.start()

    def gather(self) -> None:
        """Let what was measured arrive."""
        self.sensor.poll()

    def gather_in_vain(self) -> None:
        """Let the sensor notice that its device is gone."""
        with pytest.raises(SensorUnreachable, match="sensor under test: ") as caught:
            self.sensor.poll()
        assert caught.value.may_heal

    def measure_once(self) -> None:
        """Let an interval pass and the device say one more thing."""
        self.clock.step(EVERY_MS)
        self.measure()

    def readings(self) -> list[Measured]:
        """Return what was taken so far as readings, each with the time that is meant."""
        return [
            measured._replace(time_ms=arrival.received_ms if measured.time_ms is None else measured.time_ms)
            for arrival in self.loop.taken
            for measured in self.sensor.decode(arrival).measured
        ]

    def ends_ms(self) -> list[int]:
        """Return the ends of the intervals in which readings were made, in the order in which they came."""
        ends_ms = [-(-(reading.time_ms or 0) // self.grain_ms) * self.grain_ms for reading in self.readings()]
        return sorted(set(ends_ms), key=ends_ms.index)

    def take_away(self) -> None:
        self.device.rename(self.device.with_name("taken away"))

    def bring_back(self) -> None:
        self.device.with_name("taken away").rename(self.device)


@dataclass
class MqttRig(Rig):
    """A sensor whose broker speaks by itself: arrivals are waited for, and the broker is what goes away.

    Attributes:
        broker: The real one, running.
        wait_until: The fixture of this name.
    """

    broker: Any = None
    wait_until: Callable[..., None] = lambda *_: None
    published: int = 0
    left_behind: int = 0
    is_started: bool = False

    def start(self) -> None:
        """Start the sensor; what comes before its first subscription would have been asked for by nobody."""
        super().start()
        self.is_started = True
        self.wait_until(lambda: self.sensor.health().works, "the subscription")

    def stop(self) -> None:
        super().stop()
        self.is_started = False

    def measure_once(self) -> None:
        super().measure_once()
        self.left_behind = self._left_behind()
        record = f'[{{"n":"temp","t":{self.clock.now_ms // 1000},"u":"Cel","v":24.5}}]'
        self.broker.publish("bench/tray-a", record)  # returns once the broker has it
        self.published += 1

    def gather(self) -> None:
        if self.is_started and self.loop.room:
            self.wait_until(lambda: len(self.loop.taken) >= self.published, "everything published")
        elif self.is_started:
            self.wait_until(lambda: self._left_behind() > self.left_behind, "a message to find no room")

    def gather_in_vain(self) -> None:
        self.wait_until(lambda: not self.sensor.health().works, "the sensor to notice")

    def take_away(self) -> None:
        self.broker.stop()

    def bring_back(self) -> None:
        self.broker.start()
        self.wait_until(lambda: self.sensor.health().works, "the sensor to heal")

    def _left_behind(self) -> int:
        assert isinstance(self.sensor, MqttSensor)
        return self.sensor.counts.get("left behind", 0)
