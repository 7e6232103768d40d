"""The crops of a configuration: their stages in order, each with its bands."""

from collections.abc import Sequence
from itertools import pairwise

from wardian.daemon.bands import read_band
from wardian.daemon.config_models import CropKeys, StageKeys
from wardian.daemon.config_types import NAME_ACCEPTS, why_no_name
from wardian.daemon.library import Library
from wardian.daemon.written import Written
from wardian.rules.crops import Band, Crop, Stage
from wardian.rules.documents import Path, nearest, shown
from wardian.rules.quantities import QUANTITIES


def read_crops(written: Written, library: Library) -> dict[str, Crop | None]:
    """Return the crops by name; None for one that is wrong, whose mistakes are noted."""
    crops = {name: _crop(written, name, library) for name in written.mapping(("crops",))}
    if not crops:
        written.mistake(("crops",), "is missing", "a mapping with at least one crop is accepted")
    return crops


def _crop(written: Written, name: str, library: Library) -> Crop | None:
    path: Path = ("crops", name)
    why = why_no_name(name)
    if why:
        written.mistake(path, why, f"{NAME_ACCEPTS} is accepted")
    keys = written.read(CropKeys, path)
    paths = written.items((*path, "stages"))
    if not paths:
        written.mistake((*path, "stages"), "is missing", "a list with at least one stage is accepted")
    read = [_stage(written, place, library) for place in paths]
    stages = [(place, stage) for place, stage in zip(paths, read, strict=True) if stage is not None]
    if _follow_each_other(written, stages) and len(stages) == len(paths) and stages and keys:
        return Crop(name, tuple(stage for _, stage in stages), keys.due)
    return None


def _follow_each_other(written: Written, stages: Sequence[tuple[Path, Stage]]) -> bool:
    follow = True
    for (_, earlier), (path, later) in pairwise(stages):
        if later.from_day <= earlier.from_day:
            problem = f"day {later.from_day} is not after day {earlier.from_day} of the stage before"
            written.mistake((*path, "from_day"), problem, "stages are accepted in the order of their days")
            follow = False
    seen: set[str] = set()
    for path, stage in stages:
        if stage.name in seen:
            written.mistake((*path, "name"), f"{shown(stage.name)} is the name of an earlier stage as well")
            follow = False
        seen.add(stage.name)
    return follow


def _stage(written: Written, path: Path, library: Library) -> Stage | None:
    keys = written.read(StageKeys, path)
    bands: dict[str, Band] = {}
    names = written.mapping((*path, "bands"))
    for name in names:
        here = (*path, "bands", name)
        if name not in QUANTITIES:
            written.mistake(here, f"{shown(name)} is no quantity", nearest(name, QUANTITIES, listed=99))
            continue
        band = read_band(written, here, QUANTITIES[name], library.defaults[name])
        if band is not None:
            bands[name] = band
    return Stage(keys.name, keys.from_day, bands) if keys and len(bands) == len(names) else None
