"""One daemon writes a database: another one is refused, and after a kill the next one is let in."""

import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final

import pytest
from card_bench import CardBench
from receivers import http_receiver

from wardian.adapters.stores.lock import holder
from wardian.adapters.stores.sql import SqlStore

WaitUntil = Callable[..., None]
#: Opens the database again and again in one process, as a start of the daemon does; prints who was named.
TRIES: Final = """
import sys
from pathlib import Path
from wardian.adapters.stores.mending import open_whole
from wardian.rules.errors import StoreFailed
for _ in range(int(sys.argv[2])):
    try:
        open_whole(Path(sys.argv[1]), Path(sys.argv[1]).with_name("backups"), 0).store.close()
        print("let in")
    except StoreFailed as failed:
        print(failed)
"""


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[CardBench]:
    with http_receiver() as receiver:
        bench = CardBench(tmp_path, receiver)
        yield bench
        bench.kill()


def starts(database: Path, times: int) -> list[str]:
    command = [sys.executable, "-c", TRIES, str(database), str(times)]
    return subprocess.run(
        command, capture_output=True, text=True, check=True, timeout=300
    ).stdout.splitlines()


@pytest.mark.fault(32)
@pytest.mark.parametrize("times", [5, pytest.param(100, marks=pytest.mark.long)])
def test_a_second_start_is_refused_each_time_and_each_start_after_a_kill_is_let_in(
    tmp_path: Path, times: int
) -> None:
    path = tmp_path / "bench.db"
    holds = "from pathlib import Path\nimport sys\nfrom wardian.adapters.stores.sql import SqlStore\n"
    holds += "store = SqlStore.open(Path(sys.argv[1]))\nprint('open', flush=True)\nsys.stdin.read()\n"
    command = [sys.executable, "-c", holds, str(path)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as first:
        assert first.stdout is not None
        assert first.stdout.readline() == "open\n"
        refused = starts(path, times)
        assert len(refused) == times
        assert all(f"in use by another wardian, process {first.pid};" in line for line in refused)
        first.send_signal(signal.SIGKILL)
        first.wait(10)
        assert starts(path, times) == ["let in"] * times
    SqlStore.open(path).close()


@pytest.mark.fault(32)
@pytest.mark.journey
@pytest.mark.parametrize("times", [1, pytest.param(100, marks=pytest.mark.long)])
def test_a_second_daemon_ends_with_a_word_and_the_first_watches_on(
    bench: CardBench, wait_until: WaitUntil, times: int
) -> None:
    first = bench
    for _ in range(times):
        first.start()
        pid = first.running.pid
        wait_until(lambda: holder(bench.database) is not None, "the first daemon", 30)
        second = bench.say_outside("run")
        assert (second.returncode, second.stdout) == (3, "")
        assert f"in use by another wardian, process {pid}; stop that one first" in second.stderr
        assert first.running.poll() is None
        first.kill()
    first.start()
    wait_until(lambda: holder(bench.database) is not None, "the daemon after the last kill", 30)
    wait_until(lambda: "last reading kept" in bench.say_outside("status").stdout, "a reading", 30)
    assert first.stop() == 0
