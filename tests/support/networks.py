"""Two networks beside that of the machine, joined by a line: one for a daemon, one for what it talks to. Needs root."""

import ctypes
import os
import socket
import subprocess
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from threading import Thread

#: setns(2): a network.
_NETWORK = 0x40000000


@dataclass
class Networks:
    """``near`` and ``far`` are processes that hold a network each."""

    near: int
    far: int
    near_end: str = "10.77.0.2"
    far_end: str = "10.77.0.1"

    @property
    def inside(self) -> tuple[str, ...]:
        """What starts a command in the near network."""
        return ("nsenter", "-t", str(self.near), "-n")

    def join(self) -> None:
        """Lay the line."""
        far = ["nsenter", "-t", str(self.far), "-n"]
        _do(*far, "ip", "link", "add", "va", "type", "veth", "peer", "name", "vb", "netns", str(self.near))
        _do(*far, "ip", "address", "add", f"{self.far_end}/24", "dev", "va")
        _do(*far, "ip", "link", "set", "va", "up")
        _do(*self.inside, "ip", "address", "add", f"{self.near_end}/24", "dev", "vb")
        _do(*self.inside, "ip", "link", "set", "vb", "up")
        _do(*self.inside, "ip", "link", "set", "lo", "up")

    def move_to(self, address: str) -> None:
        """Give the near network another address."""
        _do(*self.inside, "ip", "address", "flush", "dev", "vb")
        _do(*self.inside, "ip", "address", "add", f"{address}/24", "dev", "vb")

    def listen(self) -> socket.socket:
        """Return a socket of this process that listens in the far network."""
        made: list[socket.socket] = []

        def make() -> None:
            with Path(f"/proc/{self.far}/ns/net").open("rb") as network:
                assert ctypes.CDLL(None, use_errno=True).setns(network.fileno(), _NETWORK) == 0
            made.append(socket.create_server((self.far_end, 0)))

        thread = Thread(target=make)  # a network is a thread's, and this thread ends
        thread.start()
        thread.join(10)
        return made[0]


def _do(*command: str) -> None:
    subprocess.run(command, check=True, timeout=10, capture_output=True)


@contextmanager
def networks() -> Iterator[Networks]:
    """Make two networks that are joined."""
    holders = [_held() for _ in range(2)]
    try:
        made = Networks(holders[0].pid, holders[1].pid)
        made.join()
        yield made
    finally:
        for holder in holders:
            holder.kill()
            holder.wait(10)


def _held() -> "subprocess.Popen[bytes]":
    """Start a process in a network of its own; return once it is in it."""
    command: Sequence[str] = ["unshare", "-n", "sh", "-c", "echo; exec sleep 3600"]
    holder = subprocess.Popen(command, stdout=subprocess.PIPE)
    assert holder.stdout is not None
    holder.stdout.readline()
    holder.stdout.close()
    return holder


def may_make_networks() -> bool:
    """Whether this user may."""
    return os.getuid() == 0 and subprocess.run(["unshare", "-n", "true"], check=False).returncode == 0
