"""Messages by e-mail, SMS, chat and push, through the general library of that name.

Needs the extra ``wardian[messages]`` and addresses as that library writes them, one a line, in a
private file or an environment variable. An address is a secret: nothing here shows more of it than
its scheme and host. The library says only yes or no, so every failure may heal.
"""

import logging
import re
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Protocol

from wardian.adapters.brokers import secret, unusable
from wardian.adapters.deadlines import OneAtATime
from wardian.adapters.outgoing import harmless, one_line
from wardian.rules.errors import DeliveryFailed
from wardian.rules.ports import Message, Notifier

#: The library and what it sends with write addresses into their logs; nothing of ours is in there.
TALKATIVE: Final = ("apprise", "requests", "urllib3")
#: At least two labels: a name within a domain, or an address.
HOST_NAME: Final = re.compile(r"[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)+")
HIDDEN: Final = "***"


@dataclass(frozen=True, slots=True)
class AppriseSettings:
    """A list of addresses, one of ``urls_file`` and ``urls_env``; ``timeout_s`` is for one message."""

    name: str
    urls_file: Path | None = None
    urls_env: str | None = None
    timeout_s: float = 45.0


class Target(Protocol):
    """One address, as the library holds it."""

    def notify(self, body: str, title: str, *, body_format: str) -> Any:
        """Send, and return something that is true when it was taken."""


def open_apprise(settings: AppriseSettings) -> list[Notifier]:
    """Return a channel for each address: ``NAME`` for a single one, else ``NAME#1``, ``NAME#2`` and so on.

    Raises:
        AdapterError: The library is missing, or an address is none; ``may_heal`` is False.
    """
    text = secret(settings.name, "urls", settings.urls_file, settings.urls_env)
    lines = list(_addresses(text or ""))
    if not lines:
        raise unusable(settings.name, "no address is given; write one a line into urls_file or urls_env")
    single = len(lines) == 1
    return [
        _opened(settings.name if single else f"{settings.name}#{position}", number, address, settings)
        for position, (number, address) in enumerate(lines, start=1)
    ]


def _addresses(text: str) -> Iterator[tuple[int, str]]:
    for number, line in enumerate(text.splitlines(), start=1):
        stripped = line.strip()
        if stripped and not stripped.startswith("#"):
            yield from ((number, address) for address in stripped.split())


def _opened(name: str, number: int, address: str, settings: AppriseSettings) -> "AppriseNotifier":
    with warnings.catch_warnings():
        # What the library imports on its first address is not ours to mend.
        warnings.simplefilter("ignore", DeprecationWarning)
        library = _library(name)
        asset = library.AppriseAsset(app_id="wardian", app_desc="wardian", app_url="", async_mode=False)
        target = library.Apprise(asset=asset)
        is_known = target.add(address)
    if not is_known or len(target) != 1:
        raise unusable(name, f"line {number} of the addresses is none that the library knows")
    return AppriseNotifier(name, target, _shown(target[0]), settings.timeout_s)


def _library(name: str) -> Any:
    try:
        import apprise
    except ImportError as error:
        raise unusable(name, "apprise is not installed; run: pip install 'wardian[messages]'") from error
    for logger in TALKATIVE:
        logging.getLogger(logger).setLevel(logging.CRITICAL + 1)
    return apprise


def _shown(plugin: Any) -> str:
    """Return the scheme of an address, and its host where it surely is one.

    Many services have no host of their own: a token, a topic or a telephone number stands there.
    """
    scheme, _, rest = str(plugin.url(privacy=True)).partition("://")
    host = re.split("[/?#]", rest)[0].rpartition("@")[2].partition(":")[0]
    return f"{one_line(scheme)}://{host if HOST_NAME.fullmatch(host) else HIDDEN}"


class AppriseNotifier:
    """Sends each message to one address, as plain text with its key in the last line."""

    def __init__(self, name: str, target: Target, shown: str, timeout_s: float) -> None:
        """Name the target in errors as ``shown``, which holds no secret."""
        self.name = name
        self._target = target
        self._shown = shown
        self._timeout_s = timeout_s
        self._calls = OneAtATime(f"apprise {name}")

    def send(self, message: Message) -> None:
        """Send one message.

        Raises:
            DeliveryFailed: It was not taken, or nothing is known in time.
        """
        try:
            self._calls.call(message.key, lambda: self._notify(message), self._timeout_s)
        except TimeoutError as error:
            why = f"{self._shown} gave no answer within {self._timeout_s:g} s"
            raise DeliveryFailed(self.name, why) from error

    def close(self) -> None:
        """Do nothing: no connection outlives its message."""

    def _notify(self, message: Message) -> None:
        body = f"{harmless(message.body)}\n\n(message {one_line(message.key)})"
        if not self._target.notify(body, one_line(message.subject), body_format="text"):
            raise DeliveryFailed(self.name, f"{self._shown} did not take it")
