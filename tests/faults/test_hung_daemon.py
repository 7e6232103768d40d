"""A daemon that hangs is ended by its service manager: it is fed by nobody, and in time."""

import signal
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from small_bench import SmallBench
from supervisor import WATCHDOG_S, Supervisor

from wardian.daemon.bench_watch import LONGEST_ROUND_S

pytestmark = pytest.mark.fault(31)

WaitUntil = Callable[..., None]
#: The daemon in a process, with what it may take put down to a second, and one thing that hangs from its third time on.
HUNG = """
import itertools, sys, threading
from wardian.daemon import bench_watch, cli, loop, outbox, wiring
from wardian.adapters.notifiers.console import ConsoleNotifier
bench_watch.LONGEST_ROUND_S = outbox.MARK_S = wiring.SEND_MORE_S = 1.0
def hangs(of, name, after):
    calls, does = itertools.count(), getattr(of, name)
    def instead(*arguments, **named):
        if next(calls) >= after:
            threading.Event().wait()
        return does(*arguments, **named)
    setattr(of, name, instead)
hangs(*{"round": (loop.Loop, "round", 3), "send": (ConsoleNotifier, "send", 0)}[sys.argv[1]])
sys.exit(cli.main(["run"]))
"""


def test_a_daemon_that_lives_feeds_its_watchdog_and_one_that_is_stopped_starves(tmp_path: Path) -> None:
    SmallBench(tmp_path)
    with Supervisor(tmp_path, abstract=True) as supervisor:
        supervisor.wait_for("READY=1")
        assert not supervisor.starves(1.5 * WATCHDOG_S)
        supervisor.process.send_signal(signal.SIGSTOP)
        assert supervisor.starves(3 * WATCHDOG_S)
    told = supervisor.lines()
    assert told.index("READY=1") < told.index("STATUS=watching")


@pytest.mark.long
def test_a_channel_that_hangs_lets_the_watchdog_starve(tmp_path: Path, wait_until: WaitUntil) -> None:
    bench = SmallBench(tmp_path)
    with Supervisor(tmp_path, [sys.executable, "-c", HUNG, "send"]) as supervisor:
        supervisor.wait_for("READY=1")
        wait_until(bench.kept, "the first reading", 60)
        bench.measure("31000")  # beyond its band: a message to send
        assert supervisor.starves(60)
    assert "STATUS=outbox terminal stands still" in supervisor.lines()


def test_a_round_that_hangs_lets_the_watchdog_starve_and_a_new_daemon_goes_on_with_nothing_lost(
    tmp_path: Path, wait_until: WaitUntil
) -> None:
    bench = SmallBench(tmp_path)
    with Supervisor(tmp_path, [sys.executable, "-c", HUNG, "round"]) as supervisor:
        supervisor.wait_for("READY=1")
        assert supervisor.starves(60)
    assert "STATUS=loop stands still" in supervisor.lines()
    assert "part hangs" in supervisor.log.read_text()
    kept = bench.kept()
    assert bench.is_whole()
    with Supervisor(tmp_path) as supervisor:
        supervisor.wait_for("READY=1")
        wait_until(lambda: bench.kept() > kept, "readings after the new start", 60)
        assert supervisor.stop()[0] == 0
    assert supervisor.lines()[-1] == "STOPPING=1"


@pytest.mark.long
def test_a_hung_loop_that_is_asked_to_end_is_ended_within_ten_seconds(tmp_path: Path) -> None:
    bench = SmallBench(tmp_path)
    with Supervisor(tmp_path, [sys.executable, "-c", HUNG, "round"]) as supervisor:
        supervisor.wait_for("STATUS=loop stands still")
        status, took_s = supervisor.stop()
    assert (status, took_s < 10) == (1, True)
    assert bench.is_whole()


def test_a_hung_loop_is_ended_within_ninety_seconds_by_the_figures_of_the_unit() -> None:
    """Unfed once a round has taken too long, and ended the watchdog's time after the last feeding."""
    from under_unit import settings

    from wardian.daemon.service_files import TEMPLATE

    (watchdog_s,) = settings(TEMPLATE, "WatchdogSec")
    assert LONGEST_ROUND_S + float(watchdog_s) <= 90
