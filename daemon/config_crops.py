"""The crops of a configuration: stages of one's own, or what one has otherwise than a crop of the library.

The rule of this file: a list of stages takes no band from anywhere; a mapping of stages changes single values of the
crop that it takes after.
"""

from collections.abc import Iterable, Mapping
from typing import Any, Final, NamedTuple

from wardian.daemon.config_models import CropKeys
from wardian.daemon.config_stages import Changed, read_changed, read_listed
from wardian.daemon.config_types import NAME_ACCEPTS, why_no_name
from wardian.daemon.crop_library import crop_library
from wardian.daemon.crop_values import (
    AIMS,
    BANDS,
    STAGES,
    Sourced,
    Values,
    crop_of,
    overlaid,
    placed,
    stage_names,
    with_aims_of_limits,
)
from wardian.daemon.library import Library
from wardian.daemon.written import Written
from wardian.rules.crops import LIMITS, Crop
from wardian.rules.documents import Path, nearest, shown
from wardian.rules.quantities import QUANTITIES

_LIKE: Final = "like"


class Grown(NamedTuple):
    """A crop in force.

    Attributes:
        crop: The crop.
        values: By place, with stages by name; each with the line on which it is written, or the library's mark.
        own: Those that the configuration writes for this crop, None for one that is taken out.
        like: The crop whose values it takes where it has none of its own, empty for none.
        base: The values of that crop.
        is_listed: Whether its stages are a list, with no band of any other crop.
    """

    crop: Crop
    values: Values
    own: Values
    like: str
    base: Values
    is_listed: bool


def may_be_nothing(path: Path) -> bool:
    """Return whether nothing may stand behind a key: a limit, an aim or a whole band that is taken out."""
    if len(path) not in (6, 7) or path[0] != "crops" or path[2] != STAGES or not isinstance(path[3], str):
        return False
    return path[4] in (BANDS, AIMS) and path[5] in QUANTITIES and (len(path) == 6 or path[6] in LIMITS)


def read_crops(written: Written, library: Library) -> dict[str, Grown | None]:
    """Return the crops in force by name; None for one that is wrong, whose mistakes are noted.

    Those of the library are in force where a tray names them.
    """
    reader = _Reader(written, library)
    for name in written.mapping(("crops",)):
        reader.crop(name)
    for path in written.items(("trays",)):
        name = written.at((*path, "crop"))
        if isinstance(name, str) and name not in reader.done and name in reader.known:
            reader.done[name] = reader.of_library(name)
    return reader.done


def hint_of_crop(name: str, crops: Iterable[str], library: Library) -> str:
    """Return what was meant by the name of a crop that is not there."""
    near = nearest(name, {*crops, *crop_library(library.parse).all})
    return near or "a crop of this file, or of the library as `wardian crops` lists it, is accepted"


class _Reader:
    """Reads one crop after the other, those first that others take after."""

    def __init__(self, written: Written, library: Library) -> None:
        self.done: dict[str, Grown | None] = {}
        self._written = written
        self._library = library
        self._begun: list[str] = []

    @property
    def known(self) -> Mapping[str, Any]:
        return crop_library(self._library.parse).all

    def of_library(self, name: str) -> Grown:
        values = self.known[name].values
        return Grown(self._made(name, values), values, {}, name, values, is_listed=False)

    def crop(self, name: str) -> Grown | None:
        """Return a crop that is written here."""
        if name not in self.done:
            self._begun.append(name)
            self.done[name] = self._read(name)
            self._begun.pop()
        return self.done[name]

    def _read(self, name: str) -> Grown | None:
        written, path = self._written, ("crops", name)
        why = why_no_name(name)
        if why:
            written.mistake(path, why, f"{NAME_ACCEPTS} is accepted")
        written.read(CropKeys, path)
        is_listed = self._is_listed(name)
        like, base = self._base(name, is_listed=is_listed)
        if is_listed:
            places = read_listed(written, path, self._library)
        else:
            places = read_changed(written, path, None if base is None else stage_names(base))
        if base is None or written.is_wrong(path):
            return None
        own = _own(written, path, places)
        taken = {one: value for one, value in base.items() if not is_listed or _fits_list(one, places)}
        values: Values = with_aims_of_limits(overlaid(taken, own), own)
        if is_listed:
            values = _in_order(values, places)
        else:
            Changed(written, places, values, own, self._library.defaults).check()
        if written.is_wrong(path):
            return None
        return Grown(self._made(name, values, is_listed=is_listed), values, own, like, base, is_listed)

    def _is_listed(self, name: str) -> bool:
        stages, like = (self._written.at(("crops", name, key)) for key in (STAGES, _LIKE))
        if stages is None:
            return like is None and name not in self.known
        return not isinstance(stages, dict)

    def _made(self, name: str, values: Values, *, is_listed: bool = False) -> Crop:
        optional = frozenset[str]() if is_listed else crop_library(self._library.parse).optional
        return crop_of(name, values, self._library.defaults, optional)

    def _base(self, name: str, *, is_listed: bool) -> tuple[str, Values | None]:
        """Return the crop that one takes after, and its values; None where that is wrong."""
        place: Path = ("crops", name, _LIKE)
        like, others = self._written.at(place), self._written.mapping(("crops",))
        if like is None and (is_listed or name not in self.known):
            return "", {}
        like = name if like is None else like
        if like in self._begun and not (like == name and like in self.known):
            circle = ", ".join((*self._begun[self._begun.index(like) :], like))
            self._written.mistake(place, f"leads in a circle: {circle}", "take one `like` out")
            return like, None
        if like != name and isinstance(like, str) and like in others:
            grown = self.crop(like)
            return like, None if grown is None else grown.values
        if isinstance(like, str) and like in self.known:
            return like, self.known[like].values
        if isinstance(like, str):
            hint = hint_of_crop(like, others.keys() - {name}, self._library)
            self._written.mistake(place, f"{shown(like)} is none of the crops", hint)
        return str(like), None


def _own(written: Written, path: Path, places: Mapping[str, Path]) -> dict[Path, Sourced]:
    """Return what is written for a crop, with stages by name."""
    parts: list[tuple[Path, Path, tuple[str, ...]]] = [((), path, (STAGES, _LIKE))]
    parts += [((STAGES, name), place, ("name",)) for name, place in places.items()]
    found: dict[Path, Sourced] = {}
    for start, place, left_out in parts:
        part = {key: value for key, value in written.mapping(place).items() if key not in left_out}
        for rest, value in placed(part):
            found[*start, *rest] = Sourced(value, line=written.document.line((*place, *rest)))
    return found


def _fits_list(path: Path, stages: Mapping[str, Path]) -> bool:
    """Return whether a value of the crop that a list of stages takes after holds beside the list."""
    return path[0] != STAGES or (path[1] in stages and path[2] not in (BANDS, "from_day"))


def _in_order(values: Values, stages: Mapping[str, Path]) -> Values:
    """Return values with the stages in the order of their list."""
    order = {name: number for number, name in enumerate(stages)}

    def place(one: tuple[Path, Sourced]) -> int:
        path, _ = one
        return order[str(path[1])] if path[0] == STAGES else -1

    return dict(sorted(values.items(), key=place))
