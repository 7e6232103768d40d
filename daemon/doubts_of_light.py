"""What a configuration may say of lamps and leaves but hardly means."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Final, Protocol

from wardian.daemon.expected import Pair
from wardian.daemon.written import Written
from wardian.rules.crops import Aim, Crop
from wardian.rules.documents import Path
from wardian.rules.plans import LampSchedule, TrayPlan

#: What helps where a band asks for photons and only lux are measured.
NAME_THE_LAMP: Final = "light.lamp makes photons of lux: `wardian lamps` lists which it may be"


class Lit(Protocol):
    """A tray, where it stands in the configuration, its crop and its plan."""

    @property
    def path(self) -> Path:
        """Where it stands."""

    @property
    def crop(self) -> Crop:
        """What grows in it."""

    @property
    def plan(self) -> TrayPlan:
        """How it is judged."""


def doubt_leaves(
    written: Written, path: Path, plan: TrayPlan, brought: Mapping[str, frozenset[Pair]]
) -> None:
    """Note a leaf offset at a tray whose leaves a sensor measures."""
    is_measured = any((plan.tray, "leaf_temperature") in pairs for pairs in brought.values())
    if plan.leaf_offset_k is not None and is_measured:
        problem = "has a leaf_offset, so that the leaf temperature which a sensor brings does not count"
        written.warn(
            path, problem, "leave leaf_offset out here, and write it at the trays without such a sensor"
        )


def doubt_schedules(written: Written, trays: Iterable[Lit]) -> None:
    """Note lamps that are switched on for more or fewer hours than a crop wants, each crop's once."""
    told = set()
    for tray in trays:
        assert tray.plan.schedule is not None
        lit_h = hours_on(tray.plan.schedule)
        if (tray.crop.name, lit_h) not in told:
            told.add((tray.crop.name, lit_h))
            own = (*tray.path, "light", "on")
            place = own if written.at(own) is not None else ("light", "on")
            for aim, stages in _missed(tray.crop, lit_h):
                words = f"{tray.crop.name} wants {_hours(aim)} of light while {', '.join(stages)}"
                written.warn(place, f"lets the lamp burn {lit_h:.3g} h a day, but {words}")


def hours_on(schedule: LampSchedule) -> float:
    """Return for how many hours of a day of 24 a lamp is switched on."""
    return (schedule.off_min - schedule.on_min) % (24 * 60) / 60


def _missed(crop: Crop, lit_h: float) -> Iterator[tuple[Aim, list[str]]]:
    """Yield what some stages want and so many hours do not give, with these stages."""
    by_aim: dict[Aim, list[str]] = {}
    for stage in crop.stages:
        by_aim.setdefault(stage.aims.get("light_hours", Aim()), []).append(stage.name)
    for aim, stages in by_aim.items():
        if (aim.low is not None and lit_h < aim.low) or (aim.high is not None and lit_h > aim.high):
            yield aim, stages


def _hours(aim: Aim) -> str:
    if aim.low is None or aim.high is None:
        return f"at most {aim.high:g} h" if aim.low is None else f"at least {aim.low:g} h"
    return f"{aim.low:g} to {aim.high:g} h"
