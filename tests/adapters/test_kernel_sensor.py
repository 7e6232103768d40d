import logging
from pathlib import Path

import pytest
from fake_clock import NOON_MS, FakeClock
from fake_loop import FakeLoop

from wardian.adapters.sensors.kernel import MOST_WAITING, KernelChannel, KernelSensor, KernelSettings
from wardian.rules.errors import SensorUnreachable
from wardian.rules.ports import Measured
from wardian.rules.readings import Series

TEMPERATURE = "bus/iio/devices/iio:device0/in_temp_input"
HUMIDITY = "bus/iio/devices/iio:device0/in_humidityrelative_input"
MEDIUM = "bus/w1/devices/28-0000075a1b2c/w1_slave"


def _write(root: Path, file: str, content: str) -> None:
    path = root / file
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(content)


def _sensor(root: Path, *files: str) -> KernelSensor:
    quantities = {TEMPERATURE: "air_temperature", HUMIDITY: "relative_humidity", MEDIUM: "medium_temperature"}
    channels = tuple(KernelChannel("tray-a", quantities[file], file) for file in files)
    return KernelSensor(
        KernelSettings("bench chips", channels, root=root, every_s=10.0), FakeClock(look_ms=1)
    )


@pytest.fixture
def loop() -> FakeLoop:
    return FakeLoop()


def test_each_channel_is_an_arrival_with_the_time_it_was_read_at(tmp_path: Path, loop: FakeLoop) -> None:
    _write(tmp_path, TEMPERATURE, "24125\n")
    _write(tmp_path, HUMIDITY, "93500\n")
    sensor = _sensor(tmp_path, TEMPERATURE, HUMIDITY)
    sensor.start(loop.take)
    sensor.poll()
    assert [arrival.received_ms for arrival in loop.taken] == [NOON_MS + 1, NOON_MS + 2]
    assert [sensor.decode(arrival).measured for arrival in loop.taken] == [
        [Measured(None, "tray-a", "air_temperature", "24.125")],
        [Measured(None, "tray-a", "relative_humidity", "93.500")],
    ]
    assert sensor.expected == {Series("tray-a", "air_temperature"), Series("tray-a", "relative_humidity")}
    assert sensor.poll_every_s == 10.0


def test_a_channel_that_vanished_does_not_hold_back_the_others_and_is_named(
    tmp_path: Path, loop: FakeLoop
) -> None:
    _write(tmp_path, HUMIDITY, "93500\n")
    sensor = _sensor(tmp_path, TEMPERATURE, HUMIDITY)
    sensor.start(loop.take)
    with pytest.raises(SensorUnreachable, match=f"^bench chips: {TEMPERATURE} is not there$"):
        sensor.poll()
    assert len(loop.taken) == 1
    assert sensor.health() == (False, f"1 of 2 files answer; {TEMPERATURE} is not there")


def test_a_device_that_does_not_answer_is_said_to_be_so(tmp_path: Path, loop: FakeLoop) -> None:
    (tmp_path / TEMPERATURE).parent.mkdir(parents=True)
    (tmp_path / TEMPERATURE).symlink_to("/proc/self/mem")  # reading its first byte fails with EIO
    sensor = _sensor(tmp_path, TEMPERATURE)
    sensor.start(loop.take)
    with pytest.raises(SensorUnreachable, match="in_temp_input does not answer"):
        sensor.poll()
    assert loop.taken == []


def test_a_directory_in_place_of_a_file_is_no_crash(tmp_path: Path, loop: FakeLoop) -> None:
    (tmp_path / TEMPERATURE).mkdir(parents=True)
    sensor = _sensor(tmp_path, TEMPERATURE)
    sensor.start(loop.take)
    with pytest.raises(SensorUnreachable, match="in_temp_input Is a directory"):
        sensor.poll()


def test_a_star_that_fits_two_chips_is_refused_instead_of_guessed(tmp_path: Path, loop: FakeLoop) -> None:
    for number in (1, 2):
        _write(tmp_path, f"class/hwmon/hwmon{number}/temp1_input", "21000\n")
    channel = KernelChannel("tray-a", "air_temperature", "class/hwmon/hwmon*/temp1_input")
    sensor = KernelSensor(KernelSettings("bench chips", (channel,), root=tmp_path), FakeClock(look_ms=1))
    sensor.start(loop.take)
    with pytest.raises(SensorUnreachable, match="fits 2 files; exactly one is accepted"):
        sensor.poll()


def test_a_file_longer_than_a_page_is_read_no_further(tmp_path: Path, loop: FakeLoop) -> None:
    _write(tmp_path, TEMPERATURE, "9" * 1_000_000)
    sensor = _sensor(tmp_path, TEMPERATURE)
    sensor.start(loop.take)
    sensor.poll()
    (refused,) = sensor.decode(loop.taken[0]).refused
    assert refused.why == "holds no decimal number"
    assert len(refused.raw) == 200


def test_values_wait_while_the_loop_has_no_room_and_keep_their_time(tmp_path: Path, loop: FakeLoop) -> None:
    sensor = _sensor(tmp_path, TEMPERATURE)
    sensor.start(loop.take)
    loop.room = 0
    for milli_c in (24000, 24100):
        _write(tmp_path, TEMPERATURE, f"{milli_c}\n")
        sensor.poll()
    loop.room = 1_000_000
    _write(tmp_path, TEMPERATURE, "24200\n")
    sensor.poll()
    values = [(arrival.received_ms, sensor.decode(arrival).measured[0].value) for arrival in loop.taken]
    assert values == [(NOON_MS + 1, "24.000"), (NOON_MS + 2, "24.100"), (NOON_MS + 3, "24.200")]


def test_only_the_newest_wait_when_there_is_no_room_for_long(
    tmp_path: Path, loop: FakeLoop, caplog: pytest.LogCaptureFixture
) -> None:
    _write(tmp_path, TEMPERATURE, "24000\n")
    sensor = _sensor(tmp_path, TEMPERATURE)
    sensor.start(loop.take)
    loop.room = 0
    with caplog.at_level(logging.ERROR):
        for _ in range(MOST_WAITING + 2):
            sensor.poll()
    loop.room = 1_000_000
    sensor.poll()
    assert [arrival.received_ms - NOON_MS for arrival in loop.taken] == list(range(3, MOST_WAITING + 4))
    assert [record.message for record in caplog.records] == ["readings lost", "readings lost"]


@pytest.mark.parametrize(
    ("quantity", "file", "words"),
    [
        ("air_temperature", "/sys/class/hwmon/hwmon0/temp1_input", "below the root"),
        ("air_temperature", "bus/../../etc/temperature", r"without '\.\.'"),
        ("air_temperature", "**/temp1_input", r"'\*\*'"),
        ("air_temperature", "class/hwmon/hwmon0/temp1_max", "temp1_input, humidity1_input"),
        ("illuminance", "bus/iio/devices/iio:device0/in_illuminance_ir_raw", "in_illuminance_input"),
        (
            "relative_humidity",
            TEMPERATURE,
            "measures air_temperature or medium_temperature or leaf_temperature",
        ),
        ("dew_point", TEMPERATURE, "not dew_point"),
        ("air_temperature", HUMIDITY, "measures relative_humidity, not air_temperature"),
    ],
)
def test_a_channel_that_cannot_be_is_refused_with_what_is_accepted(
    quantity: str, file: str, words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        KernelChannel("tray-a", quantity, file)
