"""The crops of the library: ``crops.yaml`` beside the rules, every value with its mark, its source spelled out.

The rule of this file: a library with a gap, or with a value that has no mark, is a broken program and is refused.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from typing import Any, Final

from wardian.daemon.crop_values import AIMS, BANDS, STAGES, Sourced, Values, crop_of, overlaid, placed
from wardian.daemon.library import document_of, library
from wardian.daemon.reasoned import Reasoned
from wardian.rules.crops import Crop
from wardian.rules.documents import Parse, Path
from wardian.rules.quantities import QUANTITIES
from wardian.rules.units import own_unit

#: How sure a figure is; after a colon, why or from where.
READ: Final = "read"
MARKS: Final = (READ, "computed", "from memory", "common practice, no source")
GENERAL: Final = "general"
#: What is told of a crop beside its values.
_ABOUT: Final = ("botanical", "cutting", "group", "crops", "mark")


@dataclass(frozen=True, slots=True)
class LibraryCrop:
    """A crop of the library, or what crops of one group have in common: its values, each with its mark."""

    name: str
    values: Values
    group: str = ""
    botanical: str = ""
    cutting: str = ""


@dataclass(frozen=True, slots=True)
class CropLibrary:
    """What the library knows of crops: the crops, the groups and the general one, all by name.

    ``optional`` are the quantities whose bands nobody misses where nothing measures them; ``margins`` say, by
    quantity, how far outside an aim its limit stands and why.
    """

    crops: Mapping[str, LibraryCrop]
    groups: Mapping[str, LibraryCrop]
    optional: frozenset[str]
    margins: Mapping[str, Reasoned]

    @property
    def all(self) -> Mapping[str, LibraryCrop]:
        """Every name that a tray's ``crop``, or ``like``, may have."""
        return {**self.crops, **self.groups}


def library_crops(parse: Parse) -> Mapping[str, Crop]:
    """Return the crops of the library by name."""
    return {name: crop_named(parse, name) for name in crop_library(parse).crops}


def general_crop(parse: Parse) -> Crop:
    """Return what holds for a crop that nobody described."""
    return crop_named(parse, GENERAL)


@cache
def crop_named(parse: Parse, name: str) -> Crop:
    """Return a crop, a group or the general crop of the library.

    Raises:
        KeyError: There is none of that name.
    """
    known = crop_library(parse)
    return crop_of(name, known.all[name].values, library(parse).defaults, known.optional)


@cache
def crop_library(parse: Parse) -> CropLibrary:
    """Return what the library says of crops, read once.

    Raises:
        ValueError: It has a gap or a value without a mark; tests see to it that it has none.
    """
    written = document_of(parse, "crops.yaml").value
    reader = _Reader(written)
    general = reader.values(written[GENERAL])
    groups = {name: overlaid(general, reader.values(of)) for name, of in written["groups"].items()}
    crops = {name: overlaid(groups[of["group"]], reader.values(of)) for name, of in written["crops"].items()}
    return CropLibrary(
        {name: reader.crop(name, values, written["crops"][name]) for name, values in crops.items()},
        {name: reader.crop(name, values, {}) for name, values in {GENERAL: general, **groups}.items()},
        frozenset(written["optional"]),
        {name: Reasoned(_far(name, of), of["why"], of["mark"]) for name, of in written["limits"].items()},
    )


class _Reader:
    """Reads the parts of ``crops.yaml``."""

    def __init__(self, written: Mapping[str, Any]) -> None:
        self._sources: Mapping[str, str] = written["sources"]
        self._marks: Mapping[str, str] = written["marks"]
        self._limits: Mapping[str, Mapping[str, Any]] = written["limits"]

    def crop(self, name: str, values: Values, about: Mapping[str, str]) -> LibraryCrop:
        told = {key: about[key] for key in ("group", "botanical", "cutting") if key in about}
        return LibraryCrop(name, {**values, **dict(self._from_aims(values))}, **told)

    def values(self, written: Mapping[str, Any]) -> dict[Path, Sourced]:
        """Return the values of one crop as written, each with its mark."""
        told = {key: value for key, value in written.items() if key not in _ABOUT}
        return {
            path: Sourced(value["value"] if isinstance(value, dict) else value, self._mark(written, path))
            for path, value in placed(told)
            if path[-1] != "mark"
        }

    def _mark(self, written: Mapping[str, Any], path: Path) -> str:
        """Return the mark of a value: its own, its band's, that of its name, or the nearest above it."""
        around = [_at(written, path[:size]) for size in range(len(path), -1, -1)]
        marks = [str(part["mark"]) if isinstance(part, dict) and "mark" in part else "" for part in around]
        near = 2 if path[0] == STAGES and path[2] in (BANDS, AIMS) else 1
        named = (self._marks.get(str(step), "") for step in reversed(path))
        found = next(filter(None, (*marks[:near], *named, *marks[near:])), "")
        return self.spelled_out(found)

    def spelled_out(self, mark: str) -> str:
        """Return a mark with its source in full.

        Raises:
            ValueError: It is none, or its source is not there.
        """
        if mark.partition(":")[0] not in MARKS:
            raise ValueError(f"{mark!r} is no mark: {', '.join(MARKS)}")
        words, read, source = mark.rpartition(f"{READ}: ")
        if not read:
            return mark
        if source not in self._sources:
            raise ValueError(f"{source!r} is no source")
        return f"{words}{read}{self._sources[source]}"

    def _from_aims(self, values: Values) -> Iterator[tuple[Path, Sourced]]:
        """Yield the limits that follow from aims, where a band has none."""
        for path, aim in values.items():
            if path[0] != STAGES or path[2] != AIMS or path[3] not in self._limits:
                continue
            quantity, side = str(path[3]), str(path[4])
            limit, place = self._limits[quantity], (*path[:2], BANDS, quantity, side)
            if path[1] in limit[side] and place not in values:
                yield place, self._limit(quantity, side, aim)

    def _limit(self, quantity: str, side: str, aim: Sourced) -> Sourced:
        rule = self._limits[quantity]
        margin = Decimal(rule["margin"])
        if not margin:
            return aim
        mark = f"computed: {_far(quantity, rule)} outside the aim ({aim.mark})"
        return Sourced(aim.value + margin * (1 if side == "high" else -1), mark)


def _far(quantity: str, rule: Mapping[str, Any]) -> str:
    return f"{rule['margin']} {own_unit(QUANTITIES[quantity].difference)}"


def _at(written: Any, path: Path) -> Any:
    for step in path:
        written = written[step]
    return written
