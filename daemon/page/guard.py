"""Who may see and change anything: by the name the page was opened with, the page a form came from, and the password.

The rule of this file: what cannot be told for certain is refused, and no secret is shown or written anywhere.
"""

import re
import secrets
from collections import OrderedDict, deque
from collections.abc import Collection
from hmac import compare_digest
from http import HTTPStatus
from ipaddress import ip_address
from typing import Final
from urllib.parse import urlsplit

from wardian.daemon.config_brokers import is_loopback
from wardian.daemon.page.asked import Answer, Request, plain
from wardian.rules.ports import Clock

SESSION: Final = "bench"
#: The field of a form that says that it is one of ours.
TOKEN: Final = "token"  # noqa: S105  # the name of a field
_HOST: Final = re.compile(r"(?:\[(?P<six>[0-9a-f:.]{2,45})\]|(?P<name>[a-z0-9.-]{1,253}))(?::[0-9]{1,5})?")
_SESSIONS: Final = 64
#: Signed in for so long: a class has an evening a week. [s]
_SESSION_S: Final = 30 * 86_400.0
#: So many wrong passwords in so long, from whomever: then nobody may try for a while. [s]
_TRIES: Final = 10
_TRIES_S: Final = 60.0


class Guard:
    """Refuses what is not of this bench; safe to be asked from several threads."""

    def __init__(
        self, names: Collection[str], password: str | None, clock: Clock, *, is_open: bool = False
    ) -> None:
        """Know the names of the page and its password.

        ``is_open`` is whether it is reached from other machines, by a bare address, too.
        """
        self._names = frozenset(names)
        self._password = password
        self._clock = clock
        self._is_open = is_open
        self._token = secrets.token_urlsafe(32)
        self._sessions: OrderedDict[str, float] = OrderedDict()
        self._wrong: deque[float] = deque(maxlen=_TRIES)

    @property
    def token(self) -> str:
        """What every form of ours carries; another one after each start."""
        return self._token

    @property
    def has_password(self) -> bool:
        """Whether people must sign in."""
        return self._password is not None

    def refusal(self, request: Request) -> Answer | None:
        """Return why a request is refused whoever it is from, None where it is not."""
        if not self._is_ours(request.headers.get("host", "")):
            return plain(
                HTTPStatus.MISDIRECTED_REQUEST,
                "This page is not known by that name; page.names lists its names.",
            )
        if request.method == "POST" and not self._comes_from_here(request):
            return plain(HTTPStatus.FORBIDDEN, "Not done: this did not come from a page of this bench.")
        if request.method == "POST" and not compare_digest(
            request.fields.get(TOKEN, "").encode(), self._token.encode()
        ):
            return plain(
                HTTPStatus.FORBIDDEN,
                "Not done: the page is from before the last start. Go back, load it anew, and try again.",
            )
        return None

    def _is_ours(self, host: str) -> bool:
        found = _HOST.fullmatch(host.lower())
        if found is None:
            return False
        name = found["six"] or found["name"].removesuffix(".")
        if name in self._names or is_loopback(name):
            return True
        return self._is_open and _is_address(name)

    def _comes_from_here(self, request: Request) -> bool:
        """Whether a browser says that a form was on a page of this same address; one that says nothing is not believed."""
        site, origin = request.headers.get("sec-fetch-site"), request.headers.get("origin")
        if site not in (None, "same-origin") or (site is None and origin is None):
            return False
        return origin is None or urlsplit(origin).netloc.lower() == request.headers.get("host", "").lower()

    # ------------------------------------------------------------------------------------- signing in

    def knows(self, request: Request) -> bool:
        """Return whether a request is of somebody who may see everything."""
        if self._password is None:
            return True
        since_s = self._sessions.get(request.cookies.get(SESSION, ""))
        return since_s is not None and self._clock.monotonic_s() - since_s < _SESSION_S

    def sign_in(self, password: str) -> str | None:
        """Return a new session for the right password, None for a wrong one or after too many of them."""
        now_s = self._clock.monotonic_s()
        is_tried_out = len(self._wrong) == _TRIES and now_s - self._wrong[0] < _TRIES_S
        if self._password is None or is_tried_out:
            return None
        if not compare_digest(password.encode(), self._password.encode()):
            self._wrong.append(now_s)
            return None
        session = secrets.token_urlsafe(32)
        self._sessions[session] = now_s
        while len(self._sessions) > _SESSIONS:
            self._sessions.popitem(last=False)
        return session

    def sign_out(self, request: Request) -> None:
        """Forget a session."""
        self._sessions.pop(request.cookies.get(SESSION, ""), None)


def _is_address(name: str) -> bool:
    """Return whether a host is a bare address: no other site can make a browser believe that it is that."""
    try:
        ip_address(name)
    except ValueError:
        return False
    return True
