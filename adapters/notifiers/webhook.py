"""Messages as HTTP requests to an address of the person's own.

Needs nothing but a network. It follows no redirect, uses no proxy and reads no answer beyond its
status. What is a number from 200 to 299 is taken; 408, 409, 425, 429, redirects and 5xx may heal;
every other answer will not. The same ``Idempotency-Key`` marks a repeat, which may say more than
the first try did.
"""

import socket
import ssl
from contextlib import suppress
from dataclasses import dataclass
from http.client import HTTPConnection, HTTPException, HTTPSConnection
from pathlib import Path
from typing import Final
from urllib.parse import SplitResult, quote, urlsplit

from wardian.adapters.brokers import encryption, is_loopback, secret, unusable
from wardian.adapters.deadlines import OneAtATime
from wardian.adapters.outgoing import JSON_TYPE, as_json, one_line, reason
from wardian.rules.errors import DeliveryFailed, DeliveryRefused
from wardian.rules.ports import Message

#: 409: another try with this key is still being worked on (IETF draft "The Idempotency-Key HTTP
#: Header Field"). 408, 425 and 429: RFC 9110, RFC 8470 and RFC 6585.
MAY_HEAL: Final = frozenset({408, 409, 425, 429})
#: What a header value holds as it is; anything else is percent-encoded.
KEY_SIGNS: Final = "!#$&'()*+,-./:;<=>?@[]^_`{|}~ "
MOST_RETRY_AFTER: Final = 40


@dataclass(frozen=True, slots=True)
class WebhookSettings:
    """One address that takes messages; a secret in it or beside it stands in a file or the environment.

    One of ``url``, ``url_file`` and ``url_env`` is needed. ``timeout_s`` is for a whole request.
    """

    name: str
    url: str | None = None
    url_file: Path | None = None
    url_env: str | None = None
    token_file: Path | None = None
    token_env: str | None = None
    allow_plain_token: bool = False
    ca_file: Path | None = None
    timeout_s: float = 10.0


class WebhookNotifier:
    """Posts each message's fields and key as one JSON object."""

    def __init__(self, settings: WebhookSettings) -> None:
        """Check the address and read the secrets.

        Raises:
            AdapterError: The settings can never work; ``may_heal`` is False.
        """
        self.name = settings.name
        self._timeout_s = settings.timeout_s
        self._url = _address(settings)
        self._shown = f"{self._url.scheme}://{self._url.netloc}"
        self._token = _token(settings, self._url)
        self._tls = encryption(self.name, settings.ca_file) if self._url.scheme == "https" else None
        self._calls = OneAtATime(f"webhook {self.name}")

    def send(self, message: Message) -> None:
        """Post one message.

        Raises:
            DeliveryFailed: No answer in time, or one that asks for another try.
            DeliveryRefused: The address does not want this message.
        """
        payload = as_json(self.name, message)
        connection = _connection(self._url, self._tls, self._timeout_s)
        try:
            self._calls.call(
                message.key, lambda: self._post(connection, message.key, payload), self._timeout_s
            )
        except TimeoutError as error:
            _cut(connection)
            raise DeliveryFailed(
                self.name, f"{self._shown} gave no answer within {self._timeout_s:g} s"
            ) from error
        except OSError as error:
            raise DeliveryFailed(self.name, f"{self._shown} cannot be reached: {reason(error)}") from error
        except (HTTPException, ValueError) as error:
            # The words of these errors quote what the peer sent, which may be what we sent.
            why = f"{self._shown} answered with something that is not HTTP ({type(error).__name__})"
            raise DeliveryFailed(self.name, why) from None

    def close(self) -> None:
        """Do nothing: no connection outlives its request."""

    def _post(self, connection: HTTPConnection, key: str, payload: bytes) -> None:
        try:
            connection.request("POST", _path(self._url), payload, self._headers(key))
            with connection.getresponse() as answer:
                self._judge(answer.status, answer.getheader("Retry-After"))
        finally:
            connection.close()

    def _headers(self, key: str) -> dict[str, str]:
        headers = {
            "Content-Type": JSON_TYPE,
            "User-Agent": "wardian",
            "Connection": "close",
            "Idempotency-Key": quote(key, safe=KEY_SIGNS),
        }
        return headers if self._token is None else headers | {"Authorization": f"Bearer {self._token}"}

    def _judge(self, status: int, retry_after: str | None) -> None:
        if 200 <= status <= 299:
            return
        why = f"{self._shown} answered {status}"
        if retry_after:
            why += f", try again after {one_line(retry_after)[:MOST_RETRY_AFTER]}"
        if 300 <= status <= 399:
            raise DeliveryFailed(self.name, why + "; redirects are not followed, give the final address")
        if 400 <= status <= 499 and status not in MAY_HEAL:
            raise DeliveryRefused(self.name, why)
        raise DeliveryFailed(self.name, why)


def _address(settings: WebhookSettings) -> SplitResult:
    given = [settings.url, settings.url_file, settings.url_env]
    if sum(place is not None for place in given) != 1:
        raise unusable(settings.name, "give one of url, url_file and url_env")
    text = settings.url or secret(settings.name, "url", settings.url_file, settings.url_env) or ""
    if not (text.isascii() and text.isprintable() and " " not in text):
        raise unusable(settings.name, "url holds a space or a sign beyond ASCII; write it percent-encoded")
    try:
        url = urlsplit(text)
        _port(url)
    except ValueError:
        raise unusable(settings.name, "url is none; accepted: https://HOST[:PORT]/PATH") from None
    if url.scheme not in {"http", "https"} or not url.hostname:
        raise unusable(settings.name, "url does not begin with https://HOST or http://HOST")
    if url.username is not None or url.password is not None:
        raise unusable(settings.name, "url holds a user or password; use token_file or token_env instead")
    return url


def _port(url: SplitResult) -> int:
    return url.port or (443 if url.scheme == "https" else 80)


def _path(url: SplitResult) -> str:
    return (url.path or "/") + (f"?{url.query}" if url.query else "")


def _token(settings: WebhookSettings, url: SplitResult) -> str | None:
    token = secret(settings.name, "token", settings.token_file, settings.token_env)
    if token is None:
        return None
    if not (token.isascii() and token.isprintable() and " " not in token):
        raise unusable(settings.name, "token holds a space or a sign that no HTTP header can carry")
    if url.scheme == "http" and not settings.allow_plain_token and not is_loopback(url.hostname or ""):
        raise unusable(settings.name, "the token would cross the network unencrypted; use an https:// url")
    return token


def _connection(url: SplitResult, tls: ssl.SSLContext | None, timeout_s: float) -> HTTPConnection:
    host = url.hostname or ""
    if tls is not None:
        return HTTPSConnection(host, _port(url), timeout=timeout_s, context=tls)
    return HTTPConnection(host, _port(url), timeout=timeout_s)


def _cut(connection: HTTPConnection) -> None:
    """End the wait for an answer that comes too slowly, or never."""
    line: socket.socket | None = connection.sock
    if line is not None:
        with suppress(OSError):
            line.shutdown(socket.SHUT_RDWR)
