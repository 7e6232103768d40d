"""The network side of the page: a server on a thread of its own that may fail and never touches the watching.

The rule of this file: every connection ends within seconds, whoever holds it, and there are never many.
"""

import asyncio
import logging
import socket
import threading
from collections import OrderedDict
from typing import ClassVar, Final

import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol, RequestResponseCycle

from wardian.daemon.config_page import Listen
from wardian.daemon.page.app import Application
from wardian.rules.wire_health import SensorHealth

log = logging.getLogger(__name__)

#: One request, from connecting to its last byte, and again its answer.
LONGEST_CONNECTION_S: Final = 10.0
#: An answer that takes so long is none; a picture drawn on a small board may take a minute.
LONGEST_ANSWER_S: Final = 120.0
#: The one that is oldest goes when another comes.
MOST_CONNECTIONS: Final = 64
#: While its address cannot be had.
RETRY_S: Final = 15.0
_STOP_S: Final = 5.0
_MOST_HEADER_BYTES: Final = 16_384


class _ShortLived(H11Protocol):
    """A connection for one request that is cut when its time is over, or when too many newer ones came."""

    _open: ClassVar[OrderedDict[int, "asyncio.Transport"]] = OrderedDict()

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]  # as the one above
        super().connection_made(transport)
        self._open[id(self)] = transport
        self._began_s = self.loop.time()
        self._end = self.loop.call_later(LONGEST_CONNECTION_S, self._end_it)
        while len(self._open) > MOST_CONNECTIONS:
            self._open.popitem(last=False)[1].abort()

    def _end_it(self) -> None:
        """Cut whoever is slow to ask or to listen; whoever waits for an answer of ours is not to blame."""
        cycle: RequestResponseCycle | None = self.cycle
        is_answered = cycle is None or cycle.more_body or cycle.response_started
        if is_answered or self.loop.time() - self._began_s > LONGEST_ANSWER_S:
            self.transport.abort()
        else:
            self._end = self.loop.call_later(LONGEST_CONNECTION_S, self._end_it)

    def connection_lost(self, exc: Exception | None) -> None:
        self._open.pop(id(self), None)
        self._end.cancel()
        super().connection_lost(exc)


class PageServer:
    """Serves an application at one address; while that cannot be had it tries again."""

    def __init__(self, application: Application, listen: Listen) -> None:
        self._application = application
        self._listen = listen
        self._stopped = threading.Event()
        self._server: uvicorn.Server | None = None
        self._trouble = "not started yet"
        self._thread = threading.Thread(target=self._work, name="page", daemon=True)

    def start(self) -> None:
        """Begin; returns at once."""
        self._thread.start()

    def stop(self) -> None:
        """End; idempotent, within seconds."""
        self._stopped.set()
        self._application.stop()
        if self._server:
            self._server.should_exit = True
        if self._thread.is_alive():
            self._thread.join(_STOP_S)

    def health(self) -> SensorHealth:
        """Return whether the page can be opened now."""
        return SensorHealth(not self._trouble, self._trouble or f"at http://{self._listen}/")

    def _work(self) -> None:
        """Serve until stopped; whatever goes wrong is told and tried again, and ends nothing else."""
        while not self._stopped.is_set():
            try:
                self._serve()
            except (Exception, SystemExit) as error:  # noqa: BLE001  # a page must never end the watching
                self._note(
                    f"not running: {getattr(error, 'strerror', None) or type(error).__name__} at {self._listen}"
                )
            self._stopped.wait(RETRY_S)

    def _note(self, trouble: str) -> None:
        if trouble != self._trouble:
            log.error("page not running", extra={"why": trouble})
        self._trouble = trouble

    def _serve(self) -> None:
        with _bound(self._listen) as listener:
            self._server = uvicorn.Server(_settings(self._application))
            if self._stopped.is_set():
                return
            self._trouble = ""
            log.info("page running", extra={"address": str(self._listen)})
            self._server.run(sockets=[listener])


def _bound(listen: Listen) -> socket.socket:
    """Return a socket that listens.

    Raises:
        OSError: The address cannot be had.
    """
    listener = socket.socket(socket.AF_INET6 if ":" in listen.host else socket.AF_INET)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((listen.host, listen.port))
    except BaseException:
        listener.close()
        raise
    return listener


def _settings(application: Application) -> uvicorn.Config:
    return uvicorn.Config(
        application,
        http=_ShortLived,
        ws="none",
        lifespan="off",
        loop="asyncio",
        log_config=None,
        # What strangers send that is no request is of no interest.
        log_level="error",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        backlog=MOST_CONNECTIONS,
        timeout_graceful_shutdown=2,
        h11_max_incomplete_event_size=_MOST_HEADER_BYTES,
    )
