"""The five-minute pieces of one hour as bytes.

The rule of this file: times come back exactly, and so do the lowest and the highest value; the mean comes
back to a 65535th of the span between them, which is finer than any sensor's step.
"""

from typing import Final

import numpy as np

from wardian.adapters.stores.hours import opened, sealed, values_packed, values_unpacked
from wardian.adapters.stores.integers import packed, unpacked
from wardian.rules.readings import Values
from wardian.rules.rollups import PIECE_MS, PIECES, Rollups

_MEAN_STEPS: Final = 65_535
_MEAN: Final = np.dtype("<u2")
_PLACES: Final = np.arange(PIECES)
_PLACES_BYTES: Final = 2


def pieces_packed(rollups: Rollups, hour_ms: int) -> bytes:
    """Return the pieces of one hour as bytes."""
    places = (rollups.from_ms - hour_ms) // PIECE_MS
    known_ms, judged_ms, within_ms = rollups.known_ms, rollups.judged_ms, rollups.within_ms
    missing = (PIECE_MS - known_ms, known_ms - judged_ms, judged_ms - within_ms)
    parts = (
        int((1 << places).sum()).to_bytes(_PLACES_BYTES),
        values_packed(np.concatenate((rollups.lowest, rollups.highest))),
        _mean_steps(rollups).tobytes(),
        packed(np.concatenate(missing)),
    )
    return sealed(b"".join(parts))


def pieces_unpacked(data: bytes, hour_ms: int) -> Rollups:
    """Return the pieces of one hour.

    Raises:
        Damaged: These bytes are not what was packed.
    """
    body = opened(data)
    places = np.flatnonzero(int.from_bytes(body[:_PLACES_BYTES]) >> _PLACES & 1)
    count = len(places)
    values, start = values_unpacked(body, _PLACES_BYTES, 2 * count)
    lowest, highest = values[:count].copy(), values[count:].copy()
    middle = start + count * _MEAN.itemsize
    share = np.frombuffer(body[start:middle], _MEAN) / _MEAN_STEPS
    missing = unpacked(body, middle, 3 * count).numbers.reshape(3, count)
    known_ms, judged_ms, within_ms = PIECE_MS - np.cumsum(missing, axis=0)
    mean = np.clip(lowest + (highest - lowest) * share, lowest, highest)
    return Rollups(hour_ms + places * PIECE_MS, lowest, mean, highest, known_ms, judged_ms, within_ms)


def _mean_steps(rollups: Rollups) -> Values:
    span = rollups.highest - rollups.lowest
    share = (rollups.mean - rollups.lowest) / np.where(span > 0, span, 1.0)
    return np.rint(share * _MEAN_STEPS).astype(_MEAN)
