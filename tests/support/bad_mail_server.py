"""A mail server on loopback that misbehaves as it is told to, one plain step of the protocol after the other."""

import socket
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

LOOPBACK = "127.0.0.1"
#: Steps of one delivery, in order, each by what the client has just sent; the first is the greeting.
STEPS = ("CONNECT", "EHLO", "MAIL", "RCPT", "DATA", "MESSAGE")
_ANSWERS = {
    "CONNECT": b"220 mail.example.org\r\n",
    "EHLO": b"250 mail.example.org\r\n",
    "MAIL": b"250 ok\r\n",
    "RCPT": b"250 ok\r\n",
    "DATA": b"354 go on\r\n",
    "MESSAGE": b"250 taken\r\n",
}


@dataclass
class BadMailServer:
    """Takes mails, unless ``manner`` at ``step`` says otherwise.

    Manners: ``polite``; ``stall`` answers nothing any more; ``drop`` hangs up; ``4xx`` and ``5xx`` refuse. What
    was sent whole before a stall or a drop counts among the ``mails`` only where it was taken.
    """

    manner: str = "polite"
    step: str = "MESSAGE"
    mails: list[bytes] = field(default_factory=list)
    #: Messages that came whole and were never answered.
    half_taken: list[bytes] = field(default_factory=list)
    port: int = 0
    ended: threading.Event = field(default_factory=threading.Event)
    context: ssl.SSLContext | None = None
    connections: list[socket.socket] = field(default_factory=list)

    def behave(self, manner: str, step: str = "MESSAGE") -> None:
        """Behave otherwise from now on; whoever waits for an answer is hung up on."""
        self.manner, self.step = manner, step
        for connection in self.connections:
            with suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)

    def serve(self, listening: socket.socket) -> None:
        while not self.ended.is_set():
            with suppress(TimeoutError):
                connection, _ = listening.accept()
                self.connections.append(connection)
                threading.Thread(target=self._talk, args=(connection,), daemon=True).start()

    def _talk(self, connection: socket.socket) -> None:
        with suppress(OSError), connection:
            connection.settimeout(30)
            if self.context is not None:
                connection = self.context.wrap_socket(connection, server_side=True)
            with connection, connection.makefile("rb") as lines:
                if self._answers(connection, "CONNECT", b""):
                    while (line := lines.readline()) and self._hears(connection, line, lines):
                        pass

    def _hears(self, connection: socket.socket, line: bytes, lines: "Iterator[bytes]") -> bool:
        verb = line[:4].upper().decode("ascii", "replace")
        if verb == "QUIT":
            return False
        if verb == "DATA":
            if not self._answers(connection, "DATA", b""):
                return False
            mail = b"".join(iter(lambda: next(lines), b".\r\n"))
            return self._answers(connection, "MESSAGE", mail)
        return self._answers(connection, "EHLO" if verb in ("EHLO", "HELO") else verb, b"")

    def _answers(self, connection: socket.socket, step: str, mail: bytes) -> bool:
        """Answer one step; return whether to go on."""
        if self.manner == "polite" or step != self.step:
            connection.sendall(_ANSWERS.get(step, b"250 ok\r\n"))
            self.mails += [mail] if step == "MESSAGE" else []
            return True
        self.half_taken += [mail] if mail else []
        if self.manner == "stall":
            connection.recv(1)  # until we hang up, or the client does
        elif self.manner in ("4xx", "5xx"):
            connection.sendall(b"451 later\r\n" if self.manner == "4xx" else b"554 no\r\n")
            return True
        return False


@contextmanager
def bad_mail_server(certificates: Path | None = None) -> Iterator[BadMailServer]:
    """Run one; with TLS from the first byte on when a folder of certificates is given."""
    server = BadMailServer()
    if certificates is not None:
        server.context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        server.context.load_cert_chain(certificates / "server.pem", certificates / "server.key")
    with socket.create_server((LOOPBACK, 0)) as listening:
        listening.settimeout(0.05)
        server.port = listening.getsockname()[1]
        thread = threading.Thread(target=server.serve, args=(listening,), daemon=True)
        thread.start()
        yield server
        server.behave("polite")
        server.ended.set()
        thread.join(5)
