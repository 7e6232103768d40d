"""The keys of an MQTT broker, which sensors and notifiers share.

A secret is never a key: only the name of a file or of an environment variable that holds it.
"""

import re
from collections.abc import Iterable
from ipaddress import ip_address
from typing import Annotated, Any, Final, Self

from pydantic import PlainValidator, model_validator

from wardian.daemon.config_types import (
    NAME_ACCEPTS,
    TIME,
    Duration,
    FilePath,
    Name,
    PollEvery,
    Port,
    Text,
    Variable,
)
from wardian.daemon.written import Section, described, key, wrong

FILE: Final = "the path of a file, relative to the configuration's folder,"
VARIABLE: Final = "the name of an environment variable"


def one_of(section: Section, names: Iterable[str], *, needed: bool) -> None:
    """Refuse two ways of saying one thing, and none where one is needed."""
    given = [name for name in names if getattr(section, name) is not None]
    if len(given) > 1:
        raise wrong(f"has both {given[0]} and {given[1]}", "one of them is accepted")
    if needed and not given:
        raise wrong(f"has none of {', '.join(names)}", "one of them is needed")


class TlsKeys(Section):
    """An encrypted way to a broker."""

    ca_file: FilePath | None = key(FILE, None, "the authorities that the machine trusts")
    cert_file: FilePath | None = key(FILE, None)
    key_file: FilePath | None = key(FILE, None)

    @model_validator(mode="after")
    def _is_whole(self) -> Self:
        if self.key_file is not None and self.cert_file is None:
            raise wrong("has a key_file without a cert_file", "name both, or neither")
        return self


def _host(value: Any) -> str:
    if not isinstance(value, str) or not value or not re.fullmatch(r"[\w.:%-]+", value):
        raise wrong(f"is {described(value)}")
    return value


def _protocol(value: Any) -> str:
    if isinstance(value, bool) or str(value) not in ("5", "3.1.1"):
        raise wrong(f"is {described(value)}")
    return str(value)


class BrokerKeys(Section):
    """One MQTT broker and how it is met."""

    host: Annotated[str, PlainValidator(_host)] = key("a host name or an address")
    port: Port | None = key("a port, 1 to 65535,", None, "1883, or 8883 with tls: as registered for MQTT")
    protocol: Annotated[str, PlainValidator(_protocol)] = key(
        "5 or 3.1.1", "5", "the newer one says why it refuses"
    )
    client_id: Name | None = key(NAME_ACCEPTS, None, "wardian- and the name of the sensor or notifier")
    keepalive: PollEvery = key(
        TIME,
        Duration(30_000),
        "a line that fell silent is noticed within two of them, and costs little until then",
    )
    user: Text | None = key("a user name", None)
    password_file: FilePath | None = key(FILE, None)
    password_env: Variable | None = key(VARIABLE, None)
    tls: TlsKeys | None = key("ca_file, cert_file and key_file, or {}", None)
    allow_plain_password: bool = key(
        "true or false", default=False, why="a password crosses no network in the open"
    )

    @model_validator(mode="after")
    def _keeps_its_secret(self) -> Self:
        one_of(self, ("password_file", "password_env"), needed=False)
        has_password = self.password_file is not None or self.password_env is not None
        if has_password and self.user is None:
            raise wrong("has a password without a user", "add user")
        if has_password and self.tls is None and not self.allow_plain_password and not is_loopback(self.host):
            raise wrong(
                f"would send the password to {self.host} in the open",
                "add tls, or allow_plain_password: true for a network that you trust",
            )
        return self

    @property
    def port_used(self) -> int:
        """The port: what is written, or what is registered for MQTT without or with TLS."""
        return self.port or (1883 if self.tls is None else 8883)


def is_loopback(host: str) -> bool:
    """Return whether a host surely is this machine."""
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host.lower() == "localhost"
