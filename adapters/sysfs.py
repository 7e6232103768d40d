"""What the sensor files of the Linux kernel say: their names, their scaling, their faults.

No file is opened here. The kernel's own documents bind this file:
Documentation/ABI/testing/sysfs-bus-iio, Documentation/hwmon/sysfs-interface.rst and
Documentation/w1/slaves/w1_therm.rst. Values leave as exact decimal text in the quantity's own unit.
"""

import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Final

from wardian.rules.errors import BadReading

#: What a file's name tells, by the dimension of what it measures.
_NAMES: Final = (
    ("temperature", re.compile(r"(?P<kind>in_temp)(\d+|_ambient|_object)?_(input|raw)")),
    ("relative humidity", re.compile(r"(?P<kind>in_humidityrelative)\d*_(input|raw)")),
    ("illuminance", re.compile(r"(?P<kind>in_illuminance)\d*_(input|raw)")),
    ("temperature", re.compile(r"(?P<kind>temp)[1-9]\d*_input")),
    ("relative humidity", re.compile(r"(?P<kind>humidity)[1-9]\d*_input")),
    ("temperature", re.compile(r"(?P<kind>w1_slave|temperature)")),
)
ACCEPTED_NAMES: Final = (
    "in_temp_input, in_humidityrelative_input, in_illuminance_input (each also numbered and as _raw), "
    "temp1_input, humidity1_input (any number), w1_slave or temperature"
)

_NUMBER: Final = re.compile(rb"-?\d{1,12}(\.\d{1,12})?")
_SCRATCHPAD_LINE: Final = re.compile(rb"((?:[0-9a-f]{2} ){9}): crc=[0-9a-f]{2} (YES|NO)")
_VALUE_LINE: Final = re.compile(rb"(?:[0-9a-f]{2} ){9}t=(-?\d{1,6})")

#: Covered or not, no room is so dry; a few drivers write percent where the ABI says milli percent.
_DRIEST_PCT: Final = 1
#: The range that w1_therm.rst gives for its chips' registers. [milli °C]
_ONE_WIRE_RANGE_MILLI_C: Final = range(-55_000, 125_001)
#: What a chip holds before it has ever converted. [milli °C]
_POWER_ON_MILLI_C: Final = 85_000
#: What a conversion leaves that had too little current. [milli °C]
_STARVED_MILLI_C: Final = 127_937
#: Byte 6 of the scratchpad after a conversion that did not take place.
_NOT_CONVERTED: Final = 0x0C


def dimension_of(file_name: str) -> str | None:
    """Return the dimension a kernel file of this name measures, or None where it is no such file."""
    return next((dimension for dimension, pattern in _NAMES if pattern.fullmatch(file_name)), None)


def files_beside(file_name: str) -> tuple[str, ...]:
    """Return the names of files to be read with this one, from the same directory; any may be absent.

    The more special offset and scale come first: one shared by all channels of a kind is named
    after the kind alone.
    """
    stem, _, item = file_name.rpartition("_")
    if item == "raw":
        stems = dict.fromkeys((stem, _kind_of(file_name)))
        return tuple(f"{one}_{what}" for what in ("offset", "scale") for one in stems)
    if _kind_of(file_name) == "temp":
        return (f"{stem}_fault",)
    return ()


def decimal_text(file_name: str, contents: Mapping[str, bytes]) -> str:
    """Return what a kernel file measured, as exact decimal text in °C, % or lx.

    Args:
        file_name: The file that was asked for, without its directory.
        contents: What it and the files beside it held, by name, as read.

    Raises:
        BadReading: It is no number, or what the kernel's documents call a fault.
    """
    if file_name == "w1_slave":
        return _in_units(_one_wire_milli_c(contents[file_name]))
    _refuse_fault(file_name, contents)
    number = _number(file_name, contents[file_name])
    if file_name.endswith("_raw"):
        number = (number + _beside("offset", file_name, contents)) * _beside("scale", file_name, contents)
    match dimension_of(file_name):
        case "illuminance":
            return format(number, "f")
        case "relative humidity" if number < _DRIEST_PCT * 1000:
            raise BadReading(
                file_name,
                f"{_in_units(number)} % is below {_DRIEST_PCT} %: the ABI says milli percent, does this driver write percent?",
            )
    if file_name == "temperature":
        _refuse_unlikely(int(number))
    return _in_units(number)


def crc8(octets: bytes) -> int:
    """Return the 1-wire bus's cyclic redundancy check of some bytes (x⁸ + x⁵ + x⁴ + 1, reflected, from 0)."""
    crc = 0
    for octet in octets:
        crc ^= octet
        for _ in range(8):
            crc = crc >> 1 ^ (0x8C if crc & 1 else 0)
    return crc


def _in_units(milli: Decimal) -> str:
    return format(milli.scaleb(-3), "f")


def _kind_of(file_name: str) -> str:
    matches = (pattern.fullmatch(file_name) for _, pattern in _NAMES)
    return next((match["kind"] for match in matches if match), "")


def _number(file_name: str, content: bytes) -> Decimal:
    text = content.strip()
    if not _NUMBER.fullmatch(text):
        raise BadReading(file_name, "holds no decimal number")
    return Decimal(text.decode("ascii"))


def _beside(what: str, file_name: str, contents: Mapping[str, bytes]) -> Decimal:
    for name in files_beside(file_name):
        if name.endswith(what) and name in contents:
            return _number(name, contents[name])
    if what == "offset":  # the ABI: not present if the offset is always 0
        return Decimal(0)
    raise BadReading(file_name, f"has no _{what} file beside it, so its unit is not known")


def _refuse_fault(file_name: str, contents: Mapping[str, bytes]) -> None:
    for name in files_beside(file_name):
        if name.endswith("_fault") and contents.get(name, b"0").strip() != b"0":
            raise BadReading(file_name, f"{name} says that the measurement is not to be trusted")


# --------------------------------------------------------------------------------------- 1-wire


def _one_wire_milli_c(content: bytes) -> Decimal:
    lines = content.strip().splitlines()
    first = _SCRATCHPAD_LINE.fullmatch(lines[0]) if len(lines) == 2 else None
    second = _VALUE_LINE.fullmatch(lines[1]) if len(lines) == 2 else None
    if first is None or second is None:
        raise BadReading("w1_slave", "does not hold its two lines, nine bytes with the check and t=")
    if first[2] == b"NO":
        raise BadReading("w1_slave", "the check of the bytes failed (NO); the t= shown is an older value")
    milli_c = int(second[1])
    _refuse_scratchpad(bytes.fromhex(first[1].decode("ascii")), milli_c)
    return Decimal(milli_c)


def _refuse_scratchpad(scratchpad: bytes, milli_c: int) -> None:
    if crc8(scratchpad[:8]) != scratchpad[8]:
        raise BadReading("w1_slave", "the last byte is not the check of the eight before, though it says YES")
    if not any(scratchpad):
        raise BadReading("w1_slave", "all bytes are zero: is the data line shorted to ground?")
    if scratchpad[6] == _NOT_CONVERTED and milli_c == _POWER_ON_MILLI_C:
        raise BadReading("w1_slave", "85 °C is the power-on value: the chip was reset and did not convert")
    if scratchpad[6] == _NOT_CONVERTED and milli_c == _STARVED_MILLI_C:
        raise BadReading("w1_slave", "127.937 °C is what too little power leaves: check the supply wire")
    _refuse_outside("w1_slave", milli_c)


def _refuse_unlikely(milli_c: int) -> None:
    """The file ``temperature`` shows no byte 6, so an exact power-on value cannot be told from a true one."""
    if milli_c == _POWER_ON_MILLI_C:
        raise BadReading("temperature", "exactly 85 °C is the power-on value: read w1_slave to be sure")
    _refuse_outside("temperature", milli_c)


def _refuse_outside(file_name: str, milli_c: int) -> None:
    if milli_c not in _ONE_WIRE_RANGE_MILLI_C:
        raise BadReading(file_name, f"{milli_c / 1000:g} °C is outside the chip's range, -55 to 125 °C")
