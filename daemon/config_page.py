"""The keys of the page: where it is served, to whom, and under which names; imported only where its section is there.

The rule of this file: beyond this machine nobody sees or changes anything without the password.
"""

import re
from dataclasses import dataclass
from ipaddress import ip_address
from pathlib import Path
from typing import Annotated, Any, Final, Self

from pydantic import PlainValidator, model_validator

from wardian.daemon.config_brokers import FILE, VARIABLE, is_loopback, one_of
from wardian.daemon.config_models import MEMORY
from wardian.daemon.config_types import FilePath, Variable
from wardian.daemon.written import LIST, Section, Written, described, key, wrong
from wardian.rules.documents import shown

SECTION: Final = "page"
_LISTEN: Final = re.compile(
    r"(?:\[(?P<six>[0-9A-Fa-f:.]{2,45})\]|(?P<host>[0-9.]{7,15}|localhost)):(?P<port>[0-9]{1,5})"
)
_HOST_NAME: Final = re.compile(r"(?=.{1,253}\Z)[a-z0-9](?:[a-z0-9-]{0,62})(?:\.[a-z0-9][a-z0-9-]{0,62})*")
_LISTEN_ACCEPTS: Final = "an address and a port such as 127.0.0.1:8460, [::1]:8460 or 0.0.0.0:8460"


@dataclass(frozen=True, slots=True)
class Listen:
    """An address of this machine and a port."""

    host: str
    port: int

    def __str__(self) -> str:
        return f"[{self.host}]:{self.port}" if ":" in self.host else f"{self.host}:{self.port}"


def _listen(value: Any) -> Listen:
    found = _LISTEN.fullmatch(value) if isinstance(value, str) else None
    if found is None or not 1 <= int(found["port"]) <= 65_535:
        raise wrong(f"is {described(value)}")
    host = found["six"] or found["host"]
    try:
        return Listen("127.0.0.1" if host == "localhost" else str(ip_address(host)), int(found["port"]))
    except ValueError:
        raise wrong(f"is {described(value)}") from None


def _host_name(value: Any) -> str:
    if not isinstance(value, str) or not _HOST_NAME.fullmatch(value.lower()):
        raise wrong(
            f"is {described(value)}", "a host name such as bench.example, without a port, is accepted"
        )
    return value.lower()


class PageKeys(Section):
    """A page in the browser, served by the running daemon."""

    listen: Annotated[Listen, PlainValidator(_listen)] = key(
        _LISTEN_ACCEPTS,
        Listen("127.0.0.1", 8460),
        "nobody beyond this machine sees it unless somebody wants that",
    )
    password_file: FilePath | None = key(FILE, None)
    password_env: Variable | None = key(VARIABLE, None)
    names: Annotated[tuple[Annotated[str, PlainValidator(_host_name)], ...], LIST] = key(
        "a list of the host names by which it is opened",
        (),
        "a name that is not known may be a trap of another site",
    )

    @model_validator(mode="after")
    def _asks_strangers(self) -> Self:
        one_of(self, ("password_file", "password_env"), needed=False)
        if not is_loopback(self.listen.host) and not self.has_password:
            raise wrong(
                f"would show everything to whoever reaches {self.listen}",
                "add password_file or password_env, or listen at 127.0.0.1",
            )
        return self

    @property
    def has_password(self) -> bool:
        """Whether whoever opens it is asked for a password."""
        return self.password_file is not None or self.password_env is not None


def read_page(written: Written, folder: Path) -> PageKeys | None:
    """Return what is said of the page; what is wrong with it is noted."""
    keys = written.read(PageKeys, (SECTION,), {"folder": folder})
    url = written.at(("store", "url"))
    if url == MEMORY:
        written.mistake((SECTION,), f"has nothing to show with store.url {shown(url)}", "name a file there")
    if keys and keys.has_password and not is_loopback(keys.listen.host):
        written.warn(
            (SECTION, "listen"),
            "is reached in the open: whoever listens on that network can read the password",
            "on a network that is not trusted, listen at 127.0.0.1 and come by a tunnel",
        )
    return keys
