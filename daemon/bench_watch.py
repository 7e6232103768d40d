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
from wardian.daemon.progress import Progress
from wardian.rules.ports import Sensor
from wardian.rules.wire_health import Stuck

log = logging.getLogger(__name__)

#: However fast a simulated clock runs, the loop goes round at most so often. [s]
SHORTEST_ROUND_S: Final = 0.25
#: A round that takes longer hangs: with the watchdog's minute a hung loop is ended within 90 s.
LONGEST_ROUND_S: Final = 30.0
#: So many rounds after the start follow each other in a second.
HASTY_ROUNDS: Final = 10
HASTY_S: Final = 1.0
#: To keep all that is in, at the end.
LONGEST_CLOSE_S: Final = 60.0
#: The loop, among the parts.
LOOP: Final = "loop"


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
    progress: Progress = field(default_factory=Progress)
    _rounds: int = 0
    _deaf: set[str] = field(default_factory=set)
    clock_watch: ClockWatch | None = None
    #: What everything is to begin anew with, once this watch is over; None where it was told to stop.
    anew: Anew | None = None
    _stopped: threading.Event = field(default_factory=threading.Event)

    def loop_until_stopped(self) -> None:
        """Go round until ``stop``; then keep all that is in, and close the wires.

        Raises:
            StoreFailed: The store cannot keep its promise.
        """
        self.progress.expect(LOOP, LONGEST_ROUND_S)
        for sensor in self.sensors:
            sensor.start(self.loop.queue.hand_over)
        self.polling.start()
        end = self.loop.give_up
        try:
            while not self._stopped.is_set():
                self.anew = self.clock_watch.look() if self.clock_watch else None
                if self.anew:
                    break
                self._go_round()
            end = self.loop.close
        finally:
            self.progress.expect(LOOP, LONGEST_CLOSE_S)
            self.polling.stop()
            end()
            for sensor in self.sensors:
                sensor.stop()

    def is_open(self) -> bool:
        """Return whether the rounds have begun and every wire works that speaks by itself, by the last round."""
        return self._rounds > 0 and not self._deaf & {s.name for s in self.sensors if s.poll_every_s is None}

    def words(self) -> str:
        """Return in a few words how the watch is, by the last round: whoever asks must not wait for a wire."""
        if self.loop.failing.since_s is not None:
            return "the store cannot keep readings; they wait in memory"
        return f"watching; not working: {', '.join(sorted(self._deaf))}" if self._deaf else "watching"

    def _go_round(self) -> None:
        self.progress.expect(LOOP, LONGEST_ROUND_S)
        self.polling.notice_jumps()
        more = self.loop.round(self.sensors)
        self.after_round()
        self._look_at_wires()
        self._rounds += 1
        if not more:
            # Whoever waits for the start to be done is told soon.
            longest_s = self.every_s if self._rounds > HASTY_ROUNDS else min(self.every_s, HASTY_S)
            pause_s = max(longest_s, SHORTEST_ROUND_S)
            self.progress.expect(LOOP, pause_s + LONGEST_ROUND_S)
            self.loop.queue.wait(pause_s)

    def _look_at_wires(self) -> None:
        """Note the wires that do not work, and those whose own thread does not move: only a new start ends that."""
        deaf = set()
        for wire in self.wires:
            health = wire.health()
            if not health.works:
                deaf.add(wire.name)
            if isinstance(health, Stuck):
                self.progress.expect(f"wire {wire.name}", 0.0)
            else:
                self.progress.leaves(f"wire {wire.name}")
        self._deaf = deaf

    def stop(self) -> None:
        """End after the present round."""
        self._stopped.set()
        self.loop.queue.hurry()
