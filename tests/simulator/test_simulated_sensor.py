from dataclasses import dataclass, field

import pytest
from fake_clock import FakeClock

from wardian.rules.ports import Arrival, Measured
from wardian.simulator.faults import Fault
from wardian.simulator.source import READINGS_PER_ARRIVAL, SimulatedSensor, SimulatedSettings

NOW_MS = 1_772_452_807_250
GRID_MS = 1_772_452_800_000
HOUR_MS = 3_600_000
TRAYS = ("tray-a", "tray-b", "tray-c")


@dataclass
class Bench:
    """A started simulated sensor with its clock, and everything it handed over."""

    settings: SimulatedSettings = field(default_factory=lambda: SimulatedSettings("bench", TRAYS))
    clock: FakeClock = field(default_factory=lambda: FakeClock(NOW_MS))
    arrivals: list[Arrival] = field(default_factory=list)
    room: int = 1_000_000

    def __post_init__(self) -> None:
        self.sensor = SimulatedSensor(self.settings, self.clock)
        self.sensor.start(self.take)

    def take(self, arrival: Arrival) -> bool:
        if self.room > 0:
            self.arrivals.append(arrival)
        self.room -= 1
        return self.room >= 0

    def poll_at(self, now_ms: int) -> None:
        self.clock.now_ms = now_ms
        self.sensor.poll()

    @property
    def readings(self) -> list[Measured]:
        return [one for arrival in self.arrivals for one in self.sensor.decode(arrival).measured]

    @property
    def times_ms(self) -> list[int | None]:
        return sorted({reading.time_ms for reading in self.readings}, key=lambda time_ms: time_ms or 0)


def test_the_first_poll_brings_the_present_instant_on_the_grid_and_nothing_of_the_past() -> None:
    bench = Bench()
    bench.sensor.poll()
    assert bench.times_ms == [GRID_MS]
    assert len(bench.readings) == len(TRAYS) * 5
    assert len(bench.arrivals) == 1


def test_a_late_poll_brings_every_instant_in_between() -> None:
    bench = Bench()
    bench.sensor.poll()
    bench.poll_at(NOW_MS + 65_000)
    assert bench.times_ms == [GRID_MS + n * 10_000 for n in range(8)]


def test_a_poll_before_the_next_instant_brings_nothing() -> None:
    bench = Bench()
    bench.sensor.poll()
    bench.poll_at(NOW_MS + 2_000)
    assert len(bench.arrivals) == 1


def test_the_readings_are_the_same_however_they_are_asked_for() -> None:
    steady, late = Bench(), Bench()
    for now_ms in range(NOW_MS, NOW_MS + 2 * HOUR_MS, 7_300):
        steady.poll_at(now_ms)
    steady.poll_at(NOW_MS + 2 * HOUR_MS)
    late.poll_at(NOW_MS + 2 * HOUR_MS)
    assert steady.readings == late.readings
    assert len(late.readings) == 721 * len(TRAYS) * 5


def test_another_seed_gives_other_readings_and_the_same_seed_the_same() -> None:
    benches = [Bench(SimulatedSettings("bench", TRAYS, seed=seed)) for seed in (1, 1, 2)]
    for bench in benches:
        bench.poll_at(NOW_MS + HOUR_MS)
    assert benches[0].readings == benches[1].readings
    assert benches[0].readings != benches[2].readings


def test_a_fault_of_one_tray_changes_no_reading_of_another_nor_of_its_own_past() -> None:
    healthy = Bench()
    faulty = Bench(SimulatedSettings("bench", TRAYS, faults=(Fault("heater dead", "tray-b", 1),)))
    for bench in (healthy, faulty):
        bench.poll_at(NOW_MS + 3 * HOUR_MS)
    changed = [
        (before, after)
        for before, after in zip(healthy.readings, faulty.readings, strict=True)
        if before != after
    ]
    assert {before.tray for before, _ in changed} == {"tray-b"}
    assert min(before.time_ms or 0 for before, _ in changed) >= GRID_MS + HOUR_MS


def test_a_silent_tray_brings_nothing_while_the_others_go_on() -> None:
    fault = Fault("sensor silent", "tray-b", after_h=1, lasts_h=0.5)
    bench, whole = Bench(SimulatedSettings("bench", TRAYS, faults=(fault,))), Bench()
    for one in (bench, whole):
        one.poll_at(NOW_MS + 2 * HOUR_MS)
    silent = set(whole.readings) - set(bench.readings)
    assert {reading.tray for reading in silent} == {"tray-b"}
    assert min(reading.time_ms or 0 for reading in silent) == GRID_MS + HOUR_MS
    assert max(reading.time_ms or 0 for reading in silent) == GRID_MS + HOUR_MS * 3 // 2 - 10_000
    assert set(bench.readings) < set(whole.readings)


def test_a_pause_of_more_than_a_day_is_slept_through() -> None:
    bench = Bench()
    bench.sensor.poll()
    bench.poll_at(NOW_MS + 10 * 365 * 24 * HOUR_MS)
    assert bench.times_ms[0] == GRID_MS
    assert bench.times_ms[1] == GRID_MS + (10 * 365 - 1) * 24 * HOUR_MS + 10_000
    assert bench.times_ms[-1] == GRID_MS + 10 * 365 * 24 * HOUR_MS
    assert len(bench.times_ms) == 1 + 24 * 360


def test_a_clock_set_back_brings_no_instant_twice() -> None:
    bench = Bench()
    bench.sensor.poll()
    bench.poll_at(NOW_MS - HOUR_MS)
    bench.poll_at(NOW_MS + 10_000)
    assert bench.times_ms == [GRID_MS, GRID_MS + 10_000]
    assert len(bench.readings) == 2 * len(TRAYS) * 5


def test_a_day_at_once_comes_in_bounded_arrivals_and_waits_when_there_is_no_room() -> None:
    bench = Bench(room=2)
    bench.poll_at(NOW_MS + 6 * HOUR_MS)
    assert len(bench.arrivals) == 2
    bench.room = 1_000_000
    bench.sensor.poll()
    assert max(len(arrival.message) for arrival in bench.arrivals) < READINGS_PER_ARRIVAL + len(TRAYS) * 5
    keys = [reading[:3] for reading in bench.readings]
    assert len(keys) == len(set(keys)) == (6 * 360 + 1) * len(TRAYS) * 5
    assert bench.times_ms == [GRID_MS + n * 10_000 for n in range(6 * 360 + 1)]


def test_a_given_start_sets_the_grid() -> None:
    bench = Bench(SimulatedSettings("bench", TRAYS, every_s=60, start_ms=NOW_MS - 150_000))
    bench.sensor.poll()
    assert bench.times_ms == [NOW_MS - 150_000, NOW_MS - 90_000, NOW_MS - 30_000]


def test_probes_show_their_resolution_and_scatter_about_the_truth() -> None:
    bench = Bench()
    bench.poll_at(NOW_MS + HOUR_MS)
    by_quantity: dict[str, list[float]] = {}
    for reading in bench.readings:
        by_quantity.setdefault(reading.quantity, []).append(float(reading.value))
    steps = {"air_temperature": 0.01, "medium_temperature": 0.0625, "relative_humidity": 0.1, "tray_mass": 1}
    for quantity, step in {**steps, "illuminance": 1}.items():
        assert all(abs(value / step - round(value / step)) < 1e-6 for value in by_quantity[quantity])
        assert len(set(by_quantity[quantity])) > 5
    assert max(by_quantity["relative_humidity"]) <= 100


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"faults": (Fault("lamp dead", "tray-x", 1),)}, "'tray-x' is unknown; tray-a, tray-b, tray-c"),
        ({"every_s": 0.5}, "1 s or more"),
    ],
)
def test_a_bench_that_cannot_be_is_refused(settings: dict[str, object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        SimulatedSettings("bench", TRAYS, **settings)  # type: ignore[arg-type]  # one of its keys each
