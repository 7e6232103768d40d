"""A service manager for one service: it reads what the service tells and ends what does not feed its watchdog."""

import os
import select
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import Self

#: What a service manager would set for a watchdog of a minute is here for one of seconds.
WATCHDOG_S = 4.0
WARDIAN = (sys.executable, "-m", "wardian.daemon.cli")


class Supervisor:
    """Starts a program in a folder, with a socket to tell by; ``heard`` is all that it told, with the time of each."""

    def __init__(
        self, folder: Path, command: Sequence[str] = (*WARDIAN, "run"), *, abstract: bool = False
    ) -> None:
        self.folder = folder
        self.command = command
        self.heard: list[tuple[float, str]] = []
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._name = f"@wardian-test-{os.getpid()}-{id(self)}" if abstract else str(folder / "notify")
        self._socket.bind(self._name.replace("@", "\0", 1) if abstract else self._name)

    def __enter__(self) -> Self:
        environment = {
            **os.environ,
            "NOTIFY_SOCKET": self._name,
            "WATCHDOG_USEC": str(int(WATCHDOG_S * 1_000_000)),
        }
        self.log = self.folder / "daemon.log"
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                self.command, cwd=self.folder, stdout=log, stderr=log, env=environment
            )
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.process.kill()
        self.process.wait(10)
        self._socket.close()
        (self.folder / "notify").unlink(missing_ok=True)

    def listen(self, seconds: float) -> None:
        """Take what is told meanwhile."""
        until = time.monotonic() + seconds
        while (left := until - time.monotonic()) > 0:
            if select.select([self._socket], [], [], left)[0]:
                self.heard.append((time.monotonic(), self._socket.recv(4096).decode()))

    def wait_for(self, line: str, within_s: float = 60.0) -> None:
        """Listen until something was told, or fail."""
        until = time.monotonic() + within_s
        while line not in self.lines():
            assert self.process.poll() is None, self.log.read_text()
            assert time.monotonic() < until, f"not told {line}: {self.lines()}"
            self.listen(0.1)

    def starves(self, within_s: float) -> bool:
        """Return whether the watchdog is not fed in its time, and end the service then, as a service manager does."""
        until = time.monotonic() + within_s
        fed = time.monotonic()
        while time.monotonic() < until and self.process.poll() is None:
            self.listen(0.1)
            fed = max([fed, *(at for at, line in self.heard if line == "WATCHDOG=1")])
            if time.monotonic() - fed > WATCHDOG_S:
                self.process.kill()
                return True
        return False

    def lines(self) -> list[str]:
        """Return all that was told."""
        return [line for _, line in self.heard]

    def stop(self, with_signal: signal.Signals = signal.SIGTERM, within_s: float = 15.0) -> tuple[int, float]:
        """Ask it to end; return its exit status and how long that took."""
        began = time.monotonic()
        self.process.send_signal(with_signal)
        status = self.process.wait(within_s)
        took_s = time.monotonic() - began
        self.listen(0.05)
        return status, took_s
