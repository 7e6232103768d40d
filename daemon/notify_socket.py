"""What the service manager is told of us, by its own protocol: datagrams of lines to the socket that it names.

The rule of this file: telling never waits and never fails; without a service manager nothing is told.
Source: sd_notify(3) and sd_watchdog_enabled(3) of systemd 252 (the protocol section of the first).
"""

import os
import socket
from collections.abc import MutableMapping
from contextlib import suppress
from typing import Final

#: Longer lines of status are cut: they are for one line of a terminal.
MOST_STATUS_CHARACTERS: Final = 200


class ServiceManager:
    """The service manager as our environment names it, or nobody."""

    def __init__(self, environment: MutableMapping[str, str]) -> None:
        """Take what is meant for us out of the environment, so that no program that we start speaks for us."""
        self._address = environment.pop("NOTIFY_SOCKET", "")
        self.watchdog_s = _watchdog_s(
            environment.pop("WATCHDOG_USEC", ""), environment.pop("WATCHDOG_PID", "")
        )
        self._status = ""
        if not self._address.startswith(("/", "@")):
            self._address = ""

    @property
    def is_there(self) -> bool:
        """Whether anybody listens."""
        return bool(self._address)

    def ready(self) -> None:
        """Say that the start is done."""
        self._tell("READY=1")

    def feed(self) -> None:
        """Say that everything moves."""
        if self.watchdog_s is not None:
            self._tell("WATCHDOG=1")

    def status(self, words: str) -> None:
        """Say in a line how we are, when that has changed."""
        line = " ".join(words.split())[:MOST_STATUS_CHARACTERS]
        if line != self._status:
            self._status = line
            self._tell(f"STATUS={line}")

    def stopping(self) -> None:
        """Say that the end has begun."""
        self._tell("STOPPING=1")

    def _tell(self, line: str) -> None:
        if not self._address:
            return
        # In the abstract namespace a name begins with a zero byte, which is written "@".
        address = f"\0{self._address[1:]}" if self._address.startswith("@") else self._address
        with (
            suppress(OSError),
            socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as told,
        ):
            told.setblocking(False)
            told.sendto(line.encode("utf-8", "replace"), address)


def _watchdog_s(microseconds: str, pid: str) -> float | None:
    """Return within how long we must be heard, None where nobody waits for it or another process is meant."""
    is_for_us = not pid or pid == str(os.getpid())
    if not (is_for_us and microseconds.isascii() and microseconds.isdigit() and int(microseconds)):
        return None
    return int(microseconds) / 1_000_000
