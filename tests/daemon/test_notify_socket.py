"""What a service manager hears: lines in datagrams, and nothing that could hold us up."""

import os
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from wardian.daemon.notify_socket import ServiceManager


@pytest.fixture(params=["path", "abstract"])
def listener(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[tuple[str, socket.socket]]:
    """Yield where it listens, as the environment names it, and the listening socket."""
    name = str(tmp_path / "notify") if request.param == "path" else f"@wardian-notify-{os.getpid()}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
        listening.bind(name.replace("@", "\0", 1))
        listening.settimeout(5)
        yield name, listening


def test_the_protocol_is_spoken_on_either_kind_of_address(listener: tuple[str, socket.socket]) -> None:
    name, listening = listener
    manager = ServiceManager({"NOTIFY_SOCKET": name, "WATCHDOG_USEC": "60000000"})
    manager.ready()
    manager.status("watching\nsix trays")
    manager.status("watching six trays")
    manager.feed()
    manager.stopping()
    heard = [listening.recv(1000) for _ in range(4)]
    assert heard == [b"READY=1", b"STATUS=watching six trays", b"WATCHDOG=1", b"STOPPING=1"]


def test_what_is_meant_for_us_is_not_handed_on_to_programs_that_we_start() -> None:
    environment = {"NOTIFY_SOCKET": "/run/notify", "WATCHDOG_USEC": "1", "WATCHDOG_PID": "1", "PATH": "/bin"}
    ServiceManager(environment)
    assert environment == {"PATH": "/bin"}


@pytest.mark.parametrize(
    ("microseconds", "pid", "expected"),
    [
        ("60000000", "", 60.0),
        ("60000000", "ours", 60.0),
        ("60000000", "1", None),
        ("0", "", None),
        ("", "", None),
        ("soon", "", None),
        ("-5", "", None),
    ],
)
def test_the_watchdog_is_fed_only_where_it_waits_for_this_process(
    microseconds: str, pid: str, expected: float | None
) -> None:
    pid = str(os.getpid()) if pid == "ours" else pid
    manager = ServiceManager({"WATCHDOG_USEC": microseconds, "WATCHDOG_PID": pid})
    assert manager.watchdog_s == expected


@pytest.mark.parametrize("address", ["", "/nowhere/notify", "no address", "vsock:2:1234"])
def test_a_manager_that_is_not_there_or_not_understood_stops_nothing(address: str) -> None:
    manager = ServiceManager({"NOTIFY_SOCKET": address, "WATCHDOG_USEC": "1000000"})
    for tell in (manager.ready, manager.feed, manager.stopping):
        tell()
    manager.status("watching")


def test_a_manager_that_reads_nothing_holds_nobody_up(tmp_path: Path) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listening:
        listening.bind(str(tmp_path / "notify"))
        manager = ServiceManager({"NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": "1000000"})
        for _ in range(5_000):
            manager.feed()
