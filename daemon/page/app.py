"""Requests of the network become plain requests, and answers go back with what keeps a browser from harm.

The rule of this file: what is asked is bounded before anybody looks at it, and an answer always comes.
"""

import asyncio
import gzip
import logging
from collections.abc import Awaitable, Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from http import HTTPStatus
from http.cookies import CookieError, SimpleCookie
from typing import Any, Final, Protocol
from urllib.parse import parse_qsl

from wardian.daemon.page.asked import Answer, Request, plain

log = logging.getLogger(__name__)

MOST_BODY_BYTES: Final = 8_192
MOST_ADDRESS_BYTES: Final = 1_024
_MOST_FIELDS: Final = 40
#: Answers made at once; a board has few cores, and the watching needs one.
_WORKERS: Final = 2
#: More wait for nothing: whoever asks again in a moment gets it.
_MOST_WAITING: Final = {False: 24, True: 12}
_NOBODY_WAITS: Final = plain(HTTPStatus.SERVICE_UNAVAILABLE, "Nobody waits for this any more.")
_FORM: Final = "application/x-www-form-urlencoded"
#: Sent compressed to whoever takes it; pages are not, as the length of a compressed page can betray the token in it.
_COMPRESSED: Final = ("image/svg+xml", "text/css; charset=utf-8", "text/javascript; charset=utf-8")
#: Nothing from elsewhere, nothing written into the page itself, no frame around it.
_POLICY: Final = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
_HEADERS: Final = {
    "content-security-policy": _POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
    "connection": "close",
}

Receive = Callable[[], Awaitable[Any]]
Send = Callable[[Any], Awaitable[None]]


class _Refused(Exception):
    """A request that is too much or no request; the answer says which."""

    def __init__(self, answer: Answer) -> None:
        super().__init__()
        self.answer = answer


class Answering(Protocol):
    """What makes answers, on threads that may wait."""

    def answer(self, request: Request) -> Answer:
        """Return the answer to a request."""

    def is_slow(self, request: Request) -> bool:
        """Return whether that takes seconds."""

    def stop(self) -> None:
        """End what is being made."""


class Application:
    """Answers requests on few threads of its own."""

    def __init__(self, site: Answering) -> None:
        """Answer what a site answers; what is slow has a thread of its own, so that nothing else waits for it."""
        self._site = site
        self._pool = ThreadPoolExecutor(_WORKERS, thread_name_prefix="page")
        self._slow = ThreadPoolExecutor(1, thread_name_prefix="page pictures")
        self._turn = asyncio.Semaphore(1)
        self._waiting = {False: 0, True: 0}

    async def __call__(self, scope: Any, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            return
        try:
            answer = await self._answered(await _read(scope, receive), receive)
        except _Refused as refused:
            answer = refused.answer
        await _send(send, answer, with_body=scope["method"] != "HEAD")

    def stop(self) -> None:
        """Begin no more answers, and wait for none."""
        self._site.stop()
        for pool in (self._pool, self._slow):
            pool.shutdown(wait=False, cancel_futures=True)

    async def _answered(self, request: Request, receive: Receive) -> Answer:
        is_slow = self._site.is_slow(request)
        if self._waiting[is_slow] >= _MOST_WAITING[is_slow]:
            return plain(HTTPStatus.SERVICE_UNAVAILABLE, "Too many ask at once. Try again in a moment.")
        self._waiting[is_slow] += 1
        try:
            return await (self._in_turn(request, receive) if is_slow else self._by(self._pool, request))
        finally:
            self._waiting[is_slow] -= 1

    async def _in_turn(self, request: Request, receive: Receive) -> Answer:
        """Answer what takes long, one after another, and not what nobody waits for any more."""
        gone = asyncio.ensure_future(_gone(receive))
        try:
            async with self._turn:
                return _NOBODY_WAITS if gone.done() else await self._by(self._slow, request)
        finally:
            gone.cancel()

    async def _by(self, pool: ThreadPoolExecutor, request: Request) -> Answer:
        return await asyncio.get_running_loop().run_in_executor(pool, self._whole, request)

    def _whole(self, request: Request) -> Answer:
        """Return the answer; one that fails is logged with its place alone and says so."""
        try:
            return _compressed(self._site.answer(request), request)
        except Exception:  # a page that fails is told and logged, and ends nothing
            log.exception("page failed", extra={"method": request.method})
            words = "This page cannot be shown now; the reason is in the log. The watching goes on."
            return plain(HTTPStatus.INTERNAL_SERVER_ERROR, words)


# ------------------------------------------------------------------------------------------ reading


async def _gone(receive: Receive) -> None:
    """Return once whoever asked is gone."""
    while (await receive())["type"] != "http.disconnect":
        pass


async def _read(scope: Any, receive: Receive) -> Request:
    method, query = scope["method"], scope["query_string"]
    if method not in ("GET", "HEAD", "POST"):
        raise _Refused(plain(HTTPStatus.METHOD_NOT_ALLOWED, "GET, HEAD and POST are accepted."))
    if len(scope["raw_path"]) + len(query) > MOST_ADDRESS_BYTES:
        raise _Refused(plain(HTTPStatus.REQUEST_URI_TOO_LONG, "No address here is so long."))
    headers = _headers(scope["headers"])
    body = await _body(headers, receive) if method == "POST" else b""
    return Request(
        method="GET" if method == "HEAD" else method,
        path=scope["path"],
        headers=headers,
        query=_fields(query),
        fields=_fields(body),
        cookies=_cookies(headers.get("cookie", "")),
    )


def _headers(pairs: Iterable[tuple[bytes, bytes]]) -> dict[str, str]:
    headers: dict[str, str] = {}
    for name, value in pairs:
        key = name.decode("latin-1")
        if key in headers and key in ("host", "origin", "sec-fetch-site"):
            raise _Refused(plain(HTTPStatus.BAD_REQUEST, f"{key} is said twice."))
        headers[key] = value.decode("latin-1")
    return headers


async def _body(headers: dict[str, str], receive: Receive) -> bytes:
    if headers.get("content-type", "").partition(";")[0].strip().lower() != _FORM:
        raise _Refused(plain(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, f"{_FORM} is accepted."))
    body = b""
    while True:
        part = await receive()
        body += bytes(part.get("body", b""))
        if len(body) > MOST_BODY_BYTES:
            raise _Refused(
                plain(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, f"At most {MOST_BODY_BYTES} bytes are accepted.")
            )
        if not part.get("more_body"):
            return body


def _fields(data: bytes) -> dict[str, str]:
    """Return the fields of a form, several of one name with commas between them.

    Raises:
        _Refused: There are more than any form of ours has, or they are no text.
    """
    try:
        pairs = parse_qsl(
            data.decode("ascii"), keep_blank_values=True, errors="strict", max_num_fields=_MOST_FIELDS
        )
    except ValueError as error:
        raise _Refused(plain(HTTPStatus.BAD_REQUEST, "That is no form of this page.")) from error
    fields: dict[str, str] = {}
    for name, value in pairs:
        fields[name] = f"{fields[name]},{value}" if name in fields else value
    return fields


def _cookies(header: str) -> dict[str, str]:
    try:
        return {name: one.value for name, one in SimpleCookie(header).items()}
    except CookieError:
        return {}


# ------------------------------------------------------------------------------------------ answering


def _compressed(answer: Answer, request: Request) -> Answer:
    """Return an answer as it is sent: compressed where it is of a kind that may be and the browser takes that."""
    if answer.kind not in _COMPRESSED:
        return answer
    headers = {**answer.headers, "vary": "accept-encoding"}
    taken = request.headers.get("accept-encoding", "").lower().split(",")
    if "gzip" not in map(str.strip, taken):
        return replace(answer, headers=headers)
    return replace(
        answer, body=gzip.compress(answer.body, mtime=0), headers={**headers, "content-encoding": "gzip"}
    )


async def _send(send: Send, answer: Answer, *, with_body: bool) -> None:
    headers = {
        **_HEADERS,
        "cache-control": "no-store",
        "content-type": answer.kind,
        "content-length": str(len(answer.body)),
        **answer.headers,
    }
    pairs = [(name.encode("latin-1"), value.encode("latin-1")) for name, value in headers.items()]
    await send({"type": "http.response.start", "status": int(answer.status), "headers": pairs})
    await send({"type": "http.response.body", "body": answer.body if with_body else b""})
