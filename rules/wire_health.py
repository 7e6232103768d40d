"""How a wire is: whether it works, hangs, or brings more than its share."""

from typing import NamedTuple


class SensorHealth(NamedTuple):
    """Whether a sensor's wire works, in a person's words."""

    works: bool
    words: str


class Stuck(SensorHealth):
    """It does not work because a thread of its own hangs: only a new start ends that."""

    __slots__ = ()


class Flood(NamedTuple):
    """More than a share of what a sensor may bring: where, how much comes a second of late, and how much was refused.

    ``is_ours``: the place belongs to a tray and a quantity, so that true readings may be among it.
    """

    place: str
    per_s: float
    refused: int
    is_ours: bool
