"""What a browser asks and what it gets: plain values, so that views know nothing of a network."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from http import HTTPStatus
from typing import Final

HTML: Final = "text/html; charset=utf-8"


@dataclass(frozen=True, slots=True)
class Request:
    """One request; ``headers`` are in small letters, ``fields`` what a form or a query says, the first of each name."""

    method: str
    path: str
    headers: Mapping[str, str] = field(default_factory=dict, repr=False)
    query: Mapping[str, str] = field(default_factory=dict, repr=False)
    fields: Mapping[str, str] = field(default_factory=dict, repr=False)
    cookies: Mapping[str, str] = field(default_factory=dict, repr=False)


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer, whole."""

    body: bytes
    status: HTTPStatus = HTTPStatus.OK
    kind: str = HTML
    headers: Mapping[str, str] = field(default_factory=dict)


def plain(status: HTTPStatus, words: str) -> Answer:
    """Return an answer in a line."""
    return Answer(f"{words}\n".encode(), status, "text/plain; charset=utf-8")


def elsewhere(address: str, headers: Mapping[str, str] | None = None) -> Answer:
    """Return that the browser is to go on to another of our own addresses."""
    return Answer(b"", HTTPStatus.SEE_OTHER, headers={"location": address, **(headers or {})})
