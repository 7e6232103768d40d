"""The truth about a week of readings: what went wrong with which tray, and when somebody cared for it."""

from typing import Final, NamedTuple

#: What a person does at a tray that shows in its readings.
CARE_EVENTS: Final = ("lifted", "misted", "watered")


class TrueFault(NamedTuple):
    """One fault of one tray, from an instant (included) to another (not).

    ``quantity`` is what the sensor measures whose fault it is, None where it is the tray's.
    """

    tray: str
    fault: str
    from_ms: int
    to_ms: int
    quantity: str | None = None


class TrueCare(NamedTuple):
    """Something done at a tray: ``lifted``, ``misted`` or ``watered``."""

    tray: str
    event: str
    from_ms: int
    to_ms: int


class Truth(NamedTuple):
    """All that is true about readings between two instants, in milliseconds since 1970 UTC."""

    seed: int
    start_ms: int
    end_ms: int
    faults: tuple[TrueFault, ...]
    care: tuple[TrueCare, ...]
