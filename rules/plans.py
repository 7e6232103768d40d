"""What the engine is told about each tray: all that a configuration says, in its own terms."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, tzinfo
from typing import NamedTuple, Protocol

from wardian.rules.crops import Stage, StageSpan
from wardian.rules.quantities import DERIVED_FROM, LEAF_DEFICIT


class LampRule(NamedTuple):
    """When the lamp counts as lit: the light is above ``lit_above``, dark at or below ``dark_at``.

    ``quantity`` says which light is meant, ``illuminance`` or ``ppfd``; the numbers are in its unit.
    """

    quantity: str
    lit_above: float
    dark_at: float


class LampSchedule(NamedTuple):
    """When a lamp is switched on and off by the clock on the wall, in minutes after midnight.

    ``off_min`` may be less than ``on_min``: then the lamp burns through midnight.
    """

    on_min: int
    off_min: int
    zone: tzinfo


class Masses(NamedTuple):
    """What a tray weighs, cover included, from an instant on [g].

    ``saturated_g``: watered through and drained for an hour. ``dry_g``: the same with its medium dry.
    ``is_estimated``: whether the dry mass was reckoned and not weighed.
    """

    from_ms: int
    saturated_g: float
    dry_g: float
    is_estimated: bool = False


class Makings(Protocol):
    """What says of what a tray's derived quantities are made; a ``TrayPlan`` does."""

    @property
    def lamp(self) -> LampRule | None:
        """When the lamp counts as lit."""

    @property
    def lux_per_umol(self) -> float | None:
        """The illuminance of one µmol m⁻² s⁻¹ [lx]."""

    @property
    def leaf_offset_k(self) -> float | None:
        """How much warmer leaves are than the air [K]."""


def inputs_of(quantity: str, tray: Makings) -> tuple[str, ...]:
    """Return the measured quantities that a quantity is made of at a tray: itself where it is measured."""
    if quantity == "light_hours":
        return (tray.lamp.quantity,) if tray.lamp else ()
    if quantity == "daily_light_integral" and tray.lux_per_umol is not None:
        return ("illuminance",)
    if quantity == LEAF_DEFICIT and tray.leaf_offset_k is not None:
        return DERIVED_FROM["vapour_pressure_deficit"]
    return DERIVED_FROM.get(quantity, (quantity,))


@dataclass(frozen=True, slots=True)
class TrayPlan:
    """One tray as the engine judges it.

    Attributes:
        tray: Its name.
        spans: Its stages and the instants at which they begin, in order of time.
        hold_ms: How long a reading stands when no other follows.
        lamp: When the lamp counts as lit, or None where light hours are not judged.
        silent_after_ms: By quantity, for each series that a configured sensor brings: how long its
            value may be unknown before ``sensor-silent`` is raised.
        accuracies: By quantity, the limits ± of a reading's error, in its own unit of a difference.
        schedule: When the lamp is switched on and off, or None where nobody said.
        due_ms: From when on no roots are a finding: the day after the last on which they are expected begins;
            None where nobody said.
        settling_ms: By care, for how long after its beginning nobody is told what it does to the tray.
        figures: By condition, its figures by name: ms for a length of time, else the unit of the quantity.
        overdue_ms: From when on the stage lasts too long, None where nobody said.
        was_overdue: Earlier stretches in which it did, until somebody acted, [from, to).
        stages: All that may begin by hand, beside those of the spans; what they judge is derived all along.
        masses: What the tray weighs full and empty, each from an instant on, in order of time; empty where nobody
            weighed it.
        lux_per_umol: Of the lamp, the illuminance of one µmol m⁻² s⁻¹ [lx]; then the daily light integral is that
            of the illuminance. None: that of the PPFD.
        leaf_offset_k: How much warmer leaves are than the air, where no probe says [K].
        rot_seen_ms: When somebody saw mould or rot in it that nobody has cleared since.
        is_dry: Whether its crop wants it drier than most and rots when kept wet.
        retakes_mass: Whether what it weighs after a thorough watering is taken as what it weighs full.
        zone: Whose days are its days.
    """

    tray: str
    spans: tuple[StageSpan, ...]
    hold_ms: int
    lamp: LampRule | None = None
    silent_after_ms: Mapping[str, int] = field(default_factory=dict)
    accuracies: Mapping[str, float] = field(default_factory=dict)
    schedule: LampSchedule | None = None
    due_ms: int | None = None
    settling_ms: Mapping[str, int] = field(default_factory=dict)
    figures: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    overdue_ms: int | None = None
    was_overdue: tuple[tuple[int, int], ...] = ()
    stages: tuple[Stage, ...] = ()
    masses: tuple[Masses, ...] = ()
    lux_per_umol: float | None = None
    leaf_offset_k: float | None = None
    rot_seen_ms: int | None = None
    is_dry: bool = False
    retakes_mass: bool = True
    zone: tzinfo = UTC

    @property
    def photon_light(self) -> str:
        """The light that its photons are those of."""
        return inputs_of("daily_light_integral", self)[0]
