"""A line between two programs that goes bad in the ways lines do: a TCP proxy on loopback.

The rule of this file: how the line behaves is asked for each piece that goes over it, so that it may turn bad and good
again while connections stand.
"""

import socket
import struct
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from threading import Event, Thread

LOOPBACK = "127.0.0.1"
#: Nobody comes through: each connection is ended, and a new one at once.
DROPS = "drops"
#: Nothing moves any more, and nothing is lost: it goes on where it stopped.
STALLS = "stalls"
#: The other end is gone without a word: what is sent on a connection of that time is lost for good.
SWALLOWS = "swallows"
#: A byte at a time.
TRICKLES = "trickles"
#: Each connection is ended in the middle of what the broker sends, after some bytes of it.
CUTS = "cuts"
GOOD = "good"


@dataclass
class BadLine:
    """Carries bytes to ``to_port`` in the manner it is told."""

    to_port: int
    manner: str = GOOD
    #: Bytes from the other end after which a connection is cut, by ``CUTS``.
    cut_after: int = 40
    #: How long a byte takes, by ``TRICKLES``.
    byte_s: float = 0.05
    port: int = 0
    closing: Event = field(default_factory=Event)
    ends: list[socket.socket] = field(default_factory=list)
    connections: int = 0

    def turn(self, manner: str) -> None:
        """Let the line be otherwise from now on."""
        self.manner = manner
        if manner == DROPS:
            for end in list(self.ends):
                _cut(end)

    def serve(self, listening: socket.socket) -> None:
        """Carry whatever comes, until closed."""
        while not self.closing.is_set():
            with suppress(TimeoutError):
                near, _ = listening.accept()
                Thread(target=self._carry, args=(near,), daemon=True).start()

    def _carry(self, near: socket.socket) -> None:
        self.connections += 1
        if self.manner == DROPS:
            _cut(near)
            return
        far = socket.create_connection((LOOPBACK, self.to_port), timeout=10)
        self.ends += [near, far]
        threads = [
            Thread(target=self._pump, args=(near, far, False), daemon=True),
            Thread(target=self._pump, args=(far, near, True), daemon=True),
        ]
        for thread in threads:
            thread.start()

    def _pump(self, source: socket.socket, target: socket.socket, is_from_afar: bool) -> None:
        source.settimeout(0.1)
        is_lost, carried = False, 0
        while not self.closing.is_set():
            try:
                piece = source.recv(65_536)
            except TimeoutError:
                is_lost |= self.manner == SWALLOWS
                continue
            except OSError:
                break
            is_lost |= self.manner == SWALLOWS
            if is_lost and piece:
                continue
            if not piece or not self._sent(piece, target, self._room(carried) if is_from_afar else None):
                break
            carried += len(piece)
        if not is_lost:
            _cut(source)
            _cut(target)

    def _room(self, carried: int) -> int | None:
        return max(0, self.cut_after - carried) if self.manner == CUTS else None

    def _sent(self, piece: bytes, target: socket.socket, room: int | None) -> bool:
        """Send a piece on in the manner of the moment; return whether the connection goes on."""
        while self.manner == STALLS and not self.closing.wait(0.02):
            pass
        goes_on = room is None or room > len(piece)
        rest = piece[:room]
        while rest:
            at_once = 1 if self.manner == TRICKLES else len(rest)
            try:
                target.sendall(rest[:at_once])
            except OSError:
                return False
            rest = rest[at_once:]
            if self.manner == TRICKLES:
                self.closing.wait(self.byte_s)
        return goes_on


def _cut(end: socket.socket) -> None:
    """End a connection at once, with a reset."""
    with suppress(OSError):
        end.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    with suppress(OSError):
        end.shutdown(socket.SHUT_RDWR)
    end.close()


@contextmanager
def bad_line(to_port: int, listening: socket.socket | None = None) -> Iterator[BadLine]:
    """Run a line to a port of this machine, from a port of its own or from where a socket listens."""
    line = BadLine(to_port)
    with listening or socket.create_server((LOOPBACK, 0)) as near:
        near.settimeout(0.1)
        line.port = near.getsockname()[1]
        thread = Thread(target=line.serve, args=(near,), daemon=True)
        thread.start()
        try:
            yield line
        finally:
            line.closing.set()
            thread.join(5)
            for end in line.ends:
                _cut(end)
