"""What every sensor promises the daemon, whatever its wire.

A kind of sensor joins by a fixture ``<kind>_rig`` and its word in the lists below: ``KINDS`` for all
promises, ``WIRES`` where bytes come from outside, ``DEVICES`` where a device can be taken away, ``KEEPERS``
where the source keeps what it told.
"""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from fake_clock import NOON_MS, FakeClock
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sensor_rigs import EVERY_MS, MqttRig, Rig

from wardian.adapters.brokers import BrokerSettings
from wardian.adapters.mqtt_connection import Message
from wardian.adapters.payloads import Target
from wardian.adapters.senml import SenmlForm
from wardian.adapters.sensors.csv_file import CsvSensor, CsvSettings, Row
from wardian.adapters.sensors.kernel import KernelChannel, KernelMessage, KernelSensor, KernelSettings
from wardian.adapters.sensors.mqtt import MqttSensor, MqttSettings, Subscription
from wardian.adapters.timestamps import text_of
from wardian.rules.ports import Arrival
from wardian.rules.quantities import QUANTITIES
from wardian.rules.readings import Series
from wardian.simulator.source import SimulatedSensor, SimulatedSettings

NAME = "sensor under test"
AIR = Series("tray-a", "air_temperature")
MQTT = pytest.param("mqtt", marks=pytest.mark.needs_broker)

KINDS = ("kernel", "csv", "simulated", MQTT)
WIRES = ("kernel", "one_wire", "csv", MQTT)
DEVICES = ("kernel", "csv", MQTT)
KEEPERS = ("csv", MQTT)


@pytest.fixture
def kernel_rig(tmp_path: Path) -> Rig:
    device = tmp_path / "iio:device0"
    device.mkdir()
    clock = FakeClock()
    channel = KernelChannel("tray-a", "air_temperature", "iio:device0/in_temp_input")
    kernel = KernelSettings(NAME, (channel,), root=tmp_path)

    def measure() -> None:
        (device / "in_temp_input").write_text(f"{24_000 + clock.now_ms % 1000}\n")

    return Rig(
        lambda: KernelSensor(kernel, clock),
        clock,
        measure,
        message=lambda octets: KernelMessage(channel, {"in_temp_input": octets}),
        device=device,
    )


@pytest.fixture
def one_wire_rig(tmp_path: Path) -> Rig:
    channel = KernelChannel("tray-a", "medium_temperature", "28-0000075a1b2c/w1_slave")
    clock = FakeClock()
    kernel = KernelSettings(NAME, (channel,), root=tmp_path)
    return Rig(
        lambda: KernelSensor(kernel, clock),
        clock,
        message=lambda octets: KernelMessage(channel, {"w1_slave": octets}),
    )


@pytest.fixture
def csv_rig(tmp_path: Path) -> Rig:
    file = tmp_path / "bench.csv"
    file.write_text("time,tray,quantity,value,unit\n")
    clock = FakeClock()
    csv = CsvSettings(NAME, file, series=frozenset({AIR}))

    def measure() -> None:
        with file.open("a") as rows:
            rows.write(f"{text_of(clock.now_ms)},tray-a,air_temperature,24.5,Cel\n")

    return Rig(
        lambda: CsvSensor(csv, clock),
        clock,
        measure,
        message=lambda octets: (Row(2, octets + b"\n", is_whole=True),),
        device=file,
    )


@pytest.fixture
def mqtt_rig(broker: Any, wait_until: Callable[..., None]) -> Iterator[Rig]:
    clock = FakeClock()
    subscription = Subscription("bench/{tray}", SenmlForm({"temp": Target("air_temperature")}))
    client = BrokerSettings("127.0.0.1", broker.port, "bench-12")
    mqtt = MqttSettings(NAME, client, (subscription,))
    rig = MqttRig(
        lambda: MqttSensor(mqtt, {"tray-a"}, clock),
        clock,
        message=lambda octets: Message(1, 1, 1, is_retained=False, topic="bench/tray-a", payload=octets),
        broker=broker,
        wait_until=wait_until,
    )
    yield rig
    rig.stop()


@pytest.fixture
def simulated_rig() -> Rig:
    clock = FakeClock()
    trays = (("tray-a", ()), ("tray-b", ()))
    # Its trays are read one after the other, each a little off the beat.
    simulated = SimulatedSettings(NAME, trays, every_s=EVERY_MS / 1000, start_ms=NOON_MS + EVERY_MS // 4)
    return Rig(lambda: SimulatedSensor(simulated, clock), clock, per_measure=2 * 5, grain_ms=EVERY_MS)


def _rig(request: pytest.FixtureRequest) -> Rig:
    rig: Rig = request.getfixturevalue(f"{request.param}_rig")
    return rig


any_rig = pytest.fixture(params=KINDS, name="rig")(_rig)
wire_rig = pytest.fixture(params=WIRES)(_rig)
device_rig = pytest.fixture(params=DEVICES)(_rig)
keeper_rig = pytest.fixture(params=KEEPERS)(_rig)


def test_what_is_measured_arrives_once_and_in_order(rig: Rig) -> None:
    rig.start()
    for _ in range(3):
        rig.measure_once()
        rig.gather()
    readings = rig.readings()
    assert len(readings) == 3 * rig.per_measure
    assert rig.ends_ms() == [NOON_MS + n * EVERY_MS for n in (1, 2, 3)]
    assert {Series(reading.tray, reading.quantity) for reading in readings} == rig.sensor.expected
    assert all(arrival.sensor is rig.sensor for arrival in rig.loop.taken)


def test_what_it_brings_is_possible_and_in_a_unit_of_the_quantity(rig: Rig) -> None:
    rig.start()
    rig.measure_once()
    rig.gather()
    for reading in rig.readings():
        assert QUANTITIES[reading.quantity].why_impossible(float(reading.value)) == ""


def test_a_loop_without_room_loses_nothing(rig: Rig) -> None:
    rig.start()
    rig.loop.room = 0
    for _ in range(3):
        rig.measure_once()
        rig.gather()
    assert rig.loop.taken == []
    rig.loop.room = 1_000_000
    rig.measure_once()
    rig.gather()
    keys = [reading[:3] for reading in rig.readings()]
    assert len(keys) == len(set(keys)) == 4 * rig.per_measure
    assert rig.ends_ms() == [NOON_MS + n * EVERY_MS for n in (1, 2, 3, 4)]


def test_stopping_twice_is_stopping_once_and_nothing_comes_after(rig: Rig) -> None:
    rig.start()
    rig.measure_once()
    rig.gather()
    taken = len(rig.loop.taken)
    rig.stop()
    rig.stop()
    rig.measure_once()
    rig.gather()
    assert len(rig.loop.taken) == taken > 0


def test_a_sensor_that_was_never_started_brings_nothing_and_can_be_stopped(rig: Rig) -> None:
    rig.measure_once()
    rig.gather()
    rig.stop()
    assert rig.loop.taken == []


def test_acknowledging_what_came_and_nothing_at_all_is_taken_quietly(rig: Rig) -> None:
    rig.start()
    rig.measure_once()
    rig.gather()
    rig.sensor.acknowledge(rig.loop.taken)
    rig.sensor.acknowledge([])
    rig.measure_once()
    rig.gather()
    assert len(rig.readings()) == 2 * rig.per_measure


def test_it_says_that_it_works_once_it_has_brought_something(rig: Rig) -> None:
    rig.start()
    rig.measure_once()
    rig.gather()
    assert rig.sensor.health().works
    assert rig.sensor.health().words


def test_a_missing_device_is_unreachable_and_heals(device_rig: Rig) -> None:
    rig = device_rig
    rig.start()
    rig.take_away()
    for _ in range(2):
        rig.gather_in_vain()
        assert not rig.sensor.health().works
        assert rig.sensor.health().words
    assert rig.loop.taken == []
    rig.bring_back()
    rig.measure_once()
    rig.gather()
    assert len(rig.readings()) == 1
    assert rig.sensor.health().works


def test_the_last_value_is_never_repeated_to_hide_a_gap(device_rig: Rig) -> None:
    rig = device_rig
    rig.start()
    rig.measure_once()
    rig.gather()
    rig.take_away()
    for _ in range(3):
        rig.clock.step(EVERY_MS)
        rig.gather_in_vain()
    assert len(rig.readings()) == 1


def test_what_was_taken_but_not_acknowledged_comes_again_after_a_restart(keeper_rig: Rig) -> None:
    rig = keeper_rig
    rig.start()
    rig.measure_once()
    rig.gather()
    rig.restart()
    rig.measure_once()
    rig.gather()
    assert [reading.time_ms for reading in rig.readings()] == [NOON_MS + n * EVERY_MS for n in (1, 2)]


_LIKELY = st.sampled_from(
    [
        *(b"nan", b"inf", b"-", b"1e5", b"1" * 500, b"23625", b"\x00", b'"', b",", b"\n"),
        b"2026-03-02T12:00:00Z,tray-a,air_temperature,",
        b"7a 01 4b 46 7f ff 06 10 0b : crc=0b YES\n",
        b"7a 01 4b 46 7f ff 06 10 0b t=",
        b'[{"n":"temp","u":"Cel","v":',
        b"}]",
    ]
)


@given(pieces=st.lists(_LIKELY | st.binary(max_size=40), max_size=6))
@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_bytes_come_decoding_never_raises_and_says_why(wire_rig: Rig, pieces: list[bytes]) -> None:
    arrival = Arrival(wire_rig.sensor, NOON_MS, wire_rig.message(b"".join(pieces)))
    decoded = wire_rig.sensor.decode(arrival)
    assert len(decoded.measured) + len(decoded.refused) <= 1
    assert all(refused.why and refused.source for refused in decoded.refused)
    assert all(abs(float(measured.value)) < float("inf") for measured in decoded.measured)
