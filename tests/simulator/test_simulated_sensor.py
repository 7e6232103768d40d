from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from fake_clock import FakeClock

from wardian.rules.crops import Band, Limit, Stage, StageSpan
from wardian.rules.faults import FAULTS
from wardian.rules.judging import NEVER_MS
from wardian.rules.ports import Arrival, Measured
from wardian.rules.truth import TrueFault
from wardian.simulator.probes import PROBES
from wardian.simulator.source import READINGS_PER_ARRIVAL, SimulatedSensor, SimulatedSettings

#: 2026-03-02T12:00:07.25Z.
NOW_MS = 1_772_452_807_250
GRID_MS = 1_772_452_800_000
EVERY_MS = 10_000
HOUR_MS = 3_600_000
NAMES = ("tray-a", "tray-b", "tray-c")
TRAYS: tuple[tuple[str, Sequence[StageSpan]], ...] = tuple((name, ()) for name in NAMES)
SETTINGS = SimulatedSettings("bench", TRAYS)
#: One reading in five hundred is lost on its way.
LOST = 0.002


def fault(name: str, after_h: float, lasts_h: float | None = None, quantity: str | None = None) -> TrueFault:
    """Return a fault of the second tray, in milliseconds after the start."""
    from_ms = round(after_h * HOUR_MS)
    to_ms = NEVER_MS if lasts_h is None else from_ms + round(lasts_h * HOUR_MS)
    return TrueFault("tray-b", name, from_ms, to_ms, quantity)


@dataclass
class Bench:
    """A started simulated sensor with its clock, and everything it handed over."""

    settings: SimulatedSettings = field(default_factory=lambda: SETTINGS)
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
    def ticks(self) -> list[int]:
        """Return of which intervals since the grid's instant there are readings."""
        return [int(tick) for tick in np.unique((self.times_ms - GRID_MS) // EVERY_MS)]

    @property
    def times_ms(self) -> "np.ndarray[tuple[int, ...], np.dtype[np.int64]]":
        return np.array([reading.time_ms for reading in self.readings], dtype=np.int64)

    def values(self, tray: str, quantity: str) -> list[float]:
        mine = [one for one in self.readings if (one.tray, one.quantity) == (tray, quantity)]
        return [float(one.value) for one in mine]


def test_the_first_poll_brings_the_present_interval_and_nothing_of_the_past() -> None:
    bench = Bench()
    bench.sensor.poll()
    assert bench.ticks == [0]
    assert GRID_MS <= bench.times_ms.min() <= bench.times_ms.max() <= NOW_MS
    assert {reading[1:3] for reading in bench.readings} == {(tray, one) for tray in NAMES for one in PROBES}
    assert len(bench.readings) == len(NAMES) * 5
    assert len(bench.arrivals) == 1


def test_a_late_poll_brings_every_interval_in_between() -> None:
    bench = Bench()
    bench.sensor.poll()
    bench.poll_at(NOW_MS + 65_000)
    assert bench.ticks == list(range(8))


def test_a_poll_before_the_next_reading_brings_nothing() -> None:
    bench = Bench()
    bench.sensor.poll()
    bench.poll_at(NOW_MS + 2_000)
    assert len(bench.arrivals) == 1


@pytest.mark.parametrize("names", [(), ("repeated and late readings", "sensor stuck", "power-on value")])
def test_the_readings_are_the_same_however_they_are_asked_for(names: tuple[str, ...]) -> None:
    faults = tuple(fault(name, 0.2 * place, 1) for place, name in enumerate(names))
    settings = replace(SETTINGS, faults=faults)
    steady, late = Bench(settings), Bench(settings)
    for now_ms in range(NOW_MS, NOW_MS + 2 * HOUR_MS, 73_000):
        steady.poll_at(now_ms)
    steady.poll_at(NOW_MS + 2 * HOUR_MS)
    late.poll_at(NOW_MS + 2 * HOUR_MS)
    assert steady.readings == late.readings
    made = {reading[:3] for reading in late.readings}
    assert len(made) == pytest.approx(721 * len(NAMES) * 5, rel=5 * LOST)


def test_another_seed_gives_other_readings_and_the_same_seed_the_same() -> None:
    benches = [Bench(replace(SETTINGS, seed=seed)) for seed in (1, 1, 2)]
    for bench in benches:
        bench.poll_at(NOW_MS + HOUR_MS)
    assert benches[0].readings == benches[1].readings
    assert benches[0].readings != benches[2].readings


def test_a_fault_of_one_tray_changes_no_reading_of_another_nor_of_its_own_past() -> None:
    healthy, faulty = Bench(), Bench(replace(SETTINGS, faults=(fault("heater dead", 1),)))
    for bench in (healthy, faulty):
        bench.poll_at(NOW_MS + 3 * HOUR_MS)
    changed = [
        (before, after)
        for before, after in zip(healthy.readings, faulty.readings, strict=True)
        if before != after
    ]
    assert {before.tray for before, _ in changed} == {"tray-b"}
    assert min(before.time_ms or 0 for before, _ in changed) >= GRID_MS + HOUR_MS


@pytest.mark.parametrize("quantity", [None, "relative_humidity"])
def test_silent_probes_bring_nothing_while_the_others_go_on(quantity: str | None) -> None:
    bench = Bench(replace(SETTINGS, faults=(fault("sensor silent", 1, 0.5, quantity),)))
    whole = Bench()
    for one in (bench, whole):
        one.poll_at(NOW_MS + 2 * HOUR_MS)
    silent = set(whole.readings) - set(bench.readings)
    assert set(bench.readings) < set(whole.readings)
    befallen = set(PROBES) if quantity is None else {quantity}
    assert {(reading.tray, reading.quantity) for reading in silent} == {("tray-b", one) for one in befallen}
    times_ms = [reading.time_ms or 0 for reading in silent]
    assert GRID_MS + HOUR_MS <= min(times_ms) < GRID_MS + HOUR_MS + EVERY_MS
    assert GRID_MS + HOUR_MS * 3 // 2 - EVERY_MS <= max(times_ms) < GRID_MS + HOUR_MS * 3 // 2
    assert len(silent) == pytest.approx(180 * len(befallen), abs=8)


@pytest.mark.parametrize("name", FAULTS)
def test_every_fault_can_befall_a_tray_for_good(name: str) -> None:
    bench = Bench(replace(SETTINGS, every_s=60.0, faults=(fault(name, 0.5),)))
    bench.poll_at(NOW_MS + 2 * HOUR_MS)
    assert {reading.tray for reading in bench.readings} == set(NAMES)


def test_a_pause_of_more_than_a_day_is_slept_through() -> None:
    bench = Bench(replace(SETTINGS, every_s=60.0))
    bench.sensor.poll()
    now_ms = NOW_MS + 10 * 365 * 24 * HOUR_MS
    bench.poll_at(now_ms)
    # A reading or two of each probe was on its way when the pause began.
    later = bench.times_ms[bench.times_ms > NOW_MS + 5 * 60_000]
    assert len(bench.times_ms) - len(later) <= 5 * len(NAMES) * 5
    assert now_ms - 24 * HOUR_MS <= later.min() < now_ms - 24 * HOUR_MS + 60_000
    assert now_ms - 60_000 < later.max() <= now_ms
    assert len(later) == pytest.approx(24 * 60 * len(NAMES) * 5, rel=5 * LOST)
    assert min(bench.values("tray-a", "medium_temperature")) > 15


def test_a_pause_of_a_day_is_lived_through() -> None:
    bench = Bench(replace(SETTINGS, every_s=60.0))
    bench.sensor.poll()
    bench.poll_at(NOW_MS + 24 * HOUR_MS)
    ticks = np.unique((bench.times_ms - GRID_MS) // 60_000)
    assert ticks.tolist() == list(range(24 * 60 + 1))


def test_a_clock_set_back_brings_no_reading_twice() -> None:
    bench, plain = Bench(), Bench()
    bench.sensor.poll()
    bench.poll_at(NOW_MS - HOUR_MS)
    assert bench.ticks == [0]
    bench.poll_at(NOW_MS + EVERY_MS)
    plain.poll_at(NOW_MS + EVERY_MS)
    assert bench.ticks == [0, 1]
    assert bench.readings == plain.readings


def test_a_day_at_once_comes_in_bounded_arrivals_and_waits_when_there_is_no_room() -> None:
    bench, roomy = Bench(room=2), Bench()
    bench.poll_at(NOW_MS + 6 * HOUR_MS)
    assert len(bench.arrivals) == 2
    bench.room = 1_000_000
    bench.sensor.poll()
    roomy.poll_at(NOW_MS + 6 * HOUR_MS)
    assert max(len(arrival.message) for arrival in bench.arrivals) == READINGS_PER_ARRIVAL
    assert bench.readings == roomy.readings
    keys = [reading[:3] for reading in bench.readings]
    assert len(keys) == len(set(keys)) == pytest.approx((6 * 360 + 1) * len(NAMES) * 5, rel=5 * LOST)
    assert bench.ticks == list(range(6 * 360 + 1))


def test_a_given_start_sets_the_grid() -> None:
    bench = Bench(replace(SETTINGS, every_s=60, start_ms=NOW_MS - 150_000))
    bench.sensor.poll()
    since_ms = bench.times_ms - (NOW_MS - 150_000)
    assert np.unique(since_ms // 60_000).tolist() == [0, 1, 2]
    assert 0 <= since_ms.min() < 1_500


def test_nothing_comes_before_a_start_that_is_yet_to_come() -> None:
    bench = Bench(replace(SETTINGS, start_ms=NOW_MS + HOUR_MS))
    bench.sensor.poll()
    assert bench.arrivals == []
    bench.poll_at(NOW_MS + HOUR_MS + EVERY_MS)
    assert bench.times_ms.min() >= NOW_MS + HOUR_MS


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


# ------------------------------------------------------------------------------------- what is set


def spans(low: float, high: float) -> tuple[StageSpan, ...]:
    limits = (Limit("low", low, low, 0, 0), Limit("high", high, high, 0, 0))
    return (StageSpan(0, Stage("rooting", 0, {"air_temperature": Band("air_temperature", limits)})),)


def medium_c(settings: SimulatedSettings) -> dict[str, float]:
    """Return what the medium of each tray has come to after half a day."""
    bench = Bench(replace(settings, every_s=60.0))
    bench.poll_at(NOW_MS + 12 * HOUR_MS)
    return {
        name: float(np.mean(bench.values(name, "medium_temperature")[-300:])) for name, _ in settings.trays
    }


def test_thermostats_are_set_as_the_bands_of_each_tray_want_it() -> None:
    trays = (("tray-a", spans(24, 27)), ("tray-b", spans(20, 23)), ("tray-c", ()))
    warm, cool, plain = medium_c(replace(SETTINGS, trays=trays)).values()
    assert warm > 25.5
    assert 20 < cool < 23.5
    assert 24 < plain < 28


def test_a_set_point_overrules_the_bands() -> None:
    trays = (("tray-a", spans(24, 27)), ("tray-b", spans(20, 23)), ("tray-c", ()))
    settled = medium_c(replace(SETTINGS, trays=trays, set_point_c=23.0))
    assert all(abs(settled[name] - 23) < 0.8 for name in NAMES)


def test_the_lamp_burns_by_the_clock_on_the_wall() -> None:
    zone = ZoneInfo("America/New_York")
    midnight_ms = int(datetime(2026, 3, 2, 5, tzinfo=UTC).timestamp()) * 1000
    bench = Bench(
        replace(SETTINGS, every_s=60, lamp_on_h=6.5, lamp_off_h=22, timezone=zone, start_ms=midnight_ms),
        FakeClock(midnight_ms),
    )
    bench.poll_at(midnight_ms + 24 * HOUR_MS)
    lit = [one for one in bench.readings if one.quantity == "illuminance" and float(one.value) > 1000]
    hours = [((one.time_ms or 0) - midnight_ms) / HOUR_MS for one in lit]
    assert 6.5 - 1 / 60 <= min(hours) < 6.55
    assert 21.95 < max(hours) < 22 + 1 / 60


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        (
            {"faults": (TrueFault("tray-x", "lamp dead", 0, 1),)},
            "'tray-x' is unknown; tray-a, tray-b, tray-c",
        ),
        ({"every_s": 0.5}, "1 s or more"),
    ],
)
def test_a_bench_that_cannot_be_is_refused(settings: dict[str, object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        SimulatedSensor(replace(SETTINGS, **settings), FakeClock())  # type: ignore[arg-type]  # one of its keys
