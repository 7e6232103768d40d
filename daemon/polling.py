"""Sensors that must be asked, each at its own pace, on the scheduler's threads.

The rule of this file: a poll that is late is done once and not made up for; a machine's clock that
jumps neither floods nor stops the polls.
"""

import logging
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.base import BaseTrigger

from wardian.daemon.guarded import Slips
from wardian.daemon.progress import Progress
from wardian.rules.errors import SensorUnreachable
from wardian.rules.ports import Clock, Sensor

log = logging.getLogger(__name__)

#: A difference between wall and monotonic time that is a jump rather than a slow round.
JUMP_S: Final = 5.0
#: However fast a simulated clock runs, its sensors are not asked more often.
SHORTEST_PAUSE_S: Final = 0.2
#: Sensors asked at the same time: one that hangs leaves room for the others.
WORKERS: Final = 4
#: So much after its time a poll has begun, unless all who ask hang.
BEGIN_S: Final = 60.0
#: A poll that takes longer hangs. To begin anew is no cure for a chip or a bus, and would hold up all the others.
LONGEST_POLL_S: Final = 60.0


class Steadily(BaseTrigger):  # type: ignore[misc]  # the library has no types
    """Fires a pause after it last fired, and never in the past: a clock set forward makes up for nothing."""

    def __init__(self, pause_s: float) -> None:
        """Fire at once, then every ``pause_s`` seconds."""
        self._pause = timedelta(seconds=pause_s)

    def get_next_fire_time(self, previous: datetime | None, now: datetime) -> datetime:
        """Return the next time to fire."""
        return now if previous is None else max(now, min(previous, now) + self._pause)


class Polling:
    """Asks the polled sensors among some, until it is stopped."""

    def __init__(self, sensors: Sequence[Sensor], clock: Clock, speed: float = 1.0) -> None:
        """Ask each at its own pace, ``speed`` times faster on a simulated bench."""
        self._clock = clock
        self._jobs: list[tuple[Sensor, float]] = [
            (sensor, max(sensor.poll_every_s / speed, SHORTEST_PAUSE_S))
            for sensor in sensors
            if sensor.poll_every_s is not None
        ]
        self._failing: set[str] = set()
        #: Counts the polls that end in an error nobody foresaw.
        self.slips = Slips(lambda _name, _words: None)
        self._scheduler: Any = None
        self._offset_s = self._offset()
        #: Hears that each sensor is asked, and that each poll ends.
        self.progress = Progress(clock)

    def start(self) -> None:
        """Begin to ask; nothing is started when no sensor is polled."""
        if not self._jobs:
            return
        self._scheduler = BackgroundScheduler(
            timezone=UTC,
            executors={"default": ThreadPoolExecutor(WORKERS)},
            job_defaults={"coalesce": True, "max_instances": 1, "misfire_grace_time": None},
        )
        self._schedule()
        self._scheduler.start()

    def notice_jumps(self) -> bool:
        """Begin anew when the machine's clock was set; return whether it was. Called every round."""
        moved_s = self._offset() - self._offset_s
        if abs(moved_s) < JUMP_S:
            return False
        self._offset_s += moved_s
        log.warning("clock was set", extra={"seconds": round(moved_s, 1)})
        if self._scheduler:
            self._scheduler.remove_all_jobs()
            self._schedule()
        return True

    def is_working(self) -> bool:
        """Whether sensors are asked, where there are any to ask."""
        return not self._jobs or (self._scheduler is not None and bool(self._scheduler.running))

    def stop(self) -> None:
        """Ask no more; a poll that hangs is not waited for."""
        if self._scheduler:
            self._scheduler.shutdown(wait=False)
            self._scheduler = None
            for sensor, _ in self._jobs:
                self.progress.leaves(_part(sensor))

    def _schedule(self) -> None:
        for sensor, pause_s in self._jobs:
            self.progress.expect(_part(sensor), BEGIN_S)
            self._scheduler.add_job(self._ask, Steadily(pause_s), args=(sensor, pause_s))

    def _ask(self, sensor: Sensor, pause_s: float) -> None:
        self.progress.expect(_part(sensor), LONGEST_POLL_S, is_vital=False)
        try:
            self._poll(sensor)
        finally:
            self.progress.expect(_part(sensor), pause_s + BEGIN_S)

    def _poll(self, sensor: Sensor) -> None:
        try:
            self.slips.try_(f"{sensor.name} (poll)", sensor.poll)
        except SensorUnreachable as error:
            if sensor.name not in self._failing:
                log.warning("sensor does not answer", extra={"sensor": sensor.name, "why": error.why})
            self._failing.add(sensor.name)
        else:
            if sensor.name in self._failing:
                log.info("sensor answers again", extra={"sensor": sensor.name})
            self._failing.discard(sensor.name)

    def _offset(self) -> float:
        return self._clock.wall_ms() / 1000 - self._clock.monotonic_s()


def _part(sensor: Sensor) -> str:
    """Return what the asking of a sensor is called."""
    return f"asking {sensor.name}"
