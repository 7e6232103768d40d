"""A log that is closed, full or read by nobody: readings are kept and alarms raised all the same."""

import os
import signal
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from small_bench import SmallBench

pytestmark = pytest.mark.fault(42)

WaitUntil = Callable[..., None]
Start = Callable[[SmallBench], "subprocess.Popen[bytes]"]


def closed(bench: SmallBench) -> "subprocess.Popen[bytes]":
    """Start it without any standard stream."""
    return bench.start(subprocess.DEVNULL, "sh", "-c", 'exec "$@" 0<&- 1>&- 2>&-', "sh")


def full(bench: SmallBench) -> "subprocess.Popen[bytes]":
    with Path("/dev/full").open("wb") as nowhere:
        return bench.start(nowhere)


def read_by_nobody(bench: SmallBench) -> "subprocess.Popen[bytes]":
    """Start it on a pipe that is full and stays so."""
    reading, writing = os.pipe()
    os.set_blocking(writing, False)
    try:
        while True:
            os.write(writing, bytes(4096))
    except BlockingIOError:
        os.set_blocking(writing, True)
    process = bench.start(writing)
    os.close(writing)
    process.reading = reading  # type: ignore[attr-defined]  # kept open as long as the process is
    return process


def reader_gone(bench: SmallBench) -> "subprocess.Popen[bytes]":
    reading, writing = os.pipe()
    process = bench.start(writing)
    os.close(reading)
    os.close(writing)
    return process


@pytest.fixture(
    params=[
        closed,
        read_by_nobody,
        *(pytest.param(one, marks=pytest.mark.long) for one in (full, reader_gone)),
    ]
)
def watching(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[tuple[SmallBench, Any]]:
    """Yield a bench and the daemon that watches it with such a log."""
    bench = SmallBench(tmp_path)
    process = request.param(bench)
    yield bench, process
    process.kill()
    process.wait(10)


def test_a_log_that_takes_nothing_stops_nothing(
    watching: tuple[SmallBench, Any], wait_until: WaitUntil
) -> None:
    bench, process = watching
    wait_until(lambda: bench.kept() >= 2, "readings to be kept", 60)
    bench.measure("31000")  # beyond its band: a message for the console, which takes none
    wait_until(bench.alarms, "the alarm in the journal", 60)
    kept = bench.kept()
    wait_until(lambda: bench.kept() >= kept + 2, "more readings to be kept", 60)
    streams = [Path(f"/proc/{process.pid}/fd/{number}").readlink() for number in range(3)]
    assert not [one for one in streams if "bench.db" in one.name], (
        "a file of ours has a standard stream's place"
    )
    process.send_signal(signal.SIGTERM)
    assert process.wait(10) == 0
    assert bench.is_whole()
