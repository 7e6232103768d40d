"""Real receivers on loopback for what the program sends: an HTTP server, a mail server, a broker's client."""

import email.policy
import json
import smtplib
import ssl
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email import message_from_bytes
from email.message import EmailMessage
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Event, Thread
from typing import TYPE_CHECKING, Any, cast

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session

if TYPE_CHECKING:
    import asyncio

LOOPBACK = "127.0.0.1"


@dataclass
class Request:
    """One request as it arrived, and the status that it shall get."""

    path: str
    headers: dict[str, str]
    body: bytes
    status: int

    def json(self) -> dict[str, Any]:
        """Return the body as the JSON object that it holds."""
        fields: dict[str, Any] = json.loads(self.body)
        return fields


@dataclass
class HttpReceiver:
    """Keeps every POST and answers with ``status`` and ``headers``, or behaves badly as ``manner`` says.

    Manners: ``polite``; ``silent`` never answers; ``drop`` hangs up after the request; ``drip`` sends
    its answer a sign at a time and never ends it; ``babble`` answers with what is not HTTP.
    ``silent_at`` is the number of the one request that is kept and never answered.
    """

    status: int = 204
    headers: dict[str, str] = field(default_factory=dict)
    manner: str = "polite"
    silent_at: int = 0
    requests: list[Request] = field(default_factory=list)
    port: int = 0
    closing: Event = field(default_factory=Event)

    @property
    def address(self) -> str:
        """Where it is, without a path."""
        return f"http://{LOOPBACK}:{self.port}"


@contextmanager
def http_receiver(certificates: Path | None = None) -> Iterator[HttpReceiver]:
    """Run a receiver; with TLS when a folder of certificates is given."""
    receiver = HttpReceiver()
    server = ThreadingHTTPServer((LOOPBACK, 0), _handler(receiver))
    server.daemon_threads = True
    server.block_on_close = False
    receiver.port = server.server_address[1]
    if certificates is not None:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(certificates / "server.pem", certificates / "server.key")
        server.socket = context.wrap_socket(server.socket, server_side=True)
    thread = Thread(target=server.serve_forever, args=(0.01,), daemon=True)
    thread.start()
    yield receiver
    receiver.closing.set()
    server.shutdown()
    server.server_close()
    thread.join(10)


def _handler(receiver: HttpReceiver) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            receiver.requests.append(Request(self.path, dict(self.headers), body, receiver.status))
            self.close_connection = True
            is_silent = len(receiver.requests) == receiver.silent_at
            getattr(self, "be_silent" if is_silent else f"be_{receiver.manner}")()

        def be_polite(self) -> None:
            self.send_response(receiver.status)
            for name, value in receiver.headers.items():
                self.send_header(name, value)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def be_silent(self) -> None:
            receiver.closing.wait(30)

        def be_drop(self) -> None:
            self.connection.close()

        def be_drip(self) -> None:
            self.wfile.write(b"HTTP/1.1 204 No Content\r\nX-Slow: ")
            while not receiver.closing.wait(0.02):
                self.wfile.write(b"x")

        def be_babble(self) -> None:
            self.wfile.write(b"not at all\r\n\r\n" + self.headers.get("Authorization", "").encode())

        def log_message(self, format: str, *args: Any) -> None:  # noqa: A002 - the library's name
            """Say nothing."""

    return Handler


@dataclass
class MailSink:
    """Keeps every mail it takes; ``refusal`` is what it answers instead, such as ``550 no such user``."""

    mails: list[EmailMessage] = field(default_factory=list)
    recipients: list[str] = field(default_factory=list)
    refusal: str = ""
    port: int = 0

    async def handle_DATA(self, _server: SMTP, _session: Session, envelope: Envelope) -> str:  # noqa: N802 - the name the library looks for
        """Take or refuse one mail."""
        if self.refusal:
            return self.refusal
        content = envelope.content
        assert isinstance(content, bytes)
        mail = message_from_bytes(content, policy=email.policy.default)
        assert isinstance(mail, EmailMessage)
        self.mails.append(mail)
        self.recipients += envelope.rcpt_tos
        return "250 taken"


class _AnyPort(Controller):
    """A controller that takes whichever port is free."""

    def _trigger_server(self) -> None:
        """Learn the port first: the library would knock at port 0."""
        server = cast("asyncio.Server", self.server)
        self.port = server.sockets[0].getsockname()[1]
        super()._trigger_server()  # type: ignore[no-untyped-call]  # the library is typed in part


@contextmanager
def mail_sink() -> Iterator[MailSink]:
    """Run a mail server that takes everything for everybody."""
    sink = MailSink()
    controller = _AnyPort(sink, hostname=LOOPBACK, port=0)
    controller.start()
    sink.port = controller.port
    with smtplib.SMTP(LOOPBACK, sink.port, timeout=5) as probe:
        probe.noop()
    yield sink
    controller.stop()


def retained(broker: Any) -> dict[str, Any]:
    """Return what somebody who comes now sees, with the broker's own command line client."""
    end = "wardian-test-end"
    broker.publish(end, "null", retain=True)
    place = ["-h", "127.0.0.1", "-p", str(broker.port), *broker.options]
    # What is retained for the first topic comes first; so the second time that the end comes, it is all in.
    command = ["mosquitto_sub", *place, "-t", "#", "-t", end, "-F", "%t\n%p", "-W", "20"]
    found: list[tuple[str, str]] = []
    with subprocess.Popen(command, stdout=subprocess.PIPE, encoding="utf-8") as client:
        assert client.stdout is not None
        while [topic for topic, _ in found].count(end) < 2:
            found.append((client.stdout.readline().rstrip("\n"), client.stdout.readline()))
        client.terminate()
    return {topic: json.loads(text) for topic, text in found if topic != end}
