"""A running watch: loop, polls and outbox together, and what it prints of a simulated bench."""

import logging
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from wardian.daemon.clock_watch import Anew, ClockWatch
from wardian.daemon.loop import Loop
from wardian.daemon.own_troubles import OwnTroubles
from wardian.daemon.polling import Polling
from wardian.rules.ports import Sensor

log = logging.getLogger(__name__)

#: However fast a simulated clock runs, the loop goes round at most so often. [s]
SHORTEST_ROUND_S: Final = 0.25


@dataclass(slots=True)
class Watch:
    """Everything that runs while the daemon watches.

    ``every_s`` is the time between two rounds, in our own time; ``after_round`` is told of each. Of ``wires``, those
    that do not work are noted with the rounds, for whoever looks. ``troubles`` hears what goes wrong with the watch
    itself.
    """

    loop: Loop
    sensors: Sequence[Sensor]
    polling: Polling
    every_s: float
    after_round: Callable[[], None] = lambda: None
    wires: list[Any] = field(default_factory=list)
    troubles: OwnTroubles | None = None
    clock_watch: ClockWatch | None = None
    #: What everything is to begin anew with, once this watch is over; None where it was told to stop.
    anew: Anew | None = None
    _stopped: threading.Event = field(default_factory=threading.Event)

    def loop_until_stopped(self) -> None:
        """Go round until ``stop``; then keep all that is in, and close the wires.

        Raises:
            StoreFailed: The store cannot keep its promise.
        """
        for sensor in self.sensors:
            sensor.start(self.loop.queue.hand_over)
        self.polling.start()
        end = self.loop.give_up
        try:
            while not self._stopped.is_set():
                self.polling.notice_jumps()
                self.anew = self.clock_watch.look() if self.clock_watch else None
                if self.anew:
                    break
                more = self.loop.round(self.sensors)
                self.after_round()
                if not more:
                    self.loop.queue.wait(max(self.every_s, SHORTEST_ROUND_S))
            end = self.loop.close
        finally:
            self.polling.stop()
            end()
            for sensor in self.sensors:
                sensor.stop()

    def stop(self) -> None:
        """End after the present round."""
        self._stopped.set()
        self.loop.queue.hurry()
