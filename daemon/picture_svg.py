"""A picture as SVG that can stand in a page: no script, nothing from outside, ids of its own, words for screen readers.

The rule of this file: colours are attributes with a class for each role, so that a stylesheet may change them and no
inline style is needed.
"""

import math
import re
from collections.abc import Mapping, Sequence
from hashlib import sha256
from typing import Final, TypeAlias
from xml.etree import ElementTree as ET

from wardian.daemon.picture import Picture
from wardian.daemon.picture_colours import LIGHT, stylesheet

_SVG: Final = "http://www.w3.org/2000/svg"
_LINK: Final = "{http://www.w3.org/1999/xlink}href"
_ROLES: Final[Mapping[str, str]] = {colour: role for role, colour in LIGHT.items()}
_NUMBER: Final = re.compile(r"-?\d+\.\d+")
_PIECE: Final = re.compile(r"([MLCQZz])([^MLCQZz]*)")
_REFERENCE: Final = re.compile(r"(?:url\(|^)#([^)]*)")
_Point: TypeAlias = tuple[float, float]
#: So many points at most are looked at once more for each that follows.
_MOST_BETWEEN: Final = 24
#: Attributes that hold lengths or paths; a tenth of a pixel is fine enough.
_LENGTHS: Final = ("x", "y", "width", "height", "transform", "points")


def mended(drawn: bytes, picture: Picture, *, own_style: bool) -> bytes:
    """Return drawn SVG as one element that can stand in a page beside others.

    With ``own_style`` it carries its colours for dark screens, for a file that stands alone.
    """
    root = ET.fromstring(drawn)  # noqa: S314  # what our own library has drawn just now
    _tidy(root)
    prefix = f"w{sha256(drawn + picture.title.encode()).hexdigest()[:8]}"
    for element in root.iter():
        _mend(element, prefix)
    _name_it(root, picture, prefix)
    if own_style:
        style = ET.Element(f"{{{_SVG}}}style")
        style.text = stylesheet()
        root.insert(2, style)
    ET.register_namespace("", _SVG)
    return ET.tostring(root, encoding="unicode").encode()


def _tidy(root: ET.Element) -> None:
    """Leave out what nobody sees: the library's own words, ids that nothing refers to, empty space, bare groups."""
    used = {
        name for one in root.iter() for value in one.attrib.values() for name in _REFERENCE.findall(value)
    }
    for parent in [*root.iter()]:
        parent.text = (parent.text or "").strip()
        for child in [*parent]:
            child.tail = ""
            if _name(child) in ("metadata", "style"):
                parent.remove(child)
            elif child.get("id") not in used:
                child.attrib.pop("id", None)
    for parent in reversed([*root.iter()]):
        parent[:] = [one for child in parent for one in (child if _is_bare(child) else [child])]


def _is_bare(element: ET.Element) -> bool:
    return _name(element) == "g" and not element.attrib


def _name(element: ET.Element) -> str:
    return str(element.tag).rpartition("}")[2]


def _name_it(root: ET.Element, picture: Picture, prefix: str) -> None:
    """Say what it is and what can be seen in it."""
    for place, (name, words) in enumerate((("title", picture.title), ("desc", picture.words))):
        element = ET.Element(f"{{{_SVG}}}{name}", {"id": f"{prefix}-{name}"})
        element.text = words
        root.insert(place, element)
    width, height = (root.get(name, "").removesuffix("pt") for name in ("width", "height"))
    root.set("width", width)
    root.set("height", height)
    root.set("role", "img")
    root.set("aria-labelledby", f"{prefix}-title {prefix}-desc")
    root.set("font-family", "'DejaVu Sans', Verdana, sans-serif")


def _mend(element: ET.Element, prefix: str) -> None:
    if "id" in element.attrib:
        element.set("id", f"{prefix}-{element.get('id')}")
    if _LINK in element.attrib:
        element.set("href", f"#{prefix}-{element.attrib.pop(_LINK).removeprefix('#')}")
    _style_as_attributes(element)
    classes = []
    for name, value in [*element.attrib.items()]:
        if "url(#" in value:
            element.set(name, value.replace("url(#", f"url(#{prefix}-"))
        if name == "d":
            element.set(name, _drawn_through(value))
        if name in _LENGTHS:
            element.set(name, _NUMBER.sub(_rounded, value))
        if name in ("fill", "stroke") and value in _ROLES:
            classes.append(f"wd-{name[0]}-{_ROLES[value]}")
    if _name(element) == "text" and not any(one.startswith("wd-f-") for one in classes):
        classes.append("wd-f-ink")
    if classes:
        element.set("class", " ".join(classes))


def _style_as_attributes(element: ET.Element) -> None:
    for part in element.attrib.pop("style", "").split(";"):
        name, colon, value = part.partition(":")
        if colon and name.strip() == "font":
            size = re.search(r"([\d.]+)px", value)
            element.set("font-size", size.group(1) if size else "11")
            if "bold" in value or "700" in value:
                element.set("font-weight", "bold")
        elif colon:
            element.set(name.strip(), value.strip())


def _drawn_through(path: str) -> str:
    """Return a path in tenths of a pixel, without the points of straight pieces that lie on their way."""
    kept: list[str] = []
    line: list[_Point] = []
    for letter, numbers in [*_PIECE.findall(path), ("", "")]:
        rounded = _NUMBER.sub(_rounded, numbers).split()
        if letter == "L" and line:
            line.append((float(rounded[0]), float(rounded[1])))
            continue
        # The first point of a line is where the piece before it ended.
        kept += [f"L{x:g} {y:g}" for x, y in _without_between(line)[1:]]
        kept.append(f"{letter}{' '.join(rounded)}")
        line = [(float(rounded[-2]), float(rounded[-1]))] if rounded else []
    return "".join(kept)


def _without_between(line: Sequence[_Point]) -> list[_Point]:
    """Return the points of a line without those that lie within a tenth of a pixel between those that stay."""
    if len(line) < 3:
        return [*line]
    kept, between = [line[0]], [line[1]]
    for point in line[2:]:
        if len(between) < _MOST_BETWEEN and all(_is_between(kept[-1], one, point) for one in between):
            between.append(point)
        else:
            kept.append(between[-1])
            between = [point]
    return [*kept, between[-1]]


def _is_between(start: _Point, point: _Point, end: _Point) -> bool:
    (x, y), (along, up) = (point[0] - start[0], point[1] - start[1]), (end[0] - start[0], end[1] - start[1])
    length = math.hypot(along, up)
    if not length or not 0 <= x * along + y * up <= length * length:
        return False
    return abs(x * up - y * along) <= 0.1 * length


def _rounded(number: re.Match[str]) -> str:
    return f"{float(number.group()):.1f}".removesuffix(".0")
