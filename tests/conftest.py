"""What many tests share: a scrubbed environment, a way to wait, and a real MQTT broker on loopback."""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path
from threading import Event

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

LOOPBACK = "127.0.0.1"
WaitUntil = Callable[..., None]


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--long", action="store_true", help="run the long forms, too, which take minutes to hours"
    )


def pytest_configure(config: pytest.Config) -> None:
    config.pluginmanager.import_plugin("fault_table")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if not config.getoption("--long"):
        left_out = pytest.mark.skip(reason="a long form; asked for by --long")
        for item in items:
            if item.get_closest_marker("long"):
                item.add_marker(left_out)


@pytest.fixture(autouse=True)
def _scrubbed_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    """No setting of the person who runs the tests reaches the program under test."""
    for name in list(os.environ):
        if name.startswith("WARDIAN_") or name.lower().endswith("_proxy"):
            monkeypatch.delenv(name)


@pytest.fixture(autouse=True)
def _process_as_before() -> Iterator[None]:
    """No test leaves signals blocked or threads hasty: whatever the next one starts would inherit that."""
    mask = signal.pthread_sigmask(signal.SIG_BLOCK, ())
    turn_s = sys.getswitchinterval()
    yield
    signal.pthread_sigmask(signal.SIG_SETMASK, mask)
    sys.setswitchinterval(turn_s)


def _wait_until(condition: Callable[[], object], what: str, within_s: float = 10.0) -> None:
    never = Event()
    until_s = time.monotonic() + within_s  # asking may take long itself
    while not condition():
        if time.monotonic() > until_s:
            break
        never.wait(0.01)
    else:
        return
    pytest.fail(f"waited {within_s:g} s in vain for: {what}")


@pytest.fixture
def wait_until() -> WaitUntil:
    """Return ``wait_until(condition, what, within_s=10.0)``: fails the test once the time is over."""
    return _wait_until


# --------------------------------------------------------------------------------------- broker


def free_port() -> int:
    """Return a loopback port that nobody listens on at the moment."""
    with socket.socket() as probe:
        probe.bind((LOOPBACK, 0))
        port: int = probe.getsockname()[1]
        return port


@dataclass
class Broker:
    """A mosquitto of its own on a free loopback port; what it holds survives stop, kill and start.

    ``lines`` are added to its configuration, ``options`` to each mosquitto_pub. One that does not save is as fast
    as the machine, and must not be ended.
    """

    folder: Path
    lines: tuple[str, ...] = ()
    options: tuple[str, ...] = ()
    user: str = ""
    password: str = ""
    password_file: Path | None = None
    ca_file: Path | None = None
    cert_file: Path | None = None
    key_file: Path | None = None
    address: str = LOOPBACK
    port: int = field(default_factory=free_port)
    saves: bool = True
    process: subprocess.Popen[bytes] | None = None

    @property
    def log(self) -> str:
        """Everything the broker has logged so far, packets included."""
        return (self.folder / "broker.log").read_text(encoding="utf-8", errors="replace")

    def start(self) -> None:
        """Start it and return once it accepts connections."""
        configuration = self.folder / "broker.conf"
        configuration.write_text("\n".join(self._configuration()) + "\n", encoding="utf-8")
        with (self.folder / "broker.log").open("ab") as log:
            self.process = subprocess.Popen(
                ["mosquitto", "-c", str(configuration)], stdout=log, stderr=log, env=_with_sbin()
            )
        _wait_until(self._accepts, f"the broker on port {self.port}")

    def stop(self) -> None:
        """End it as a service manager would: it saves what it holds."""
        if self.process is not None:
            self.process.terminate()
            self.process.wait(10)
            self.process = None

    def kill(self) -> None:
        """End it as a power cut would end the process."""
        if self.process is not None:
            self.process.kill()
            self.process.wait(10)
            self.process = None

    def lose_everything(self) -> None:
        """End it as a broken disk would: the next start knows nothing of the last."""
        self.kill()
        for kept in self.folder.glob("mosquitto.db*"):
            kept.unlink()

    def publish(self, topic: str, payload: str | bytes, qos: int = 1, retain: bool = False) -> None:
        """Publish one message with the broker's own command line client, QoS 1 acknowledged."""
        raw = payload.encode() if isinstance(payload, str) else payload
        command = ["mosquitto_pub", "-h", self.address, "-p", str(self.port), "-t", topic, "-q", str(qos)]
        command += [*self.options, *(["-r"] if retain else []), "-s" if raw else "-n"]
        subprocess.run(command, input=raw, check=True, timeout=20, capture_output=True)

    def _configuration(self) -> Iterator[str]:
        yield from ("log_dest stderr", "log_type all", f"listener {self.port} {self.address}")
        yield "max_queued_messages 100000"
        if self.saves:
            yield from ("persistence true", f"persistence_location {self.folder}/")
            yield from ("autosave_interval 1", "autosave_on_changes true")
        if os.getuid() == 0:
            yield "user root"  # else it would become a user who may not write to the test's folder
        yield from self.lines or ("allow_anonymous true",)

    def _accepts(self) -> bool:
        if self.process is not None and self.process.poll() is not None:
            pytest.fail(f"the broker ended by itself:\n{self.log}")
        try:
            socket.create_connection((self.address, self.port), timeout=1).close()
        except OSError:
            return False
        return True


def _with_sbin() -> dict[str, str]:
    return {**os.environ, "PATH": os.environ.get("PATH", "") + ":/usr/sbin"}


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    """A broker that takes anybody."""
    yield from _running(Broker(_folder(tmp_path)))


@pytest.fixture
def broker_with_passwords(tmp_path: Path) -> Iterator[Broker]:
    """A broker that takes only ``user`` with ``password``, which is also in ``password_file``."""
    folder = _folder(tmp_path)
    user, password = "bench", "moss and perlite"
    accepted = folder / "accepted-passwords"
    subprocess.run(["mosquitto_passwd", "-b", "-c", str(accepted), user, password], check=True)
    secret = folder / "password"
    secret.write_text(password + "\n", encoding="utf-8")
    secret.chmod(0o600)
    made = Broker(folder, user=user, password=password, password_file=secret)
    made.lines = ("allow_anonymous false", f"password_file {accepted}")
    made.options = ("-u", user, "-P", password)
    yield from _running(made)


@pytest.fixture
def broker_with_tls(tmp_path: Path) -> Iterator[Broker]:
    """A broker that speaks TLS only and asks for a client certificate signed by ``ca_file``."""
    folder = _folder(tmp_path)
    write_certificates(folder)
    ca, cert, key = (folder / name for name in ("ca.pem", "client.pem", "client.key"))
    made = Broker(folder, ca_file=ca, cert_file=cert, key_file=key)
    made.lines = (
        f"cafile {ca}",
        f"certfile {folder / 'server.pem'}",
        f"keyfile {folder / 'server.key'}",
        "require_certificate true",
        "allow_anonymous true",
    )
    made.options = ("--cafile", str(ca), "--cert", str(cert), "--key", str(key))
    yield from _running(made)


def _running(made: Broker) -> Iterator[Broker]:
    made.start()
    yield made
    made.kill()


def _folder(tmp_path: Path) -> Path:
    folder = tmp_path / "broker"
    folder.mkdir()
    return folder


# --------------------------------------------------------------------------------- certificates


def write_certificates(folder: Path) -> None:
    """Write a CA (``ca.pem``) and a server and a client that it signed (``.pem`` and ``.key``).

    The server is ``127.0.0.1`` and ``localhost``; all are valid for a day around now.
    """
    ca_key = ec.generate_private_key(ec.SECP256R1())
    ca = _certificate("test authority", ca_key, None, ca_key)
    (folder / "ca.pem").write_bytes(ca.public_bytes(serialization.Encoding.PEM))
    for name in ("server", "client"):
        key = ec.generate_private_key(ec.SECP256R1())
        signed = _certificate(name, key, ca, ca_key)
        (folder / f"{name}.pem").write_bytes(signed.public_bytes(serialization.Encoding.PEM))
        (folder / f"{name}.key").write_bytes(_pem_of(key))
        (folder / f"{name}.key").chmod(0o600)


def _certificate(
    name: str,
    key: ec.EllipticCurvePrivateKey,
    ca: x509.Certificate | None,
    ca_key: ec.EllipticCurvePrivateKey,
) -> x509.Certificate:
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
    now = datetime.now(UTC)  # noqa: TID251 - a certificate is valid by the machine's own clock
    builder = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(ca.subject if ca else subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=12))
        .not_valid_after(now + timedelta(hours=12))
        .add_extension(x509.BasicConstraints(ca=ca is None, path_length=None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(ca_key.public_key()), critical=False
        )
    )
    if ca is not None:
        names = [x509.DNSName("localhost"), x509.IPAddress(ip_address(LOOPBACK))]
        builder = builder.add_extension(x509.SubjectAlternativeName(names), critical=False)
    return builder.sign(ca_key, hashes.SHA256())


def _pem_of(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
