"""What every sensor promises the daemon, whatever its wire.

A kind of sensor joins by a fixture ``<kind>_rig`` and its word in the lists below: ``KINDS`` for all
promises, ``WIRES`` where bytes come from outside, ``DEVICES`` where a device can be taken away.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wardian.adapters.sensors.csv_file import CsvSensor, CsvSettings, Row
from wardian.adapters.sensors.kernel import KernelChannel, KernelMessage, KernelSensor, KernelSettings
from wardian.adapters.timestamps import text_of
from wardian.rules.errors import SensorUnreachable
from wardian.rules.ports import Arrival, Measured, Sensor
from wardian.rules.quantities import QUANTITIES
from wardian.rules.readings import Series
from wardian.simulator.source import SimulatedSensor, SimulatedSettings

START_MS = 1_772_452_800_000
EVERY_MS = 10_000

KINDS = ("kernel", "csv", "simulated")
WIRES = ("kernel", "csv")
DEVICES = ("kernel", "csv")


@dataclass
class FakeClock:
    now_ms: int = START_MS

    def wall_ms(self) -> int:
        return self.now_ms

    def monotonic_s(self) -> float:
        return self.now_ms / 1000


@dataclass
class Rig:
    """One sensor at one pretended place, and the hands that move what it measures.

    Attributes:
        sensor: The sensor itself, not started.
        clock: What it reads the time from.
        measure: Lets the device have one more thing to say; called once per interval.
        per_measure: How many readings that is.
        message: What the sensor would hand over for these bytes from outside.
        device: What is taken away by renaming.
        gather: Lets arrivals come: a poll, or a wait for a wire that speaks by itself.
    """

    sensor: Sensor
    clock: FakeClock
    measure: Callable[[], None]
    per_measure: int = 1
    message: Callable[[bytes], Any] = lambda _: ()
    device: Path = Path()
    has_room: bool = True
    taken: list[Arrival] = field(default_factory=list)

    def take(self, arrival: Arrival) -> bool:
        if self.has_room:
            self.taken.append(arrival)
        return self.has_room

    def gather(self) -> None:
        self.sensor.poll()

    def measure_once(self) -> None:
        """Let an interval pass and the device say one more thing."""
        self.clock.now_ms += EVERY_MS
        self.measure()

    def readings(self) -> list[Measured]:
        """Return what was taken so far as readings, each with the time that is meant."""
        return [
            measured._replace(time_ms=arrival.received_ms if measured.time_ms is None else measured.time_ms)
            for arrival in self.taken
            for measured in self.sensor.decode(arrival).measured
        ]

    def take_away(self) -> None:
        self.device.rename(self.device.with_name("taken away"))

    def bring_back(self) -> None:
        self.device.with_name("taken away").rename(self.device)


@pytest.fixture
def kernel_rig(tmp_path: Path) -> Rig:
    device = tmp_path / "iio:device0"
    device.mkdir()
    clock = FakeClock()
    channel = KernelChannel("tray-a", "air_temperature", "iio:device0/in_temp_input")

    def measure() -> None:
        (device / "in_temp_input").write_text(f"{24_000 + clock.now_ms % 1000}\n")

    sensor = KernelSensor(KernelSettings("sensor under test", (channel,), root=tmp_path), clock)
    return Rig(
        sensor,
        clock,
        measure,
        message=lambda octets: KernelMessage(channel, {"in_temp_input": octets}),
        device=device,
    )


@pytest.fixture
def one_wire_rig(tmp_path: Path) -> Rig:
    channel = KernelChannel("tray-a", "medium_temperature", "28-0000075a1b2c/w1_slave")
    clock = FakeClock()
    sensor = KernelSensor(KernelSettings("sensor under test", (channel,), root=tmp_path), clock)
    return Rig(
        sensor, clock, lambda: None, message=lambda octets: KernelMessage(channel, {"w1_slave": octets})
    )


@pytest.fixture
def csv_rig(tmp_path: Path) -> Rig:
    file = tmp_path / "bench.csv"
    file.write_text("time,tray,quantity,value,unit\n")
    clock = FakeClock()

    def measure() -> None:
        with file.open("a") as rows:
            rows.write(f"{text_of(clock.now_ms)},tray-a,air_temperature,24.5,Cel\n")

    series = frozenset({Series("tray-a", "air_temperature")})
    sensor = CsvSensor(CsvSettings("sensor under test", file, series=series), clock)
    return Rig(
        sensor, clock, measure, message=lambda octets: (Row(2, octets + b"\n", is_whole=True),), device=file
    )


@pytest.fixture
def simulated_rig() -> Rig:
    clock = FakeClock()
    simulated = SimulatedSettings(
        "sensor under test", ("tray-a", "tray-b"), every_s=EVERY_MS / 1000, start_ms=START_MS + EVERY_MS
    )
    return Rig(SimulatedSensor(simulated, clock), clock, lambda: None, per_measure=2 * 5)


def _rig(request: pytest.FixtureRequest) -> Rig:
    rig: Rig = request.getfixturevalue(f"{request.param}_rig")
    return rig


any_rig = pytest.fixture(params=KINDS, name="rig")(_rig)
wire_rig = pytest.fixture(params=[*WIRES, "one_wire"])(_rig)
device_rig = pytest.fixture(params=DEVICES)(_rig)


def test_what_is_measured_arrives_once_and_in_order(rig: Rig) -> None:
    rig.sensor.start(rig.take)
    for _ in range(3):
        rig.measure_once()
        rig.gather()
    readings = rig.readings()
    assert len(readings) == 3 * rig.per_measure
    times_ms = [reading.time_ms for reading in readings]
    assert sorted(set(times_ms), key=times_ms.index) == [START_MS + n * EVERY_MS for n in (1, 2, 3)]
    assert {Series(reading.tray, reading.quantity) for reading in readings} == rig.sensor.expected
    assert all(arrival.sensor is rig.sensor for arrival in rig.taken)


def test_what_it_brings_is_possible_and_in_a_unit_of_the_quantity(rig: Rig) -> None:
    rig.sensor.start(rig.take)
    rig.measure_once()
    rig.gather()
    for reading in rig.readings():
        assert QUANTITIES[reading.quantity].why_impossible(float(reading.value)) == ""


def test_a_loop_without_room_loses_nothing(rig: Rig) -> None:
    rig.sensor.start(rig.take)
    rig.has_room = False
    for _ in range(3):
        rig.measure_once()
        rig.gather()
    assert rig.taken == []
    rig.has_room = True
    rig.measure_once()
    rig.gather()
    keys = [reading[:3] for reading in rig.readings()]
    assert len(keys) == len(set(keys)) == 4 * rig.per_measure
    assert {key[0] for key in keys} == {START_MS + n * EVERY_MS for n in (1, 2, 3, 4)}


def test_stopping_twice_is_stopping_once_and_nothing_comes_after(rig: Rig) -> None:
    rig.sensor.start(rig.take)
    rig.measure_once()
    rig.gather()
    taken = len(rig.taken)
    rig.sensor.stop()
    rig.sensor.stop()
    rig.measure_once()
    rig.gather()
    assert len(rig.taken) == taken > 0


def test_a_sensor_that_was_never_started_brings_nothing_and_can_be_stopped(rig: Rig) -> None:
    rig.measure_once()
    rig.gather()
    rig.sensor.stop()
    assert rig.taken == []


def test_acknowledging_what_came_and_nothing_at_all_is_taken_quietly(rig: Rig) -> None:
    rig.sensor.start(rig.take)
    rig.measure_once()
    rig.gather()
    rig.sensor.acknowledge(rig.taken)
    rig.sensor.acknowledge([])
    rig.measure_once()
    rig.gather()
    assert len(rig.readings()) == 2 * rig.per_measure


def test_it_says_that_it_works_once_it_has_brought_something(rig: Rig) -> None:
    rig.sensor.start(rig.take)
    rig.measure_once()
    rig.gather()
    assert rig.sensor.health().works
    assert rig.sensor.health().words


def test_a_missing_device_is_unreachable_and_heals(device_rig: Rig) -> None:
    rig = device_rig
    rig.sensor.start(rig.take)
    rig.measure_once()
    rig.take_away()
    for _ in range(2):
        with pytest.raises(SensorUnreachable, match="sensor under test: ") as caught:
            rig.gather()
        assert caught.value.may_heal
        assert not rig.sensor.health().works
    assert rig.taken == []
    rig.bring_back()
    rig.gather()
    assert len(rig.readings()) == 1
    assert rig.sensor.health().works


def test_the_last_value_is_never_repeated_to_hide_a_gap(device_rig: Rig) -> None:
    rig = device_rig
    rig.sensor.start(rig.take)
    rig.measure_once()
    rig.gather()
    rig.take_away()
    for _ in range(3):
        rig.clock.now_ms += EVERY_MS
        with pytest.raises(SensorUnreachable):
            rig.gather()
    assert len(rig.readings()) == 1


_LIKELY = st.sampled_from(
    [
        *(b"nan", b"inf", b"-", b"1e5", b"1" * 500, b"23625", b"\x00", b'"', b",", b"\n"),
        b"2026-03-02T12:00:00Z,tray-a,air_temperature,",
        b"7a 01 4b 46 7f ff 06 10 0b : crc=0b YES\n",
        b"7a 01 4b 46 7f ff 06 10 0b t=",
    ]
)


@given(pieces=st.lists(_LIKELY | st.binary(max_size=40), max_size=6))
@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_bytes_come_decoding_never_raises_and_says_why(wire_rig: Rig, pieces: list[bytes]) -> None:
    arrival = Arrival(wire_rig.sensor, START_MS, wire_rig.message(b"".join(pieces)))
    decoded = wire_rig.sensor.decode(arrival)
    assert len(decoded.measured) + len(decoded.refused) <= 1
    assert all(refused.why and refused.source for refused in decoded.refused)
    assert all(abs(float(measured.value)) < float("inf") for measured in decoded.measured)
