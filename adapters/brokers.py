"""How any part of the program meets an MQTT broker: secrets, encryption and a client of its own.

Sensors and notifiers share this file and nothing else. It needs paho-mqtt, imported only when a
client is made.
"""

import ipaddress
import os
import ssl
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from wardian.rules.errors import AdapterError

if TYPE_CHECKING:
    from paho.mqtt.client import Client

MOST_SECRET_BYTES: Final = 64 * 1024


@dataclass(frozen=True, slots=True)
class BrokerSettings:
    """One broker as the configuration names it; a password stands in a file or the environment only.

    ``protocol`` is ``3.1.1`` or ``5``. The connection is encrypted when ``tls`` says so or a
    certificate is named; without ``ca_file`` the machine's own authorities are trusted.
    """

    host: str
    port: int
    client_id: str
    protocol: str = "5"
    user: str | None = None
    password_file: Path | None = None
    password_env: str | None = None
    tls: bool = False
    ca_file: Path | None = None
    cert_file: Path | None = None
    key_file: Path | None = None
    keepalive_s: int = 30
    allow_plain_password: bool = False

    @property
    def is_encrypted(self) -> bool:
        """Whether the connection is made with TLS."""
        return self.tls or self.ca_file is not None or self.cert_file is not None


def unusable(adapter: str, why: str) -> AdapterError:
    """Return the error of a setting that no second try can heal."""
    error = AdapterError(adapter, why)
    error.may_heal = False
    return error


# ------------------------------------------------------------------------------------- secrets


def secret(adapter: str, what: str, file: Path | None = None, env: str | None = None) -> str | None:
    """Return a secret from a private file or an environment variable, None where neither is named.

    One line end after the secret does not belong to it.

    Args:
        adapter: Who needs it, for the error.
        what: What it is, such as ``password``; errors name this and the place, never the content.
        file: A regular file of our own or of root that nobody else may read.
        env: The name of an environment variable.

    Raises:
        AdapterError: Both are named, or the place holds no usable secret; ``may_heal`` is False.
    """
    if file is not None and env is not None:
        raise unusable(adapter, f"{what}_file and {what}_env are both given; give one of them")
    if file is not None:
        return _tidied(adapter, f"{what}_file {file}", _private_text(adapter, f"{what}_file", file))
    if env is not None:
        return _tidied(adapter, f"{what}_env {env}", os.environ.get(env, ""))
    return None


def _tidied(adapter: str, place: str, text: str) -> str:
    text = text.removesuffix("\n").removesuffix("\r")
    if not text:
        raise unusable(adapter, f"{place} holds nothing; write the secret there")
    return text


def _private_text(adapter: str, what: str, file: Path) -> str:
    """Return the text of one opened file; what is checked and what is read cannot differ."""
    try:
        descriptor = os.open(file, os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK)
        try:
            _refuse_open_to_others(adapter, f"{what} {file}", file, os.fstat(descriptor))
            content = os.read(descriptor, MOST_SECRET_BYTES + 1)
        finally:
            os.close(descriptor)
    except OSError as error:
        raise unusable(adapter, f"{what} {file} cannot be read: {error.strerror}") from error
    if len(content) > MOST_SECRET_BYTES:
        raise unusable(
            adapter, f"{what} {file} has more than {MOST_SECRET_BYTES} bytes; is it the right file?"
        )
    try:
        return content.decode()
    except UnicodeDecodeError:
        # The decoder's own words would quote the secret.
        raise unusable(adapter, f"{what} {file} is not text in UTF-8") from None


def _refuse_open_to_others(adapter: str, place: str, file: Path, found: os.stat_result) -> None:
    if not stat.S_ISREG(found.st_mode):
        raise unusable(adapter, f"{place} is not a regular file")
    if found.st_uid not in (os.geteuid(), 0):
        raise unusable(adapter, f"{place} belongs to user {found.st_uid}; it must be ours or root's")
    if found.st_mode & _forbidden_bits(file, found):
        shown = stat.S_IMODE(found.st_mode)
        raise unusable(adapter, f"{place} has mode {shown:04o} and others may use it; run: chmod 600 {file}")


def _forbidden_bits(file: Path, found: os.stat_result) -> int:
    """Return the mode bits that no secret may have.

    The service manager hands credentials over as files of root with an access list for one user,
    which shows as a group that may read (systemd.exec, from memory).
    """
    handed_over = os.environ.get("CREDENTIALS_DIRECTORY")
    if handed_over and found.st_uid == 0 and file.parent == Path(handed_over):
        return 0o037
    return 0o077


# ------------------------------------------------------------------------------------- clients


def new_client(adapter: str, settings: BrokerSettings, *, clean: bool, manual_ack: bool = False) -> "Client":
    """Return a client with credentials and encryption set, not connected yet.

    Args:
        adapter: Who needs it, for errors.
        settings: The broker.
        clean: Whether MQTT 3.1.1 forgets the session; under MQTT 5 this is said when connecting.
        manual_ack: Whether the caller acknowledges messages itself.

    Raises:
        AdapterError: The settings can never work; ``may_heal`` is False.
    """
    from paho.mqtt.client import Client
    from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

    protocols = {"3.1.1": MQTTProtocolVersion.MQTTv311, "5": MQTTProtocolVersion.MQTTv5}
    if settings.protocol not in protocols:
        raise unusable(adapter, f"protocol {settings.protocol!r} is unknown; accepted: 3.1.1, 5")
    client = Client(
        CallbackAPIVersion.VERSION2,
        client_id=settings.client_id,
        clean_session=clean if settings.protocol == "3.1.1" else None,
        protocol=protocols[settings.protocol],
        manual_ack=manual_ack,
    )
    apply_credentials(adapter, client, settings)
    return client


def apply_credentials(adapter: str, client: "Client", settings: BrokerSettings) -> None:
    """Give a client its user, its password and its encryption.

    Raises:
        AdapterError: A file is missing or open to others, or a password would cross a network
            unencrypted; ``may_heal`` is False.
    """
    password = secret(adapter, "password", settings.password_file, settings.password_env)
    if password is not None and settings.user is None:
        raise unusable(adapter, "a password is given without a user")
    if password is not None and not _may_carry_password(settings):
        raise unusable(
            adapter,
            f"the password would go to {settings.host} unencrypted; set ca_file or tls, "
            "or allow_plain_password if the network is trusted",
        )
    if settings.user is not None:
        client.username_pw_set(settings.user, password)
    if settings.is_encrypted:
        client.tls_set_context(encryption(adapter, settings.ca_file, settings.cert_file, settings.key_file))


def _may_carry_password(settings: BrokerSettings) -> bool:
    return settings.is_encrypted or settings.allow_plain_password or is_loopback(settings.host)


def is_loopback(host: str) -> bool:
    """Return whether a host surely is this machine: ``localhost`` or a loopback address."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host.lower() == "localhost"


def encryption(
    adapter: str, ca_file: Path | None = None, cert_file: Path | None = None, key_file: Path | None = None
) -> ssl.SSLContext:
    """Return TLS of at least 1.2 that verifies the peer's certificate and name; no switch turns that off.

    Raises:
        AdapterError: A certificate cannot be read; ``may_heal`` is False.
    """
    try:
        context = ssl.create_default_context(cafile=ca_file)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        if cert_file is not None:
            # An empty password refuses a locked key instead of asking at the terminal.
            context.load_cert_chain(cert_file, key_file, password="")
    except (OSError, ValueError) as error:
        named = ", ".join(str(file) for file in (ca_file, cert_file, key_file) if file is not None)
        raise unusable(adapter, f"certificates cannot be used ({named}): {error}") from error
    return context
