"""Signals that mean nothing to the watch, and those that end it, at any moment and whatever hangs."""

import random
import signal
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from receivers import http_receiver
from small_bench import SmallBench

pytestmark = pytest.mark.fault(43)

if TYPE_CHECKING:
    import subprocess

WaitUntil = Callable[..., None]
#: Said to somebody who stops a service.
LONGEST_STOP_S = 10.0
MEANINGLESS = (
    signal.SIGHUP,
    signal.SIGPIPE,
    signal.SIGUSR1,
    signal.SIGUSR2,
    signal.SIGALRM,
    signal.SIGVTALRM,
    signal.SIGPROF,
    signal.SIGIO,
    signal.SIGCHLD,
    signal.SIGCONT,
    signal.SIGURG,
    signal.SIGWINCH,
)


@contextmanager
def running(bench: SmallBench) -> Iterator[Any]:
    """Run the daemon; its log is beside its database."""
    with (bench.folder / "daemon.log").open("ab") as log:
        process = bench.start(log)
    try:
        yield process
    finally:
        process.kill()
        process.wait(10)


def stopped(
    process: "subprocess.Popen[bytes]", with_signal: signal.Signals = signal.SIGTERM
) -> tuple[int, float]:
    """Return the exit status and how long the end took."""
    began_s = time.monotonic()
    process.send_signal(with_signal)
    status = process.wait(LONGEST_STOP_S + 20)
    return status, time.monotonic() - began_s


@pytest.mark.parametrize(
    "signals", [20, pytest.param(200, marks=pytest.mark.long)], ids=["twenty", "two hundred"]
)
def test_signals_that_mean_nothing_at_random_moments_stop_nothing(
    tmp_path: Path, wait_until: WaitUntil, signals: int
) -> None:
    bench, chance = SmallBench(tmp_path), random.Random(43)
    with running(bench) as process:
        wait_until(bench.kept, "the first reading", 60)
        for _ in range(signals):
            process.send_signal(chance.choice(MEANINGLESS))
            time.sleep(chance.uniform(0, 0.05))  # noqa: TID251 - moments of a real process, by chance
        kept = bench.kept()
        wait_until(lambda: bench.kept() >= kept + 2, "readings after the storm", 60)
        assert "start anew: signal=SIGHUP" in (tmp_path / "daemon.log").read_text(encoding="utf-8")
        status, took_s = stopped(process)
    assert (status, took_s < LONGEST_STOP_S) == (0, True)
    assert bench.is_whole()


@pytest.mark.parametrize("ending", [pytest.param(signal.SIGINT, marks=pytest.mark.long), signal.SIGQUIT])
def test_each_signal_that_ends_the_watch_ends_it_cleanly(
    tmp_path: Path, wait_until: WaitUntil, ending: signal.Signals
) -> None:
    bench = SmallBench(tmp_path)
    with running(bench) as process:
        wait_until(bench.kept, "the first reading", 60)
        status, took_s = stopped(process, ending)
    assert (status, took_s < LONGEST_STOP_S) == (0, True)


# ----------------------------------------------------------------------------- whatever hangs


def _silent_channel(opened: ExitStack, _folder: Path) -> dict[str, str]:
    receiver = opened.enter_context(http_receiver())
    receiver.manner = "silent"
    return {"notifiers": f"  - {{name: hook, kind: webhook, url: {receiver.address}/alarms, timeout: 60 s}}"}


def _silent_broker(opened: ExitStack, _folder: Path) -> dict[str, str]:
    listening = opened.enter_context(socket.create_server(("127.0.0.1", 0)))
    port = listening.getsockname()[1]
    sensors = f"""  - name: wire
    kind: mqtt
    broker: {{host: 127.0.0.1, port: {port}}}
    subscriptions: [{{topic: "class/{{tray}}/{{quantity}}", payload: number}}]"""
    return {"sensors": sensors}


def _nothing_more(_opened: ExitStack, _folder: Path) -> dict[str, str]:
    return {}


def _page(_opened: ExitStack, _folder: Path) -> dict[str, str]:
    with socket.create_server(("127.0.0.1", 0)) as probe:
        port = probe.getsockname()[1]
    return {"more": f"page: {{listen: 127.0.0.1:{port}}}"}


def _half_a_request(bench: SmallBench, opened: ExitStack) -> None:
    text = (bench.folder / "config.yaml").read_text(encoding="utf-8")
    port = int(text.rpartition("127.0.0.1:")[2].split("}")[0])
    for _ in range(5):
        client = opened.enter_context(socket.create_connection(("127.0.0.1", port), 5))
        client.sendall(b"GET / HTTP/1.1\r\nHost: local")


HANGING = {
    "a channel that hangs in a send": _silent_channel,
    "a broker that says nothing": _silent_broker,
    "a chip whose file blocks": _nothing_more,
    "clients of the page that ask half": _page,
}


def run_into(what: str, bench: SmallBench, opened: ExitStack) -> None:
    if what.startswith("a chip"):
        bench.block_chip()
    elif what.startswith("clients"):
        _half_a_request(bench, opened)


BROKER = "a broker that says nothing"
#: Without the broker, for which judging, and so an alarm to send, would wait a minute.
ALL_BUT = "all but the broker"


@pytest.mark.parametrize(
    "what",
    [BROKER, ALL_BUT, *(pytest.param(one, marks=pytest.mark.long) for one in HANGING if one != BROKER)],
)
def test_the_watch_ends_cleanly_within_ten_seconds_whatever_hangs(
    tmp_path: Path, wait_until: WaitUntil, what: str, record_property: Callable[[str, object], None]
) -> None:
    hanging = [one for one in HANGING if one != BROKER] if what == ALL_BUT else [what]
    with ExitStack() as opened:
        sections: dict[str, str] = {}
        for one in hanging:
            sections |= HANGING[one](opened, tmp_path)
        bench = SmallBench(tmp_path, **sections)
        process = opened.enter_context(running(bench))
        wait_until(bench.kept, "the first reading", 60)
        if what != BROKER:
            bench.measure("31000")
            wait_until(bench.alarms, "an alarm to send", 60)
        for one in hanging:
            run_into(one, bench, opened)
        kept = bench.kept()
        time.sleep(1.5)  # noqa: TID251 - so that the next poll, send and request hang for certain
        status, took_s = stopped(process)
        record_property("stopped within [s]", round(took_s, 1))
        print(f"{what}: {took_s:.1f} s")
        assert (status, took_s < LONGEST_STOP_S) == (0, True), bench.folder.joinpath("daemon.log").read_text()
        assert bench.kept() >= kept
        assert bench.is_whole()
