"""One sensor's hour as bytes: times and values, exactly as they were.

The rule of this file: what comes back is identical to the bit, whatever the numbers; what is not what was
packed is refused, never read as something else.

A sensor shows steps of its resolution. Values are kept as how many of its steps they are, where dividing
gives back the very same bits: one division of two whole numbers is rounded once, as a decimal number is when
it is read, so the two agree (IEEE 754-2019, section 5.4.1). What is of no known step is kept as it is.
"""

import zlib
from collections.abc import Callable
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from wardian.adapters.stores.integers import packed, small, small_packed, unpacked
from wardian.rules.readings import Points, Times, Values

HOUR_MS: Final = 3_600_000
#: Steps of a resolution, as a ratio: of decimals, of sixteenths, and of degrees Fahrenheit brought to Celsius.
_STEPS: Final = (
    (100, 1),
    (10, 1),
    *((1, 10**decimals) for decimals in range(3)),
    (1, 16),
    *((1, 10**decimals) for decimals in range(3, 7)),
    *((5, 9 * 10**decimals) for decimals in range(4)),
)
_AS_THEY_ARE: Final = len(_STEPS)
#: Whole numbers below this are exact in binary64, with room for a step's numerator.
_LARGEST: Final = 2**50
_CHECK_BYTES: Final = 4
#: Whether the rest is compressed once more, which pays where nothing moves.
_PLAIN, _COMPRESSED = b"\0", b"\1"


class Damaged(ValueError):
    """These bytes are not what was packed."""


class Instants(NamedTuple):
    """When the sensors of a tray were read that come together, and the number that it is found by, above zero."""

    number: int
    times_ms: Times


def hour_packed(points: Points, hour_ms: int, instants: Instants | None = None) -> bytes:
    """Return readings of one hour, in strictly rising order of time, as bytes.

    Where their instants are among those that are kept elsewhere, only which of these are missing is told.
    """
    if instants is None:
        when = (small_packed(0), packed(points.times_ms - hour_ms))
    else:
        missing = np.flatnonzero(~np.isin(instants.times_ms, points.times_ms))
        when = (small_packed(instants.number), small_packed(len(missing)) + packed(missing))
    return sealed(b"".join((small_packed(len(points.times_ms)), *when, values_packed(points.values))))


def hour_unpacked(data: bytes, hour_ms: int, instants_of: Callable[[int], Times]) -> Points:
    """Return the readings of one hour; ``instants_of`` has by number what is kept elsewhere.

    Raises:
        Damaged: These bytes are not what was packed.
    """
    body = opened(data)
    count, start = small(body, 0)
    number, start = small(body, start)
    if number:
        absent, start = small(body, start)
        missing, start = unpacked(body, start, absent)
        times_ms = np.delete(instants_of(number), missing)
    else:
        offsets, start = unpacked(body, start, count)
        times_ms = offsets + hour_ms
    return Points(times_ms, values_unpacked(body, start, count)[0])


def readings_packed(data: bytes) -> int:
    """Return how many readings are packed in these bytes.

    Raises:
        Damaged: These bytes are not what was packed.
    """
    return small(opened(data), 0)[0]


def instants_number(data: bytes) -> int:
    """Return the number of the instants that these readings share with others; 0 where they have their own.

    Raises:
        Damaged: These bytes are not what was packed.
    """
    body = opened(data)
    return small(body, small(body, 0)[1])[0]


def instants_packed(times_ms: Times, hour_ms: int) -> bytes:
    """Return instants of one hour, in strictly rising order, as bytes."""
    return sealed(small_packed(len(times_ms)) + packed(times_ms - hour_ms))


def instants_unpacked(data: bytes, hour_ms: int) -> Times:
    """Return instants of one hour.

    Raises:
        Damaged: These bytes are not what was packed.
    """
    body = opened(data)
    count, start = small(body, 0)
    return unpacked(body, start, count).numbers + hour_ms


def sealed(body: bytes) -> bytes:
    """Return bytes with a check sum, compressed where that makes them fewer."""
    compressed = zlib.compress(body, 9)
    content = _COMPRESSED + compressed if len(compressed) < len(body) else _PLAIN + body
    return zlib.crc32(content).to_bytes(_CHECK_BYTES) + content


def opened(data: bytes) -> bytes:
    """Return what was sealed.

    Raises:
        Damaged: The check sum is another one.
    """
    check, content = data[:_CHECK_BYTES], data[_CHECK_BYTES:]
    if not content or zlib.crc32(content).to_bytes(_CHECK_BYTES) != check:
        raise Damaged("what was folded is damaged")
    return zlib.decompress(content[1:]) if content[:1] == _COMPRESSED else content[1:]


def values_packed(values: Values) -> bytes:
    """Return values as bytes, with the step that they are counted in before them."""
    for place, step in enumerate(_STEPS):
        if _fits(values[:1], step) and _fits(values, step):
            return bytes([place]) + packed(_counted(values, step))
    planes = zlib.compress(values.view(np.uint8).reshape(-1, 8).T.tobytes(), 9)
    return bytes([_AS_THEY_ARE]) + small_packed(len(planes)) + planes


def values_unpacked(body: bytes, start: int, count: int) -> tuple[Values, int]:
    """Return so many values from a place in bytes on, and where they ended."""
    place, start = body[start], start + 1
    if place == _AS_THEY_ARE:
        length, start = small(body, start)
        planes = np.frombuffer(zlib.decompress(body[start : start + length]), np.uint8)
        return planes.reshape(8, count).T.copy().view(np.float64).ravel(), start + length
    numbers, end = unpacked(body, start, count)
    return _valued(numbers, _STEPS[place]), end


def _counted(values: Values, step: tuple[int, int]) -> NDArray[np.int64]:
    times, parts = step
    return np.rint(values * parts / times).astype(np.int64)


def _valued(numbers: NDArray[np.int64], step: tuple[int, int]) -> Values:
    times, parts = step
    return (numbers * times).astype(np.float64) / parts


def _fits(values: Values, step: tuple[int, int]) -> bool:
    """Whether values are whole numbers of a step, to the bit."""
    if len(values) and not np.abs(values).max() < _LARGEST / step[1]:
        return False
    again = _valued(_counted(values, step), step)
    return bool((again.view(np.int64) == values.view(np.int64)).all())
