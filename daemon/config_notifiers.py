"""The keys of notifiers, kind by kind, with defaults and their reasons.

Which part of the program fulfils a kind is known to the wiring alone.
"""

from typing import Annotated, Any, Final, Literal, Self, TypeAlias
from urllib.parse import urlsplit

from pydantic import PlainValidator, model_validator

from wardian.daemon.config_brokers import FILE, VARIABLE, BrokerKeys, is_loopback, one_of
from wardian.daemon.config_types import (
    NAME_ACCEPTS,
    TIME,
    Duration,
    FilePath,
    Name,
    SomeTime,
    Variable,
    WebAddress,
)
from wardian.daemon.written import Section, described, key, wrong

_BOUNDED: Final = "a channel that hangs must not hold up the others"


def _prefix(value: Any) -> str:
    is_text = isinstance(value, str) and 0 < len(value) <= 200 and value.isprintable()  # long enough
    if (
        not is_text
        or any(sign in value for sign in "+#")
        or value.startswith(("/", "$"))
        or value.endswith("/")
    ):
        raise wrong(f"is {described(value)}")
    return str(value)


class ConsoleKeys(Section):
    """Messages to standard error, or to the service manager's journal."""

    name: Name = key(NAME_ACCEPTS)
    kind: Literal["console"]


class MqttNotifierKeys(Section):
    """Alarms as retained messages of a broker."""

    name: Name = key(NAME_ACCEPTS)
    kind: Literal["mqtt"]
    broker: BrokerKeys = key("host, port and the like")
    prefix: Annotated[str, PlainValidator(_prefix)] = key(
        "the beginning of a topic, without + # and without / at its ends,",
        "wardian/alarms",
        "a place of its own",
    )
    timeout: SomeTime = key(TIME, Duration(10_000), _BOUNDED)


class WebhookKeys(Section):
    """Alarms as HTTP requests."""

    name: Name = key(NAME_ACCEPTS)
    kind: Literal["webhook"]
    url: WebAddress | None = key("an address such as https://example.org/alarms", None)
    url_file: FilePath | None = key(FILE, None)
    url_env: Variable | None = key(VARIABLE, None)
    token_file: FilePath | None = key(FILE, None)
    token_env: Variable | None = key(VARIABLE, None)
    allow_plain_token: bool = key(
        "true or false", default=False, why="a token crosses no network in the open"
    )
    ca_file: FilePath | None = key(FILE, None, "the authorities that the machine trusts")
    timeout: SomeTime = key(TIME, Duration(10_000), _BOUNDED)

    @model_validator(mode="after")
    def _keeps_its_secret(self) -> Self:
        one_of(self, ("url", "url_file", "url_env"), needed=True)
        one_of(self, ("token_file", "token_env"), needed=False)
        address = urlsplit(self.url or "")
        has_token = self.token_file is not None or self.token_env is not None
        is_open = address.scheme == "http" and not is_loopback(address.hostname or "")
        if has_token and is_open and not self.allow_plain_token:
            raise wrong(
                "would send the token in the open",
                "an https:// address is accepted, or allow_plain_token: true",
            )
        return self


class AppriseKeys(Section):
    """Messages by e-mail, SMS, chat or push."""

    name: Name = key(NAME_ACCEPTS)
    kind: Literal["apprise"]
    urls_file: FilePath | None = key(FILE, None)
    urls_env: Variable | None = key(VARIABLE, None)
    timeout: SomeTime = key(TIME, Duration(45_000), "mail servers may be slow; " + _BOUNDED)

    @model_validator(mode="after")
    def _names_its_addresses(self) -> Self:
        one_of(self, ("urls_file", "urls_env"), needed=True)
        return self


NotifierKeys: TypeAlias = ConsoleKeys | MqttNotifierKeys | WebhookKeys | AppriseKeys
NOTIFIER_KINDS: Final[dict[str, type[Section]]] = {
    "console": ConsoleKeys,
    "mqtt": MqttNotifierKeys,
    "webhook": WebhookKeys,
    "apprise": AppriseKeys,
}
