"""A daemon that may have only so much memory: it works or ends, never keeps half of anything, and says no wrong thing."""

import random
import re
import resource
import subprocess
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any, Final

import pytest
from killed_bench import KilledBench, killed_bench
from killed_findings import findings, key_of
from own_times import HISTORY_STEP_MS, HOUR_MS, Publisher, now_ms

from wardian.daemon.exit_status import CANNOT_BE_USED, DONE

pytestmark = [pytest.mark.journey, pytest.mark.needs_broker, pytest.mark.fault(28)]

#: Shares of the address space that a daemon took which had all it wanted.
LEVELS: Final = (0.1, 0.25, 0.3, 0.33, 0.36, 0.4)
#: One in the middle, where it starts and does not get far.
SHORT: Final = LEVELS[3:4]
#: One that is up is watched for so long. [s]
WORKS_S: Final = 1.5

WaitUntil = Callable[..., None]


@pytest.fixture
def bench(tmp_path: Path, broker_with_passwords: Any, wait_until: WaitUntil) -> Iterator[KilledBench]:
    with killed_bench(tmp_path, broker_with_passwords, wait_until) as made:
        yield made


def space_taken(bench: KilledBench) -> int:
    """Return how much address space the present life took at most. [bytes]"""
    assert bench.process is not None
    status = Path(f"/proc/{bench.process.pid}/status").read_text(encoding="ascii")
    found = re.search(r"VmPeak:\s+(\d+) kB", status)
    assert found
    return int(found[1]) * 1024


def live_with(bench: KilledBench, most_bytes: int) -> int | None:
    """Live with so much memory until it works; return how the process ended, None when it had to be killed."""
    bench.start(preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_AS, (most_bytes, most_bytes)))
    process = bench.process
    assert process is not None
    bench.wait_until(lambda: process.poll() is not None or bench.is_up(), "it to work or to end", 60)
    with suppress(subprocess.TimeoutExpired):
        return process.wait(WORKS_S)
    bench.kill()
    return None


def assert_it_holds_with(levels: tuple[float, ...], bench: KilledBench) -> None:
    publisher = Publisher(bench.broker, random.Random(28))
    bench.start()
    bench.wait_until_up()
    begin_ms = now_ms() - HOUR_MS
    for _ in publisher.history(begin_ms, begin_ms + HOUR_MS // 4):
        pass
    publisher.wait_until_taken()
    whole = len(publisher.published)
    bench.wait_until(lambda: bench.counts()["readings"] == whole, "the first readings", 30)
    taken_bytes = space_taken(bench)
    bench.kill()
    ends = []
    for place, level in enumerate(levels):
        from_ms = begin_ms + (place + 1) * HOUR_MS // 4
        for _ in publisher.history(from_ms, min(from_ms + HOUR_MS // 8, now_ms() - 2 * HISTORY_STEP_MS)):
            pass
        ends.append((level, live_with(bench, int(level * taken_bytes))))
    publisher.all_well()
    publisher.wait_until_taken()
    publisher.stop()
    expected = [key_of(line) for line in bench.replayed(publisher.published)]
    bench.start()
    bench.wait_until(lambda: len(bench.journal_keys() & set(expected)) == len(expected), "all alarms", 60)
    bench.wait_until(lambda: not bench.counts()["due"], "everything to be told", 60)
    assert bench.stop() == 0
    print(f"\nlittle memory: of {taken_bytes >> 20} MiB of address space, share and end: {ends}")
    findings(bench, publisher.published, expected).assert_nothing_is_wrong()
    # Neither a good end nor a mistake in the configuration, after which nobody would start it again.
    assert not {DONE, CANNOT_BE_USED} & {end for _, end in ends}


def test_with_too_little_memory_nothing_is_lost(bench: KilledBench) -> None:
    assert_it_holds_with(SHORT, bench)


@pytest.mark.long
def test_with_too_little_memory_at_any_of_six_levels_nothing_is_lost(bench: KilledBench) -> None:
    assert_it_holds_with(LEVELS, bench)
