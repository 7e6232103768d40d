"""The broker that the README sets up: each sensor writes its own topic and nothing else, and nobody writes unknown."""

import re
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from wardian.adapters.yaml_file import parse
from wardian.daemon.config import load
from wardian.rules.errors import BadConfig

pytestmark = pytest.mark.threat(1)

README = Path(__file__).parents[2] / "README.md"
USERS = ("wardian", "tray-a", "tray-b")
WaitUntil = Callable[..., None]


def fenced(name: str) -> list[str]:
    """Return the lines of the README's block whose first line is a comment that names a file."""
    found = re.search(rf"```\n# {re.escape(name)}\n(.*?)```", README.read_text(encoding="utf-8"), re.DOTALL)
    assert found, name
    return found[1].splitlines()


@pytest.fixture
def strict_broker(broker: Any) -> Any:
    """A broker with the lines of the README, in a folder of its own and without TLS."""
    broker.kill()
    folder = broker.folder
    (folder / "acl").write_text("\n".join(fenced("/etc/mosquitto/wardian.acl")) + "\n", encoding="utf-8")
    (folder / "acl").chmod(0o600)
    for number, user in enumerate(USERS):
        make = ["mosquitto_passwd", "-b", *(["-c"] if not number else []), str(folder / "passwords")]
        subprocess.run([*make, user, f"secret of {user}"], check=True)
    own = ("listener", "persistence_location", "certfile", "keyfile")
    lines = [
        line for line in fenced("/etc/mosquitto/conf.d/wardian.conf") if not line.startswith(("#", *own))
    ]
    files = {"/etc/mosquitto/wardian.acl": "acl", "/etc/mosquitto/wardian.passwords": "passwords"}
    for written, name in files.items():
        lines = [line.replace(written, str(folder / name)) for line in lines]
    # What the rig says itself must not stand there twice.
    said = ("persistence ", "autosave", "max_queued_messages")
    broker.lines = tuple(line for line in lines if line and not line.startswith(said))
    broker.start()
    return broker


def publish(broker: Any, user: str | None, topic: str, payload: str) -> str:
    """Publish one message, confirmed by the broker; return what the client says to it."""
    command = [
        "mosquitto_pub",
        "-V",
        "5",
        "-h",
        broker.address,
        "-p",
        str(broker.port),
        "-t",
        topic,
        "-q",
        "1",
    ]
    known = ["-u", user, "-P", f"secret of {user}"] if user else []
    said = subprocess.run(
        [*command, *known, "-m", payload], check=False, timeout=20, capture_output=True, text=True
    )
    return said.stdout + said.stderr


def hearing_one(broker: Any) -> subprocess.Popen[str]:
    """Return who reads as wardian does, until a first message has come."""
    command = ["mosquitto_sub", "-h", broker.address, "-p", str(broker.port), "-v", "-C", "1", "-W", "30"]
    known = ["-u", "wardian", "-P", "secret of wardian", "-t", "class/#"]
    return subprocess.Popen([*command, *known], stdout=subprocess.PIPE, text=True)


@pytest.mark.needs_broker
def test_a_sensor_writes_its_own_tray_alone_and_nobody_writes_unknown(
    strict_broker: Any, wait_until: WaitUntil
) -> None:
    with hearing_one(strict_broker) as hearing:
        wait_until(lambda: "SUBACK" in strict_broker.log, "the subscription")
        assert "uthor" in publish(strict_broker, None, "class/tray-a/air", "99")
        assert "uthor" in publish(strict_broker, "tray-b", "class/tray-a/air", "98")
        assert "uthor" in publish(strict_broker, "wardian", "class/tray-a/air", "97")
        assert publish(strict_broker, "tray-a", "class/tray-a/air", "24") == ""
        assert hearing.communicate(timeout=20)[0] == "class/tray-a/air 24\n"


@pytest.mark.needs_broker
def test_a_message_of_many_kilobytes_never_reaches_the_bench(
    strict_broker: Any, wait_until: WaitUntil
) -> None:
    with hearing_one(strict_broker) as hearing:
        wait_until(lambda: "SUBACK" in strict_broker.log, "the subscription")
        publish(strict_broker, "tray-a", "class/tray-a/air", "9" * 20_000)
        assert publish(strict_broker, "tray-a", "class/tray-a/air", "24") == ""
        assert hearing.communicate(timeout=20)[0] == "class/tray-a/air 24\n"


CONFIG = """\
site: {{name: Evening propagation class, timezone: UTC}}
store: {{url: "memory:"}}
trays: [{{name: tray-a, crop: coleus, stuck: 2026-03-01}}]
sensors:
  - name: probes
    kind: mqtt
    broker: {{{broker}}}
    subscriptions: [{{topic: class/air, payload: number, tray: tray-a, quantity: air_temperature}}]
"""


@pytest.mark.parametrize(
    ("broker", "is_warned"),
    [
        ("host: bench.example", True),
        ("host: 192.0.2.7, tls: {}", True),
        ("host: 127.0.0.1", False),
        ("host: localhost", False),
        ("host: bench.example, tls: {cert_file: us.pem, key_file: us.key}", False),
        ("host: bench.example, tls: {}, user: bench, password_file: secret", False),
    ],
)
def test_a_broker_on_the_network_that_asks_nobody_who_they_are_is_warned_of(
    tmp_path: Path, broker: str, is_warned: bool
) -> None:
    path = tmp_path / "config.yaml"
    path.write_text(CONFIG.format(broker=broker), encoding="utf-8")
    try:
        warnings: Any = load(path, parse).warnings
    except BadConfig as error:
        pytest.fail(str(error))
    found = [one for one in warnings if "anybody" in str(one)]
    assert bool(found) == is_warned
