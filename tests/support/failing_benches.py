"""Benches for hours in which something fails once: set up one after the other, and looked over when they are past."""

import logging
import sys
from collections.abc import Container
from pathlib import Path
from typing import NamedTuple

import pytest
from failing_day import BEGIN_MS, CONFIG, Hours
from failing_once import Fault, Seams
from fake_clock import FakeClock
from held_messages import HAND_OVER, HeldMessages, HeldSensor
from receivers import HttpReceiver

from wardian.daemon import cli_commands, logs, opening, run, wiring
from wardian.daemon.outbox import Outbox
from wardian.daemon.polling import Polling


class Heard(logging.Handler):
    """Keeps what the log says to people: warnings and what is worse."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.lines: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        why = record.exc_info[1] if record.exc_info else vars(record).get("why", "")
        self.lines.append(f"{record.getMessage()}: {why!s}")


class Benches:
    """Makes one bench after another in one folder, each with nothing left of the last."""

    def __init__(self, folder: Path, receiver: HttpReceiver, patch: pytest.MonkeyPatch) -> None:
        """Put the seams in place, and let the caller's thread do what threads of the daemon do."""
        self._folder = folder
        self._receiver = receiver
        self._patch = patch
        self._now: Hours | None = None
        self.heard = Heard()
        patch.setattr(logging.getLogger("wardian"), "handlers", [self.heard])
        (folder / "config.yaml").write_text(CONFIG.replace("ADDRESS", receiver.address), encoding="utf-8")
        self._config = wiring.load_config(folder / "config.yaml")
        self._seams = Seams(FakeClock(BEGIN_MS), Fault())
        self._seams.put_in_place(patch)
        wires = opening.open_sensors
        patch.setattr(
            opening, "open_sensors", lambda bench: [HeldSensor(self.present.messages), *wires(bench)]
        )
        patch.setattr(Outbox, "start", lambda outbox: setattr(self.present, "outbox", outbox))
        patch.setattr(Polling, "start", lambda _: None)
        patch.setattr(wiring, "load_config", lambda _: self._config)
        patch.setattr(logs, "begin", lambda: None)
        patch.setattr(run, "_until_told", lambda watching, *_: self.present.rounds(watching))
        # Signals are the business of a process of its own.
        patch.setattr(cli_commands, "run", lambda options: run.watch(Path(options.config)))

    @property
    def present(self) -> Hours:
        assert self._now is not None
        return self._now

    def make(self, fault: Fault) -> Hours:
        """Return a new bench on which something fails once."""
        for left in self._folder.iterdir():
            if left.name != "config.yaml":
                left.unlink()
        self._receiver.requests.clear()
        self.heard.lines.clear()
        (self._folder / "logger.csv").write_text("time,tray,quantity,value,unit\n", encoding="utf-8")
        self._seams.begin(FakeClock(BEGIN_MS), fault)
        # Now, since pytest puts its own in place between setting up and the test.
        self._patch.setattr(sys, "stderr", self._seams.terminal)
        self._now = Hours(self._folder, self._receiver, self._seams, self._config, HeldMessages(fault))
        return self._now

    def tried(self, fault: Fault) -> "Tried":
        """Let the hours pass with a fault, and say what came of it."""
        hours = self.make(fault)
        try:
            hours.pass_by()
            wrongs = hours.wrongs()
        except Exception as error:  # noqa: BLE001 - whatever it is, it is a finding
            wrongs = [f"{type(error).__name__}: {error}"]
        return Tried(
            fault.nth,
            fault.place,
            hours.statuses,
            [*self.heard.lines, *hours.said, *hours.complaints()],
            wrongs,
        )


class Tried(NamedTuple):
    """One fault and what came of it; ``place`` is empty where there was no such call any more.

    ``statuses`` are those with which the process ended, one after the other; ``heard`` is what people could read of it.
    """

    nth: int
    place: str
    statuses: list[int]
    heard: list[str]
    wrongs: list[str]

    def all_wrongs(self, accepted: Container[int], *, is_heard: bool) -> list[str]:
        """Return everything that should not be so, each with the place of the fault."""
        wrongs = list(self.wrongs)
        wrongs += [f"ended with {status}" for status in self.statuses if status not in accepted]
        if is_heard and not self.heard and self.place != HAND_OVER:
            wrongs.append("nobody could hear of it")
        return [f"call {self.nth}, {self.place[:60]}: {wrong}" for wrong in wrongs]
