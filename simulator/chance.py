"""Chance, always from a seed: the same names give the same draws, whoever else draws."""

from zlib import crc32

import numpy as np


def chance(seed: int, *names: object) -> np.random.Generator:
    """Return the draws that belong to a seed and some names."""
    return np.random.default_rng([seed, *(crc32(str(name).encode()) for name in names)])
