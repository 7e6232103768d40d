"""Whole numbers in few bits, for what is kept for years.

The rule of this file: what is packed comes back exactly, and its length need not be told to whoever
packs it, only to whoever unpacks it.

Numbers of a series lie near each other, so either they or their steps are taken less what is usual, made
positive, and split: the low bits as they are, the rest counted in single bits (R. F. Rice, Some practical
universal noiseless coding techniques, JPL Publication 79-22, 1979). That needs no table, which in an hour's
readings would take as much room as they do.
"""

from typing import Final, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

Whole: TypeAlias = NDArray[np.int64]
_Positive: TypeAlias = NDArray[np.uint64]
#: Beyond this a step between two numbers could overflow.
LARGEST: Final = 2**60
_ORDER_BIT: Final = 0x40


class Unpacked(NamedTuple):
    """Numbers, and where in the bytes they ended."""

    numbers: Whole
    end: int


def packed(numbers: Whole) -> bytes:
    """Return numbers, none further from zero than ``LARGEST``, as bytes."""
    if len(numbers) == 0:
        return b""
    as_they_are = _split(numbers, b"", 0)
    as_steps = _split(np.diff(numbers), small_packed(int(numbers[0])), _ORDER_BIT)
    return _bytes_of(min(as_they_are, as_steps, key=lambda one: one.length_bits))


def unpacked(data: bytes, start: int, count: int) -> Unpacked:
    """Return so many numbers from a place in bytes on.

    Raises:
        IndexError, ValueError: These are not bytes that were packed with so many numbers.
    """
    if count == 0:
        return Unpacked(np.empty(0, np.int64), start)
    head, place = data[start], start + 1
    low_bits, has_steps = head & ~_ORDER_BIT, bool(head & _ORDER_BIT)
    usual, place = small(data, place)
    first, place = small(data, place) if has_steps else (0, place)
    length, place = small(data, place)
    rest = count - has_steps
    middle = place + (rest * low_bits + 7) // 8
    numbers = _joined(data[place:middle], data[middle : middle + length], rest, low_bits) + usual
    if has_steps:
        numbers = np.cumsum(np.concatenate(([first], numbers)))
    return Unpacked(numbers, middle + length)


def small_packed(number: int) -> bytes:
    """Return one number of any size as bytes: seven bits in each, as many as it takes."""
    rest = number * 2 if number >= 0 else -number * 2 - 1
    result = bytearray()
    while rest > 0x7F:
        result.append(rest & 0x7F | 0x80)
        rest >>= 7
    result.append(rest)
    return bytes(result)


def small(data: bytes, start: int) -> tuple[int, int]:
    """Return one number from a place in bytes on, and where it ended.

    Raises:
        IndexError: The bytes end before it does.
    """
    positive = shift = 0
    while True:
        byte = data[start]
        start += 1
        positive |= (byte & 0x7F) << shift
        if byte < 0x80:
            return (positive >> 1) ^ -(positive & 1), start
        shift += 7


class _Split(NamedTuple):
    """Numbers less what is usual, made positive, and how they are best split."""

    positive: _Positive
    low_bits: int
    length_bits: int
    usual: int
    first: bytes
    order: int


def _split(numbers: Whole, first: bytes, order: int) -> _Split:
    usual = int(np.partition(numbers, len(numbers) // 2)[len(numbers) // 2]) if len(numbers) else 0
    rest = numbers - usual
    positive = ((rest << 1) ^ (rest >> 63)).view(np.uint64)
    mean = float(positive.mean()) if len(positive) else 0.0
    # About as many low bits as the mean has.
    around = int(np.log2(mean + 1))
    lengths = {bits: _length_bits(positive, bits) for bits in range(max(0, around - 1), around + 2)}
    low_bits = min(lengths, key=lengths.__getitem__)
    return _Split(positive, low_bits, lengths[low_bits] + 8 * len(first), usual, first, order)


def _length_bits(positive: _Positive, low_bits: int) -> int:
    return len(positive) * low_bits + int((positive >> np.uint64(low_bits)).sum())


def _bytes_of(split: _Split) -> bytes:
    positive, low_bits = split.positive, split.low_bits
    ones = np.cumsum((positive >> np.uint64(low_bits)).astype(np.int64) + 1) - 1
    bits = np.zeros(int(ones[-1]) + 1 if len(ones) else 0, np.uint8)
    bits[ones] = 1
    unary = np.packbits(bits).tobytes()
    low = (positive[:, None] >> np.arange(low_bits, dtype=np.uint64)).astype(np.uint8) & 1
    head = (
        bytes([split.order | low_bits]) + small_packed(split.usual) + split.first + small_packed(len(unary))
    )
    return head + np.packbits(low.ravel()).tobytes() + unary


def _joined(low: bytes, unary: bytes, count: int, low_bits: int) -> Whole:
    ones = np.flatnonzero(np.unpackbits(np.frombuffer(unary, np.uint8)))
    counted = np.diff(ones, prepend=-1) - 1
    if len(counted) != count:
        raise ValueError(f"{count} numbers expected, {len(counted)} found")
    positive = counted << low_bits
    if low_bits:
        bits = np.unpackbits(np.frombuffer(low, np.uint8), count=count * low_bits)
        positive += bits.reshape(count, low_bits) @ (np.int64(1) << np.arange(low_bits))
    return (positive >> 1) ^ -(positive & 1)
