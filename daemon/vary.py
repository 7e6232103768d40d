"""Keys of a configuration that take several values in turn: ``PATH=VALUE,VALUE,…``.

The rule of this file: a path is written as error messages print it, a list's item by its place or its
name; a value is what would stand behind the key in the file.
"""

import copy
import json
import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from decimal import Decimal
from itertools import combinations, product
from pathlib import Path as Folder
from typing import Any, Final, NamedTuple

from wardian.daemon.config import SECTIONS, Config, build
from wardian.daemon.crop_library import crop_library
from wardian.daemon.written import described
from wardian.rules.documents import Document, Parse, Path, dotted, nearest, shown
from wardian.rules.errors import BadConfig, Mistake

CROPS: Final = "crops"
MOST_KEYS: Final = 2
MOST_SETTINGS: Final = 100
_STEP: Final = re.compile(
    r"""\[(?P<place>[0-9]{1,4})\]|(?:^|\.)(?:'(?P<one>[^']*)'|"(?P<two>[^"]*)"|(?P<plain>[^.\['"]+))"""
)
#: Text that needs no quotes in YAML, on one line with others: an amount with its unit, or a name.
_PLAIN: Final = re.compile(
    r"[0-9]+(?:\.[0-9]+)? ?[A-DF-Za-df-zµ°%/][\w°%/]*|(?!(?:true|false|null)$)[^\W\d_](?:[\w .-]*[\w.-])?"
)


class Vary(NamedTuple):
    """A key and the values that it takes; ``written`` is the path as it was asked for."""

    written: str
    path: Path
    values: tuple[Any, ...]


class Choice(NamedTuple):
    """One key with one of its values."""

    vary: Vary
    value: Any

    @property
    def words(self) -> str:
        """The option that would choose just this."""
        return f"--vary {self.vary.written}={flow(self.value)}"


class Varied(NamedTuple):
    """A configuration in which keys have some of their values."""

    chosen: tuple[Choice, ...]
    config: Config


def varied(config: Config, folder: Folder, keys: Sequence[str], parse: Parse) -> list[Varied]:
    """Return a configuration in a folder once for every combination of the values that some keys take.

    Raises:
        BadConfig: There is no such key, or a value of it cannot be used.
    """
    every = choices([read_vary(text, config.document, parse) for text in keys])
    result = []
    for chosen in every:
        try:
            result.append(Varied(chosen, build(changed(config.document, chosen), folder, config.library)))
        except BadConfig as error:
            raise blamed(error, chosen) from error
    return result


def read_vary(text: str, document: Document, parse: Parse) -> Vary:
    """Return what a ``PATH=VALUE,VALUE,…`` means in a document.

    Raises:
        BadConfig: There is no such place, or the values cannot be read.
    """
    written, equals, values = text.partition("=")
    written = written.strip()
    if not equals or not written:
        raise _bad(text, "", "is no PATH=VALUE,VALUE", "such as light.lit_above=500 lx,1000 lx")
    path = _resolved(written, document, crop_library(parse).all if written.startswith(CROPS) else ())
    try:
        read = parse(f"[{values}]".encode(errors="surrogateescape"), "").value
    except BadConfig as error:
        raise _bad(written, "", error.mistakes[0].problem, error.mistakes[0].hint) from error
    if not isinstance(read, list) or not read:
        raise _bad(written, "", "names no value", "PATH=VALUE,VALUE is accepted")
    return Vary(written, path, tuple(read))


def choices(varied: Sequence[Vary]) -> list[tuple[Choice, ...]]:
    """Return every combination of the values, the last key's changing first.

    Raises:
        BadConfig: The keys are too many, cannot be varied together, or give too many combinations.
    """
    if len(varied) > MOST_KEYS:
        raise _bad(varied[MOST_KEYS].written, "", "is one key too many", f"{MOST_KEYS} are accepted")
    for one, other in combinations(varied, 2):
        shorter = min(len(one.path), len(other.path))
        if one.path[:shorter] == other.path[:shorter]:
            raise _bad(other.written, "", f"lies within {one.written}, or holds it", "vary one of them")
    every = list(product(*([Choice(vary, value) for value in vary.values] for vary in varied)))
    if len(every) > MOST_SETTINGS:
        raise _bad(varied[0].written, "", f"makes {len(every)} settings", f"{MOST_SETTINGS} are accepted")
    return every


def changed(document: Document, chosen: Sequence[Choice]) -> Document:
    """Return the document with other values in some places."""
    value = copy.deepcopy(document.value)
    for (_, path, _), new in chosen:
        place = value
        for step in path[:-1]:
            place = place.setdefault(step, {}) if isinstance(place, dict) else place[step]
        place[path[-1]] = copy.deepcopy(new)
    return Document(document.file, value, document.lines, document.is_whole)


def blamed(error: BadConfig, chosen: Sequence[Choice]) -> BadConfig:
    """Return an error of a changed document as one of the options that changed it."""
    option = " ".join(choice.words for choice in chosen)
    return BadConfig(option, [Mistake(one.path, 0, one.problem, one.hint) for one in error.mistakes])


def _bad(text: str, path: str, problem: str, hint: str = "") -> BadConfig:
    return BadConfig(f"--vary {text}", [Mistake(path, 0, problem, hint)])


# ----------------------------------------------------------------------------------- places


def _resolved(written: str, document: Document, crops: Collection[str]) -> Path:
    """Return the place that a path means.

    Only its last key may be missing in the document, or all within a crop that takes after one of the library.
    """
    steps = _steps(written)
    value = document.value
    path: Path = ()
    for number, step in enumerate(steps, start=1):
        found = _step(written, path, value, step)
        is_new = isinstance(value, dict) and found not in value
        may_be_new = number == len(steps) or (number == 1 and step in SECTIONS)
        may_be_new = may_be_new or _takes_after(document, (*path, found), crops)
        if is_new and not may_be_new:
            raise _bad(written, dotted((*path, found)), "is not in the file", nearest(str(found), value))
        path = (*path, found)
        value = {} if is_new else value[found]
    return path


def _takes_after(document: Document, path: Path, crops: Collection[str]) -> bool:
    """Return whether a place is within a crop that has only what is otherwise than in one of the library."""
    if path[0] != CROPS or len(path) == 1 or isinstance(document.at((*path[:2], "stages")), list):
        return False
    return path[1] in crops or document.at((*path[:2], "like")) is not None


def _steps(written: str) -> Path:
    steps: list[str | int] = []
    place = 0
    while place < len(written):
        found = _STEP.match(written, place)
        if found is None:
            problem = f"is no path from {shown(written[place:])} on"
            raise _bad(written, "", problem, "keys are accepted as messages print them: trays[0].crop")
        name = found["one"] or found["two"] or found["plain"] or ""
        steps.append(int(found["place"]) if found["place"] else name.strip())
        place = found.end()
    return tuple(steps)


def _step(written: str, path: Path, value: Any, step: str | int) -> str | int:
    """Return the key, or the place in a list, that a step means."""
    if isinstance(value, dict):
        if isinstance(step, int):
            raise _bad(written, dotted(path), "is a mapping of keys", nearest("", value))
        return step
    if not isinstance(value, list):
        raise _bad(written, dotted(path), f"is {described(value)} and holds no {shown(step)}")
    names = [str(item["name"]) if isinstance(item, dict) and "name" in item else "" for item in value]
    if step in names:
        return names.index(str(step))
    place = step if isinstance(step, int) else int(step) if step.isdecimal() else -1
    if not 0 <= place < len(value):
        hint = nearest(str(step), filter(None, names)) or f"a place from 0 to {len(value) - 1} is accepted"
        raise _bad(written, dotted(path), f"has no {shown(step)}", hint)
    return place


# ----------------------------------------------------------------------------------- as YAML


def flow(value: Any) -> str:
    """Return a value as it may stand in YAML, on one line."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{flow(name)}: {flow(one)}" for name, one in value.items()) + "}"
    if isinstance(value, list):
        return f"[{', '.join(map(flow, value))}]"
    if isinstance(value, bool) or value is None:
        return {True: "true", False: "false", None: "null"}[value]
    if isinstance(value, (int, Decimal)):
        return str(value)
    return value if _PLAIN.fullmatch(value) else json.dumps(value, ensure_ascii=False)


def fragment(document: Document, chosen: Sequence[Choice]) -> Iterator[str]:
    """Yield the chosen values as YAML, each below the keys that lead to it."""
    tree: dict[str | int, Any] = {}
    for (_, path, _), value in chosen:
        place: Any = tree
        for step in path[:-1]:
            place = place.setdefault(step, {})
        place[path[-1]] = _Leaf(value)
    yield from _block(document, (), tree)


class _Leaf(NamedTuple):
    value: Any


def _block(document: Document, path: Path, tree: Mapping[str | int, Any]) -> Iterator[str]:
    for step, below in tree.items():
        here = (*path, step)
        if isinstance(below, _Leaf):
            yield f"- {flow(below.value)}" if isinstance(step, int) else f"{flow(step)}: {flow(below.value)}"
            continue
        if isinstance(step, int):
            name = document.at((*here, "name"))
            yield f"- name: {flow(name)}" if isinstance(name, str) else f"- # number {step + 1} of this list"
        else:
            yield f"{flow(step)}:"
        yield from (f"  {line}" for line in _block(document, here, below))
