"""The stages of a crop as a configuration writes them: a whole list, or what some have otherwise than those of a crop.

The rule of this file: what is wrong is told at what was written here, also where it is wrong only beside the value of
the crop that this one takes after.
"""

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import NamedTuple

from wardian.daemon.bands import RISING, doubt_band, read_band
from wardian.daemon.config_models import AimKeys, BandKeys, StageChangeKeys, StageKeys
from wardian.daemon.crop_values import (
    AIMS,
    BANDS,
    INNER,
    STAGES,
    Values,
    aim_keys,
    band_keys,
    banded,
    below,
    has_limit,
    stage_names,
    units_of,
)
from wardian.daemon.library import Default, Library
from wardian.daemon.written import Written
from wardian.rules.documents import Path, dotted, nearest, shown
from wardian.rules.quantities import QUANTITIES

_IN_ORDER = "stages are accepted in the order of their days"


def read_listed(written: Written, path: Path, library: Library) -> dict[str, Path]:
    """Return the places of a crop's stages by name; every mistake in them is noted."""
    paths = written.items((*path, STAGES))
    if not paths:
        written.mistake((*path, STAGES), "is missing", "a list with at least one stage is accepted")
    read = [(place, written.read(StageKeys, place)) for place in paths]
    for place in paths:
        for here in _of_quantities(written, (*place, BANDS)):
            name = str(here[-1])
            read_band(written, here, QUANTITIES[name], library.defaults[name])
        _read_aims(written, place)
    _follow_each_other(written, [(place, keys) for place, keys in read if keys is not None])
    return {keys.name if keys else dotted(place): place for place, keys in read}


def _follow_each_other(written: Written, stages: Sequence[tuple[Path, StageKeys]]) -> None:
    for (_, earlier), (path, later) in pairwise(stages):
        if later.from_day <= earlier.from_day:
            problem = f"day {later.from_day} is not after day {earlier.from_day} of the stage before"
            written.mistake((*path, "from_day"), problem, _IN_ORDER)
    seen: set[str] = set()
    for path, stage in stages:
        if stage.name in seen:
            written.mistake((*path, "name"), f"{shown(stage.name)} is the name of an earlier stage as well")
        seen.add(stage.name)


def read_changed(written: Written, path: Path, known: Sequence[str] | None) -> dict[str, Path]:
    """Return the places of the stages that are changed, by name; what is wrong with each by itself is noted.

    Args:
        written: Where mistakes are noted.
        path: The crop.
        known: The stages of the crop that it takes after; None where it takes after none that is known.
    """
    here = (*path, STAGES)
    places: dict[str, Path] = {name: (*here, name) for name in written.mapping(here)}
    if known == ():
        problem = f"is a mapping, and {shown(path[-1])} is no crop of the library"
        written.mistake(here, problem, "a list of stages, or `like` with the name of a crop, is accepted")
    for name, place in places.items():
        if known and name not in known:
            written.mistake(place, f"{shown(name)} is no stage of this crop", nearest(name, known))
        written.read(StageChangeKeys, place)
        for band in _of_quantities(written, (*place, BANDS)):
            written.read(BandKeys, band, units_of(str(band[-1])))
        _read_aims(written, place)
    return places


def _of_quantities(written: Written, path: Path) -> list[Path]:
    """Return the places of the quantities below a path; what is no quantity is noted."""
    for name in written.mapping(path):
        if name not in QUANTITIES:
            problem = f"{shown(name)} is no quantity"
            written.mistake((*path, name), problem, nearest(name, QUANTITIES, listed=99))
    return [(*path, name) for name in written.mapping(path) if name in QUANTITIES]


def _read_aims(written: Written, path: Path) -> None:
    for here in _of_quantities(written, (*path, AIMS)):
        keys = written.read(AimKeys, here, units_of(str(here[-1])))
        if keys and keys.low is not None and keys.high is not None and keys.low > keys.high:
            low, high = (shown(written.at((*here, side))) for side in INNER)
            written.mistake((*here, "high"), f"{high} is below low, which is {low}")


class Changed(NamedTuple):
    """A crop that has values otherwise than the one it takes after, each of them valid by itself.

    Attributes:
        written: Where mistakes are noted.
        places: Where its stages are written, by name.
        values: All its values.
        own: Those that are written for it.
        defaults: Deadband and delays of a limit that has none.
    """

    written: Written
    places: Mapping[str, Path]
    values: Values
    own: Values
    defaults: Mapping[str, Default]

    def check(self) -> None:
        """Note what does not fit together."""
        self._check_days()
        touched = dict.fromkeys(path[1:4] for path in self.own if path[0] == STAGES and len(path) == 5)
        for stage, part, quantity in touched:
            if part == BANDS:
                self._check_band(str(stage), str(quantity))
            else:
                keys = aim_keys(self.values, str(stage), str(quantity))
                self._check_rising((STAGES, stage, AIMS, quantity), keys, INNER)

    def _check_days(self) -> None:
        days = [(name, below(self.values, STAGES, name)["from_day"]) for name in stage_names(self.values)]
        for (earlier, before), (later, after) in pairwise(days):
            if after > before:
                continue
            if (STAGES, later, "from_day") in self.own:
                blamed, problem = later, f"day {after} is not after day {before} of the stage {earlier}"
            else:
                blamed, problem = earlier, f"day {before} is not before day {after} of the stage {later}"
            self.written.mistake((*self.places[blamed], "from_day"), problem, _IN_ORDER)

    def _check_band(self, stage: str, quantity: str) -> None:
        here = (*self.places[stage], BANDS, quantity)
        if has_limit(self.values, stage, quantity):
            keys = band_keys(self.values, stage, quantity)
            if self._check_rising((STAGES, stage, BANDS, quantity), keys, RISING):
                band = banded(self.values, stage, quantity, self.defaults)
                doubt_band(self.written, here, QUANTITIES[quantity], band)
        elif below(self.values, STAGES, stage, BANDS, quantity):
            self.written.mistake(here, "has no limit", f"one of {', '.join(RISING)} is needed")

    def _check_rising(self, place: Path, keys: BandKeys | AimKeys, names: Sequence[str]) -> bool:
        present = [name for name in names if getattr(keys, name) is not None]
        wrong = [pair for pair in pairwise(present) if getattr(keys, pair[0]) > getattr(keys, pair[1])]
        for lower, upper in wrong:
            if (*place, upper) in self.own:
                self._blame(place, upper, f"is below {lower}", lower)
            else:
                self._blame(place, lower, f"is above {upper}", upper)
        return not wrong

    def _blame(self, place: Path, blamed: str, problem: str, other: str) -> None:
        text, limit = (shown(self.values[*place, name].value) for name in (blamed, other))
        whose = "" if (*place, other) in self.own else " in the crop it takes after"
        self.written.mistake(
            (*self.places[str(place[1])], *place[2:], blamed),
            f"{text} {problem}, which is {limit}{whose}",
            f"limits must rise: {', '.join(RISING)}",
        )
