"""The real daemon, whose n-th call on a network socket fails once: to its broker, or to who takes its messages."""

import errno
import random
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from itertools import count
from pathlib import Path
from typing import Any, Final

import pytest
from failing_calls import built, environment
from killed_bench import KilledBench, killed_bench
from own_times import HISTORY_STEP_MS, HOUR_MS, Publisher, now_ms

from wardian.adapters.stores.sql import SqlStore
from wardian.rules.ports import DueMessage, Message, Round

pytestmark = [pytest.mark.journey, pytest.mark.needs_broker, pytest.mark.fault(27)]

#: Messages that wait to be told at each start.
WAITING: Final = 2

WaitUntil = Callable[..., None]


@pytest.fixture
def bench(tmp_path: Path, broker_with_passwords: Any, wait_until: WaitUntil) -> Iterator[KilledBench]:
    broker_with_passwords.stop()
    broker_with_passwords.saves = False
    broker_with_passwords.start()
    with killed_bench(tmp_path, broker_with_passwords, wait_until) as made:
        made.start()
        made.wait_until_up()
        wait_until(lambda: "Sending SUBACK" in broker_with_passwords.log, "the subscription")
        assert made.stop() == 0
        yield made


def let_wait(bench: KilledBench, nth: int) -> set[str]:
    """Let messages wait for the next start; return their keys."""
    keys = {f"waiting/{nth}/{number}" for number in range(WAITING)}
    store = SqlStore.open(bench.database)
    due = [DueMessage("hook", Message(key, "tray-a", "well", {})) for key in sorted(keys)]
    store.keep(Round(now_ms(), due=due))
    store.close()
    return keys


def assert_all_fail_once(bench: KilledBench, numbers: Iterable[int]) -> None:
    library, says = built(bench.folder), bench.folder / "failed"
    publisher = Publisher(bench.broker, random.Random(27))
    begin_ms = now_ms() - 6 * HOUR_MS
    keys: set[str] = set()
    places: Counter[str] = Counter()
    for nth in numbers:
        keys |= let_wait(bench, nth)
        from_ms = begin_ms + nth * HISTORY_STEP_MS
        for _ in publisher.history(from_ms, from_ms + HISTORY_STEP_MS):
            pass
        publisher.wait_until_taken()
        says.unlink(missing_ok=True)
        fails = {"FAILING_KIND": "sockets", "FAILING_NTH": nth, "FAILING_ERRNO": errno.ECONNRESET}
        bench.start(environment=environment(library, says, FAILING_SAYS=says, **fails))
        whole = len(publisher.published)

        def all_is_there(whole: int = whole) -> bool:
            counts = bench.counts()
            return counts["readings"] >= whole and not counts["due"]

        bench.wait_until(all_is_there, f"everything after call {nth} failed", 90)
        assert bench.stop() == 0, bench.log[-2000:]
        if not says.exists():
            break
        places[says.read_text(encoding="ascii")] += 1
    publisher.stop()
    with bench.store() as store:
        assert Counter(store.readings(0, 2**62)) == Counter(publisher.published)
        assert store.damage() == ""
    told = Counter(one.key for one in bench.told())
    print(
        f"\nn-th call on a socket: {sum(places.values())} injections {dict(places)}, {told.total()} messages"
    )
    assert keys - told.keys() == set()
    assert max(told.values()) <= 2
    assert "Traceback" not in bench.log
    assert places


def test_some_calls_on_sockets_fail_once_and_nothing_is_lost(bench: KilledBench) -> None:
    assert_all_fail_once(bench, [12])


@pytest.mark.long
def test_every_call_on_a_socket_fails_once_and_nothing_is_lost(bench: KilledBench) -> None:
    assert_all_fail_once(bench, count(1))
