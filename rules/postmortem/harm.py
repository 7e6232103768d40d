"""What may have harmed a batch: by name, how much of what harms there was, and what was seen of it."""

from typing import Final, NamedTuple

from wardian.rules.evidence import Evidence, Figure, span
from wardian.rules.observing.minutes import MINUTE_MS

TOO_COLD: Final = "medium too cold"
CHILLED: Final = "chilled"
TOO_HOT: Final = "medium too hot"
TOO_DRY_AIR: Final = "air too dry"
TOO_WET: Final = "kept too wet"
LITTLE_LIGHT: Final = "too little light"
MUCH_LIGHT: Final = "too much light"
MEDIUM_DRY: Final = "medium let dry"
HELD_LONG: Final = "held too long"
FLOWERING: Final = "source plant in flower"
NOTHING: Final = "nothing out of line"
UNSEEN: Final = "too little seen"
#: Everything that is ever named.
FINDINGS: Final = (
    TOO_COLD,
    CHILLED,
    TOO_HOT,
    TOO_DRY_AIR,
    TOO_WET,
    LITTLE_LIGHT,
    MUCH_LIGHT,
    MEDIUM_DRY,
    HELD_LONG,
    FLOWERING,
    NOTHING,
    UNSEEN,
)


class Harm(NamedTuple):
    """One thing that may have harmed a batch.

    Attributes:
        name: One of ``FINDINGS``.
        weight: How much there was of it; 1 is as much as is said to harm cuttings.
        evidence: What was seen of it.
    """

    name: str
    weight: float
    evidence: tuple[Evidence, ...] = ()


def hours_figure(count: float) -> Figure:
    """Return hours as a length of time."""
    return span(count * 60 * MINUTE_MS)
