"""What a running daemon listens at, and who may read what it writes."""

import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from page_rig import free_port, write_bench

pytestmark = pytest.mark.journey

WaitUntil = Callable[..., None]
#: The state of a socket that listens, in the kernel's tables (Linux, proc_pid_net(5)).
LISTENS = "0A"


def listening(pid: int) -> set[str]:
    """Return the addresses at which a process listens, as the kernel writes them."""
    links = [str(link.readlink()) for link in Path(f"/proc/{pid}/fd").iterdir() if link.is_socket()]
    own = {link.removeprefix("socket:[").removesuffix("]") for link in links}
    rows = [
        (table, *line.split())
        for table in ("tcp", "tcp6", "udp", "udp6")
        for line in Path(f"/proc/{pid}/net/{table}").read_text().splitlines()[1:]
    ]
    return {row[2] for row in rows if row[10] in own and (row[4] == LISTENS or row[0].startswith("udp"))}


@pytest.fixture
def daemon(tmp_path: Path) -> Iterator[tuple[subprocess.Popen[bytes], Path, int]]:
    """A daemon that serves a page, as the service manager would run it: with umask 0077."""
    port = free_port()
    write_bench(tmp_path, port)
    for path in tmp_path.glob("wardian.db*"):
        path.unlink()
    with (tmp_path / "log").open("wb") as log:
        process = subprocess.Popen(
            [sys.executable, "-m", "wardian.daemon.cli", "run"],
            cwd=tmp_path,
            stdout=log,
            stderr=log,
            umask=0o077,
        )
    yield process, tmp_path, port
    process.send_signal(signal.SIGTERM)
    process.wait(20)


def page_is_served(pid: int, port: int) -> bool:
    return f"0100007F:{port:04X}" in listening(pid)


@pytest.mark.threat(4)
@pytest.mark.threat(9)
def test_a_daemon_listens_at_the_page_on_loopback_alone_and_its_files_are_its_own(
    daemon: tuple[subprocess.Popen[bytes], Path, int], wait_until: WaitUntil
) -> None:
    process, folder, port = daemon
    wait_until(lambda: page_is_served(process.pid, port), "the page", 30.0)
    wait_until((folder / "wardian.db-wal").exists, "the database", 10.0)
    assert listening(process.pid) == {f"0100007F:{port:04X}"}
    modes = {path.name: path.stat().st_mode & 0o077 for path in folder.glob("wardian.db*")}
    assert {"wardian.db", "wardian.db-wal", "wardian.db-lock"} <= set(modes)
    assert set(modes.values()) == {0}
