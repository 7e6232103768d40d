"""The unit of the service: how much it is exposed, what it promises, and that the daemon can live under it."""

import re
import shutil
import signal
import subprocess
import sys
import urllib.request
from collections.abc import Callable
from pathlib import Path

import pytest
from small_bench import SmallBench
from under_unit import allowed, settings

from wardian.daemon.lookout import READY_PATIENCE_S
from wardian.daemon.run import LONGEST_STOP_S
from wardian.daemon.service_files import TEMPLATE

#: Of 10, as ``systemd-analyze security`` reckons (systemd-analyze(1)); its threshold is in tenths.
MOST_EXPOSED = 1.5
needs_systemd = pytest.mark.skipif(not shutil.which("systemd-analyze"), reason="no systemd-analyze here")
WaitUntil = Callable[..., None]


def value(name: str) -> str:
    (word,) = settings(TEMPLATE, name)
    return word


@pytest.mark.threat(12)
@needs_systemd
def test_the_unit_is_exposed_no_more_than_promised() -> None:
    asked = [
        "systemd-analyze",
        "security",
        "--offline=true",
        "--no-pager",
        f"--threshold={MOST_EXPOSED * 10:.0f}",
    ]
    told = subprocess.run([*asked, str(TEMPLATE)], capture_output=True, text=True, check=False)
    found = re.search(r"exposure level for \S+: ([\d.]+)", told.stdout)
    assert found, told.stderr
    assert float(found[1]) <= MOST_EXPOSED
    assert told.returncode == 0


@needs_systemd
def test_the_service_manager_understands_every_line_of_the_unit() -> None:
    """All it misses is the program, which is not installed where this runs."""
    told = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", str(TEMPLATE)], capture_output=True, text=True, check=False
    )
    about_us = [line for line in told.stderr.splitlines() if "wardian" in line]
    assert not [line for line in about_us if "is not executable" not in line]


def test_the_unit_is_told_of_the_start_and_feeds_a_watchdog() -> None:
    assert value("Type") == "notify"
    assert value("NotifyAccess") == "main"
    assert value("WatchdogSec") == "60"
    assert value("StartLimitIntervalSec") == "0"


def test_whatever_ends_it_starts_it_again_but_a_configuration_that_cannot_be_used() -> None:
    assert value("Restart") == "always"
    assert value("RestartPreventExitStatus") == "2"
    assert int(value("RestartSec")) >= 5


def test_the_service_manager_waits_longer_than_we_take() -> None:
    assert int(value("TimeoutStopSec")) > LONGEST_STOP_S
    assert value("TimeoutStartSec") == "15min"
    assert READY_PATIENCE_S < 15 * 60


@needs_systemd
def test_the_unit_allows_no_call_of_the_groups_that_it_forbids() -> None:
    names = allowed(TEMPLATE)
    assert {"read", "openat", "futex", "fsync", "socket"} <= names
    assert not names & {"mount", "ptrace", "reboot", "setuid", "clock_settime", "init_module"}


@needs_systemd
@pytest.mark.skipif(sys.platform != "linux", reason="the filter is of Linux")
def test_the_daemon_and_its_page_live_under_the_filter_of_the_unit(
    tmp_path: Path, wait_until: WaitUntil
) -> None:
    """Its system calls, no memory both writable and executable, and its families of addresses; folders are not hidden."""
    if subprocess.run(under_filter("true"), check=False, capture_output=True).returncode:
        pytest.skip("no filter can be set here: libseccomp is not there, or not allowed")
    port = 18_460 + hash(tmp_path) % 1000
    bench = SmallBench(tmp_path, more=f"page: {{listen: 127.0.0.1:{port}}}")
    with (tmp_path / "daemon.log").open("wb") as log:
        process = bench.start(log, *under_filter())
    try:
        wait_until(lambda: bench.kept() >= 2, "readings to be kept", 60)
        wait_until(lambda: "page running" in (tmp_path / "daemon.log").read_text(), "the page")
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=20) as answer:
            assert b"tray-a" in answer.read()
        process.send_signal(signal.SIGTERM)
        assert process.wait(15) == 0
    finally:
        process.kill()


def under_filter(*command: str) -> list[str]:
    program = Path(__file__).parents[1] / "support" / "under_unit.py"
    return [sys.executable, str(program), str(TEMPLATE), *command]
