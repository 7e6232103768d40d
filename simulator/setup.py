"""How a pretended bench is set up: its trays, what a grower sets on them, and what goes wrong."""

from dataclasses import dataclass, replace
from datetime import UTC, tzinfo
from typing import Final, NamedTuple

from wardian.rules.truth import TrueFault
from wardian.simulator.parameters import TrayParameters

#: About 18 h of light a day: common practice, no source.
DEFAULT_LIT_H: Final = 18.0
#: Relative humidity of the room. From memory (heated rooms: 40 to 60 %).
ROOM_HUMIDITY_PCT: Final = 48.0
#: The regime that holds from the first minute on begins here.
SOME_TIME_MS: Final = -(2**62)
_PARAMETERS: Final = TrayParameters()


class Regime(NamedTuple):
    """What a grower sets from an instant on.

    Attributes:
        from_ms: The instant.
        set_point_c: Of the thermostat of the bottom heat. [°C]
        changes_per_h: Air changes through the cover's vents while the lamp is meant to burn. [1/h]
        dark_changes_per_h: The same while it is not. [1/h]
        lit_h: Hours of light a day. [h]
        is_misted: Whether cuttings are misted at the airings, which ends with toning.
    """

    from_ms: int
    set_point_c: float
    changes_per_h: float = _PARAMETERS.closed_per_h
    dark_changes_per_h: float = _PARAMETERS.closed_per_h
    lit_h: float = DEFAULT_LIT_H
    is_misted: bool = True


class TraySetup(NamedTuple):
    """One tray and its regimes in order of time."""

    name: str
    regimes: tuple[Regime, ...]


@dataclass(frozen=True, slots=True)
class BenchSetup:
    """A bench: the same setup gives the same life, to the last reading.

    The lamp's hours are local, 5.5 is half past five; without ``lamp_off_h`` each tray is lit as its regime
    says.
    """

    trays: tuple[TraySetup, ...]
    seed: int = 1
    room_c: float = 19.0
    lamp_on_h: float = 5.0
    lamp_off_h: float | None = None
    every_ms: int = 10_000
    zone: tzinfo = UTC
    faults: tuple[TrueFault, ...] = ()

    def __post_init__(self) -> None:
        """Refuse a fault of a tray that is not on the bench."""
        names = [tray.name for tray in self.trays]
        for fault in self.faults:
            if fault.tray not in names:
                raise ValueError(
                    f"{fault.fault}: tray {fault.tray!r} is unknown; {', '.join(names)} is accepted"
                )

    def with_set_point(self, set_point_c: float) -> "BenchSetup":
        """Return the same bench with every thermostat set to one temperature [°C], whatever the stage."""
        trays = (
            tray._replace(regimes=tuple(one._replace(set_point_c=set_point_c) for one in tray.regimes))
            for tray in self.trays
        )
        return replace(self, trays=tuple(trays))
