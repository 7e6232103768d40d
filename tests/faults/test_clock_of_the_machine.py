"""The real program on a machine whose clock is wrong, comes right, or is set while it watches."""

from collections.abc import Iterator
from functools import partial
from pathlib import Path
from threading import Event, Thread
from typing import Any, Self

import pytest
from receivers import http_receiver
from shifted_bench import ShiftedBench, real_ms

pytestmark = [pytest.mark.needs_broker, pytest.mark.journey]

MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS
DAY_MS = 24 * HOUR_MS
YEAR_MS = 365 * DAY_MS


@pytest.fixture
def bench(tmp_path: Path, broker: Any) -> Iterator[ShiftedBench]:
    with http_receiver() as receiver:
        made = ShiftedBench(tmp_path, broker, receiver)
        yield made
        made.kill()


#: One comes over the broker, one is asked for.
BOTH = ("air_temperature", "medium_temperature")


def has_more_than(bench: ShiftedBench, quantity: str, readings: int) -> bool:
    return len(bench.readings(quantity)) > readings


class Speaking:
    """A probe that speaks about once a second until it is told to be quiet."""

    def __init__(self, bench: ShiftedBench) -> None:
        self.celsius = 25.0
        self._bench = bench
        self._quiet = Event()
        self._thread = Thread(target=self._work, daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._quiet.set()
        self._thread.join(30)

    def _work(self) -> None:
        while not self._quiet.wait(0.7):
            self._bench.publish(self.celsius)


def watch_for_a_moment(bench: ShiftedBench) -> None:
    """Start, and stop once something was read and judged."""
    bench.start()
    bench.wait_until(lambda: len(bench.readings("medium_temperature")) > 2, "readings")
    assert bench.stop() == 0


@pytest.mark.fault(15)
def test_a_start_in_1970_waits_for_the_time_and_what_the_broker_held_keeps_its_own(
    bench: ShiftedBench,
) -> None:
    watch_for_a_moment(bench)
    held_ms = [real_ms() + number * 1000 for number in range(3)]
    for at_ms in held_ms:
        bench.publish(25.0, at_ms)
    bench.patience_s = 60.0
    bench.shift(-real_ms())
    bench.start()
    bench.wait_until(lambda: "waiting for the clock" in bench.log, "the start in 1970")
    assert bench.readings("air_temperature") == []
    bench.shift(0)
    with Speaking(bench):
        bench.wait_until(lambda: len(bench.readings("air_temperature")) > 6, "readings")
    assert set(held_ms) <= {one.time_ms for one in bench.readings("air_temperature")}
    assert bench.stop() == 0
    assert ("clock-was-set", "raised") not in bench.told(of_watch=True)
    assert not {condition for condition, _ in bench.told()} - {"sensor-silent"}


@pytest.mark.fault(15)
def test_what_was_kept_in_1970_is_dated_anew_when_the_time_comes(bench: ShiftedBench) -> None:
    begun_ms = real_ms()
    bench.shift(-begun_ms)
    bench.start()
    with Speaking(bench) as probe:
        bench.wait_until(lambda: bench.is_sent("time-not-trusted", "raised"), "the trouble told")
        bench.wait_until(lambda: len(bench.readings("air_temperature")) > 3, "readings")
        words, status = bench.status()
        assert "behind what is known" in words
        assert status["daemon"]["time"] == {"is_trusted": False}
        assert status["trays"][0]["quantities"]["air_temperature"]["value"] == 25.0
        probe.celsius = 35.0
        bench.wait_until(lambda: bench.is_sent("air-too-warm", "raised"), "an alarm without a clock")
        assert (
            max(one.time_ms for one in bench.readings("air_temperature")) < begun_ms - DAY_MS
        )  # the day of sticking
        bench.shift(0)
        bench.wait_until(lambda: bench.is_sent("time-not-trusted", "returned"), "the end of the trouble")
        probe.celsius = 25.0
        bench.wait_until(lambda: bench.is_sent("air-too-warm", "returned"), "the end of the alarm")
    assert bench.stop() == 0
    now_ms = real_ms()
    readings = [*bench.readings("air_temperature"), *bench.readings("medium_temperature")]
    assert all(begun_ms <= one.time_ms <= now_ms for one in readings)
    assert [one.value for one in bench.readings("air_temperature")].count(35.0) > 2
    entries = [*bench.journal(), *bench.journal(of_watch=True)]
    assert all(begun_ms <= entry.time_ms <= now_ms for entry in entries)
    assert bench.told() == [("high", "raised"), ("high", "returned")]
    assert ("clock-was-set", "raised") in bench.told(of_watch=True)


@pytest.mark.fault(18)
def test_a_machine_without_a_clock_is_watched_by_a_time_that_goes_on_from_what_was_kept(
    bench: ShiftedBench,
) -> None:
    watch_for_a_moment(bench)
    kept_ms = bench.readings("medium_temperature")[-1].time_ms
    bench.shift(-real_ms())
    bench.start()
    with Speaking(bench) as probe:
        bench.wait_until(lambda: bench.is_sent("time-not-trusted", "raised"), "the trouble told")
        before = len(bench.readings("air_temperature"))
        probe.celsius = 35.0
        bench.wait_until(lambda: bench.is_sent("air-too-warm", "raised"), "an alarm without a clock")
        probe.celsius = 25.0
        bench.wait_until(partial(has_more_than, bench, "air_temperature", before + 4), "readings")
    assert bench.stop() == 0
    later_ms = [one.time_ms for one in bench.readings("air_temperature")][before:]
    assert kept_ms < later_ms[0]
    assert later_ms[-1] - later_ms[0] < 2 * MINUTE_MS
    assert ("high", "raised") in bench.told()
    assert ("time-not-trusted", "returned") not in bench.told(of_watch=True)


SIZES: tuple[int, ...] = (
    6_000,
    30_000,
    2 * MINUTE_MS,
    10 * MINUTE_MS,
    HOUR_MS,
    3 * HOUR_MS,
    12 * HOUR_MS,
    DAY_MS,
)
SIZES = (*SIZES, 30 * DAY_MS, YEAR_MS, 10 * YEAR_MS, 30 * YEAR_MS)


def survive(bench: ShiftedBench, shifts_ms: list[int]) -> None:
    """Let the clock be set to each of some shifts; readings and judgement must go on at each."""
    bench.start()
    with Speaking(bench) as probe:
        bench.wait_until(lambda: len(bench.readings("air_temperature")) > 3, "readings")
        for shift_ms in shifts_ms:
            bench.shift(shift_ms)
            cpu_s = bench.cpu_s()
            goals = {quantity: len(bench.readings(quantity)) + 4 for quantity in BOTH}
            for quantity, goal in goals.items():
                bench.wait_until(partial(has_more_than, bench, quantity, goal), f"{quantity} goes on")
            assert bench.cpu_s() - cpu_s < 20
            assert bench.resident_mib() < 160
        assert bench.told() == []
        probe.celsius = 35.0
        bench.wait_until(lambda: bench.is_sent("air-too-warm", "raised"), "a true alarm")
    assert bench.stop() == 0
    assert ("clock-was-set", "raised") in bench.told(of_watch=True)


@pytest.mark.fault(16)
@pytest.mark.fault(17)
def test_a_clock_that_is_set_while_the_program_watches_stops_and_floods_nothing(bench: ShiftedBench) -> None:
    """Ahead by ten years, and back to an hour ago: polls neither flood nor stop, and neither does judging."""
    survive(bench, [10 * YEAR_MS, -HOUR_MS])


@pytest.mark.fault(16)
@pytest.mark.fault(17)
@pytest.mark.long
@pytest.mark.parametrize("size_ms", SIZES)
def test_a_clock_set_by_any_of_twelve_sizes_ahead_back_and_right_again(
    bench: ShiftedBench, size_ms: int
) -> None:
    survive(bench, [size_ms, 0, -size_ms, 0])
