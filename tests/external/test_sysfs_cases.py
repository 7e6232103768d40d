"""Kernel files as the kernel's documents describe them, in directories and links as the kernel lays them.

Sources: Documentation/ABI/testing/sysfs-bus-iio (milli degrees Celsius, milli percent, lux; raw plus
offset, times scale), Documentation/hwmon/sysfs-interface.rst (millidegree, milli-percent, ENODATA of
a disabled channel, the fault file), Documentation/w1/slaves/w1_therm.rst (two lines, YES or NO, the
retained value, byte 6 with 85.00 and 127.94, an empty ``temperature`` while a bulk conversion runs).
Rows marked "computed" follow from these documents by arithmetic; "ours" marks a rule of our own.
"""

import errno
from fractions import Fraction
from pathlib import Path

import pytest
from fake_clock import NOON_MS, FakeClock

from wardian.adapters.sensors.kernel import KernelChannel, KernelSensor, KernelSettings
from wardian.rules.errors import SensorUnreachable
from wardian.rules.ports import Arrival, Decoded

I2C = "devices/platform/soc/fe804000.i2c/i2c-1"
IIO = "bus/iio/devices/iio:device0"
HWMON = "class/hwmon/hwmon2"
ONE_WIRE = "bus/w1/devices/28-0000075a1b2c"
#: A path people write → the directory it is a link to, and the link as the kernel writes it.
LINKS = {
    IIO: (f"{I2C}/1-0040/iio:device0", f"../../../{I2C}/1-0040/iio:device0"),
    HWMON: (f"{I2C}/1-0044/hwmon/hwmon2", f"../../{I2C}/1-0044/hwmon/hwmon2"),
    ONE_WIRE: (
        "devices/w1_bus_master1/28-0000075a1b2c",
        "../../../devices/w1_bus_master1/28-0000075a1b2c",
    ),
    "bus/i2c/devices/1-0044": (f"{I2C}/1-0044", f"../../../{I2C}/1-0044"),
}


def _lay_out(root: Path, files: dict[str, str]) -> None:
    for link, (directory, target) in LINKS.items():
        (root / directory).mkdir(parents=True, exist_ok=True)
        (root / link).parent.mkdir(parents=True, exist_ok=True)
        (root / link).symlink_to(target, target_is_directory=True)
    for file, content in files.items():
        (root / file).write_text(content)


def _sensor(root: Path, quantity: str, file: str) -> KernelSensor:
    channel = KernelChannel("tray-a", quantity, file)
    return KernelSensor(KernelSettings("chips", (channel,), root=root), FakeClock())


def _read(root: Path, quantity: str, file: str) -> Decoded:
    arrivals: list[Arrival] = []

    def take(arrival: Arrival) -> bool:
        arrivals.append(arrival)
        return True

    sensor = _sensor(root, quantity, file)
    sensor.start(take)
    sensor.poll()
    (arrival,) = arrivals
    return sensor.decode(arrival)


def _w1(octets: str, verdict: str, milli_c: int, crc: str | None = None) -> str:
    return f"{octets} : crc={crc or octets[-2:]} {verdict}\n{octets} t={milli_c}\n"


AIR, HUMIDITY, LIGHT = "air_temperature", "relative_humidity", "illuminance"

VALUES = [
    (AIR, f"{IIO}/in_temp_input", {"in_temp_input": "23625\n"}, "23.625", "milli °C"),
    (AIR, f"{IIO}/in_temp_input", {"in_temp_input": "-5250\n"}, "-5.25", "negative (computed)"),
    (
        HUMIDITY,
        f"{IIO}/in_humidityrelative_input",
        {"in_humidityrelative_input": "91400\n"},
        "91.4",
        "milli %",
    ),
    (LIGHT, f"{IIO}/in_illuminance_input", {"in_illuminance_input": "4200\n"}, "4200", "lux, scaled already"),
    (LIGHT, f"{IIO}/in_illuminance0_input", {"in_illuminance0_input": "4200\n"}, "4200", "numbered channel"),
    (
        LIGHT,
        f"{IIO}/in_illuminance_raw",
        {"in_illuminance_raw": "1000\n", "in_illuminance_scale": "0.83\n"},
        "830",
        "(raw + offset) · scale",
    ),
    (
        AIR,
        f"{IIO}/in_temp_raw",
        {"in_temp_raw": "6553\n", "in_temp_offset": "-1000\n", "in_temp_scale": "10\n"},
        "55.53",
        "(raw + offset) · scale is milli °C (computed)",
    ),
    (
        AIR,
        f"{IIO}/in_temp1_raw",
        {"in_temp1_raw": "2400\n", "in_temp_scale": "99\n", "in_temp1_scale": "10.000000\n"},
        "24",
        "the channel's own scale goes before the shared one (computed)",
    ),
    (
        AIR,
        f"{IIO}/in_temp1_raw",
        {"in_temp1_raw": "2400\n", "in_temp_scale": "10\n", "in_temp_offset": "100\n"},
        "25",
        "a scale without a number is shared by all channels of the kind (computed)",
    ),
    (AIR, f"{HWMON}/temp1_input", {"temp1_input": "21500\n"}, "21.5", "milli °C"),
    (AIR, f"{HWMON}/temp1_input", {"temp1_input": "21500\n", "temp1_fault": "0\n"}, "21.5", "no fault"),
    (HUMIDITY, f"{HWMON}/humidity1_input", {"humidity1_input": "63500\n"}, "63.5", "milli %"),
    (
        "medium_temperature",
        f"{ONE_WIRE}/w1_slave",
        {"w1_slave": _w1("7a 01 4b 46 7f ff 06 10 0b", "YES", 23625)},
        "23.625",
        "t= in milli °C",
    ),
    (
        "medium_temperature",
        f"{ONE_WIRE}/w1_slave",
        {"w1_slave": _w1("95 01 4b 46 7f ff 0b 10 0b", "YES", 25312)},
        "25.312",
        "the kernel prints 25312 for 25.3125 (a public console log)",
    ),
    (
        "medium_temperature",
        f"{ONE_WIRE}/w1_slave",
        {"w1_slave": _w1("5e ff 4b 46 7f ff 02 10 b6", "YES", -10125)},
        "-10.125",
        "negative (computed)",
    ),
    (
        "medium_temperature",
        f"{ONE_WIRE}/w1_slave",
        {"w1_slave": _w1("50 05 4b 46 7f ff 10 10 bd", "YES", 85000)},
        "85",
        "a true 85 °C has byte 6 = 10 (computed); whether it is possible is judged elsewhere",
    ),
    ("medium_temperature", f"{ONE_WIRE}/temperature", {"temperature": "23625\n"}, "23.625", "milli °C"),
]

REFUSED = [
    (
        HUMIDITY,
        f"{IIO}/in_humidityrelative_input",
        "41.074000000\n",
        "0.041074000000 % is below 1 %",
        "a driver of 2018 wrote percent (patch discussion on the kernel list); the limit is ours",
    ),
    (
        "medium_temperature",
        f"{ONE_WIRE}/w1_slave",
        _w1("7a 01 4b 46 7f ff 06 10 51", "NO", 23625, crc="0b"),
        "an older value",
        "NO: the t= of line two is the retained value",
    ),
    (
        "medium_temperature",
        f"{ONE_WIRE}/w1_slave",
        _w1("7a 01 4b 46 7f ff 06 10 51", "YES", 23625, crc="0b"),
        "not the check of the eight before",
        "a wrong check is found here too (ours)",
    ),
    (
        "medium_temperature",
        f"{ONE_WIRE}/w1_slave",
        _w1("50 05 4b 46 7f ff 0c 10 1c", "YES", 85000),
        "power-on value",
        "byte 6 is 0C and 85.00: did not convert",
    ),
    (
        "medium_temperature",
        f"{ONE_WIRE}/w1_slave",
        _w1("ff 07 4b 46 7f ff 0c 10 a6", "YES", 127937),
        "too little power",
        "byte 6 is 0C and 127.94: insufficient power",
    ),
    (
        "medium_temperature",
        f"{ONE_WIRE}/w1_slave",
        _w1("00 00 00 00 00 00 00 00 00", "YES", 0),
        "shorted",
        "all zero passes the check (computed)",
    ),
    ("medium_temperature", f"{ONE_WIRE}/w1_slave", "7a 01 4b\n", "two lines", "cut short (ours)"),
    (
        "medium_temperature",
        f"{ONE_WIRE}/temperature",
        "85000\n",
        "power-on value",
        "byte 6 is not seen (ours)",
    ),
    (
        "medium_temperature",
        f"{ONE_WIRE}/temperature",
        "-127000\n",
        "-55 to 125",
        "not a kernel value; common of bridges (from memory)",
    ),
    ("medium_temperature", f"{ONE_WIRE}/temperature", "-55001\n", "-55 to 125", "the chips' range"),
    (AIR, f"{IIO}/in_temp_input", "nan\n", "no decimal number", "computed"),
    (AIR, f"{HWMON}/temp1_input", "23625 junk\n", "no decimal number", "computed"),
    (LIGHT, f"{IIO}/in_illuminance_input", "0x10\n", "no decimal number", "computed"),
]


@pytest.mark.parametrize(("quantity", "file", "contents", "value", "why"), VALUES)
def test_a_documented_file_gives_exactly_its_documented_value(
    tmp_path: Path, *, quantity: str, file: str, contents: dict[str, str], value: str, why: str
) -> None:
    directory = file.rpartition("/")[0]
    _lay_out(tmp_path, {f"{directory}/{name}": content for name, content in contents.items()})
    decoded = _read(tmp_path, quantity, file)
    (measured,) = decoded.measured
    assert Fraction(measured.value) == Fraction(value), why
    assert (measured.tray, measured.quantity, measured.unit) == ("tray-a", quantity, "")
    assert decoded.refused == []


@pytest.mark.parametrize(("quantity", "file", "content", "words", "why"), REFUSED)
def test_what_the_documents_call_a_fault_is_refused_with_its_reason(
    tmp_path: Path, *, quantity: str, file: str, content: str, words: str, why: str
) -> None:
    _lay_out(tmp_path, {file: content})
    decoded = _read(tmp_path, quantity, file)
    assert decoded.measured == [], why
    (refused,) = decoded.refused
    assert words in refused.why
    assert refused.source == f"chips: {file}"
    assert (refused.tray, refused.quantity, refused.time_ms) == ("tray-a", quantity, NOON_MS)
    assert refused.raw.split(maxsplit=1)[0] == content.split(maxsplit=1)[0]


def test_a_channel_whose_fault_file_says_one_is_not_trusted(tmp_path: Path) -> None:
    _lay_out(tmp_path, {f"{HWMON}/temp1_input": "21500\n", f"{HWMON}/temp1_fault": "1\n"})
    decoded = _read(tmp_path, AIR, f"{HWMON}/temp1_input")
    assert decoded.measured == []
    assert "temp1_fault" in decoded.refused[0].why


def test_a_raw_number_without_a_scale_has_no_unit(tmp_path: Path) -> None:
    _lay_out(tmp_path, {f"{IIO}/in_temp_raw": "6553\n"})
    decoded = _read(tmp_path, AIR, f"{IIO}/in_temp_raw")
    assert decoded.measured == []
    assert "no _scale file" in decoded.refused[0].why


@pytest.mark.parametrize("content", ["", "\n"])
def test_an_empty_file_is_no_value_while_a_bulk_conversion_runs(tmp_path: Path, content: str) -> None:
    _lay_out(tmp_path, {f"{ONE_WIRE}/temperature": content})
    with pytest.raises(SensorUnreachable, match=r"temperature is empty: is a conversion still running\?"):
        _read(tmp_path, "medium_temperature", f"{ONE_WIRE}/temperature")


def test_a_disabled_channel_answers_no_data(tmp_path: Path) -> None:
    def disabled(path: Path) -> bytes:
        raise OSError(errno.ENODATA, "No data available", str(path))

    channel = KernelChannel("tray-a", AIR, f"{HWMON}/temp1_input")
    sensor = KernelSensor(KernelSettings("chips", (channel,), root=tmp_path), FakeClock(), read=disabled)
    sensor.start(lambda _: True)
    with pytest.raises(SensorUnreachable, match=r"temp1_input has no data: is the channel switched off\?"):
        sensor.poll()


def test_a_chip_is_found_by_its_bus_address_whatever_number_it_was_given(tmp_path: Path) -> None:
    _lay_out(tmp_path, {f"{HWMON}/humidity1_input": "91000\n"})
    decoded = _read(tmp_path, HUMIDITY, "bus/i2c/devices/1-0044/hwmon/hwmon*/humidity1_input")
    assert [measured.value for measured in decoded.measured] == ["91.000"]
