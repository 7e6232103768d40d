"""The real daemon on a real broker, killed at random moments: nothing acknowledged is lost, nobody goes untold."""

import random
from collections import Counter
from collections.abc import Callable, Iterator
from itertools import islice
from pathlib import Path
from threading import Event
from typing import Any, Final

import pytest
from killed_bench import CANARY, KilledBench, killed_bench
from killed_findings import findings, key_of
from own_times import HISTORY_STEP_MS, HOUR_MS, Publisher, now_ms

pytestmark = [pytest.mark.journey, pytest.mark.needs_broker, pytest.mark.fault(1)]

SEED: Final = 4711
#: A start waits so long for what a broker holds back before it judges; a life that judges is longer. [s]
JUDGES_AFTER_S: Final = 5.0

WaitUntil = Callable[..., None]


class Killer:
    """Ends lives of a daemon, each in one of several ways, at a moment left to chance."""

    def __init__(self, bench: KilledBench, chance: random.Random, meanwhile: Callable[[], object]) -> None:
        """Call ``meanwhile`` about every tenth of a second."""
        self._bench = bench
        self._chance = chance
        self._meanwhile = meanwhile
        self.kills = 0

    def as_it_starts(self) -> None:
        """Kill while it opens its store, takes up where it was, or connects."""
        self._bench.start()
        self._wait(self._chance.uniform(0.2, 1.2))
        self._kill()

    def once_it_is_up(self, least_s: float = 0.05, most_s: float = 0.3) -> None:
        """Kill so long after it is connected."""
        self._bench.start()
        while not self._bench.is_up():
            self._wait(0.02)
        self._wait(self._chance.uniform(least_s, most_s))
        self._kill()

    def as_it_tells(self, within_s: float = 9.0) -> None:
        """Kill while it waits for the answer to some message, taken and not yet marked."""
        bench = self._bench
        bench.receiver.silent_at = len(bench.receiver.requests) + self._chance.randint(1, 12)
        bench.start()
        for _ in range(int(within_s / 0.05)):
            if len(bench.receiver.requests) >= bench.receiver.silent_at:
                break
            self._wait(0.05)
        self._kill()
        bench.receiver.silent_at = 0

    def any(self) -> None:
        """Kill in any of these ways; some lives are long enough to judge what came."""
        way = self._chance.random()
        if way < 0.15:
            self.as_it_starts()
        elif way < 0.45:
            self.once_it_is_up()
        elif way < 0.75:
            self.as_it_tells()
        else:
            self.once_it_is_up(JUDGES_AFTER_S - 0.5, JUDGES_AFTER_S + 4)

    def _kill(self) -> None:
        self._bench.kill()
        self.kills += 1

    def _wait(self, seconds: float) -> None:
        until_ms = now_ms() + round(seconds * 1000)
        while True:
            self._meanwhile()
            left_s = (until_ms - now_ms()) / 1000
            if left_s <= 0:
                return
            NEVER.wait(min(left_s, 0.1))


NEVER: Final = Event()


@pytest.fixture
def bench(tmp_path: Path, broker_with_passwords: Any, wait_until: WaitUntil) -> Iterator[KilledBench]:
    broker_with_passwords.stop()
    broker_with_passwords.saves = False
    broker_with_passwords.start()
    with killed_bench(tmp_path, broker_with_passwords, wait_until) as made:
        made.start()
        made.wait_until_up()
        wait_until(lambda: "Sending SUBACK" in broker_with_passwords.log, "the subscription")
        made.kill()  # nobody watches while the first readings are published
        yield made


@pytest.fixture
def publisher(bench: KilledBench) -> Iterator[Publisher]:
    made = Publisher(bench.broker, random.Random(SEED))
    yield made
    made.stop()


def assert_all_is_there(bench: KilledBench, publisher: Publisher, kills: int) -> None:
    """Let the daemon finish in peace, then hold its store and its messages against what was published."""
    publisher.wait_until_taken()
    expected = [key_of(line) for line in bench.replayed(publisher.published)]
    bench.start()
    whole = len(publisher.published)
    bench.wait_until(lambda: bench.counts()["readings"] >= whole, "every reading to be kept", 120)

    def all_is_told() -> bool:
        return bench.journal_keys() >= set(expected) and not bench.counts()["due"]

    bench.wait_until(all_is_told, "everything to be told", 120)
    assert bench.stop() == 0
    found = findings(bench, publisher.published, expected)
    print(
        f"\nkill -9: {publisher.messages} messages with {found.readings} readings, {kills} kills: "
        f"{found.lost} lost, {found.doubled} doubled; {found.alarms} alarms raised or returned: "
        f"{len(found.alarms_lost)} lost, {found.alarms_doubled} doubled; "
        f"{len(bench.receiver.requests)} messages received, {len(found.not_sent)} missing, "
        f"{len(found.repeats)} repeats"
    )
    found.assert_nothing_is_wrong()
    # A channel has one message on its way at a time: no more can be in doubt when it is killed.
    assert len(found.repeats) <= kills
    assert max(Counter((one.life, one.channel) for one in found.repeats).values(), default=0) <= 1
    assert CANARY not in bench.log
    assert bench.broker.password not in bench.log
    assert "Traceback" not in bench.log


def test_killed_again_and_again_nothing_is_lost_nothing_is_doubled_and_everything_is_told(
    bench: KilledBench, publisher: Publisher
) -> None:
    begin_ms = now_ms() // HISTORY_STEP_MS * HISTORY_STEP_MS - 2 * HOUR_MS
    steps = publisher.history(begin_ms, begin_ms + 2 * HOUR_MS - 4 * HISTORY_STEP_MS)
    # Published as it goes by, so that it is killed under load.
    killer = Killer(bench, random.Random(SEED), lambda: list(islice(steps, 30)))
    killer.once_it_is_up()
    killer.once_it_is_up()
    for _ in steps:
        pass
    publisher.all_well()
    killer.as_it_tells(60)  # all was judged, and the first messages are on their way
    killer.as_it_tells(20)
    killer.as_it_starts()
    killer.as_it_tells(20)
    assert_all_is_there(bench, publisher, killer.kills)


@pytest.mark.long
def test_killed_two_hundred_times_under_load_nothing_is_lost_and_everything_is_told(
    bench: KilledBench, publisher: Publisher
) -> None:
    begin_ms = now_ms() // HISTORY_STEP_MS * HISTORY_STEP_MS - 6 * HOUR_MS
    for _ in publisher.history(begin_ms, now_ms() - HISTORY_STEP_MS):
        pass
    begun_ms, chance = now_ms(), random.Random(SEED)
    killer = Killer(bench, chance, lambda: publisher.live(now_ms() - begun_ms))
    while killer.kills < 200 or publisher.messages < 100_000:
        killer.any()
    publisher.all_well()
    NEVER.wait(3)
    publisher.all_well()
    assert_all_is_there(bench, publisher, killer.kills)
