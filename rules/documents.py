"""A document that a person wrote: its plain values, and the line of every one of them.

Whoever reads a format hands over this; whoever checks what is written need not know the format.
"""

import difflib
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

#: The way from the top of a document to one of its values: keys and positions in lists.
Path: TypeAlias = tuple[str | int, ...]

_PLAIN_KEY: Final = re.compile(r"[\w-]+")
_SHOWN_LENGTH: Final = 60


@dataclass(frozen=True, slots=True)
class Document:
    """What one file says.

    Attributes:
        file: Its name as people know it.
        value: Mappings with text keys, lists, text, ``bool``, ``int``, ``Decimal`` and None. Numbers
            are exactly what was written.
        lines: The line, from 1, of every key and of every list item.
        is_whole: False when the last line has no end, as in a file that was cut off.
    """

    file: str
    value: Any
    lines: Mapping[Path, int]
    is_whole: bool = True

    def at(self, path: Path) -> Any:
        """Return the value at a path, or None where nothing stands."""
        value = self.value
        for step in path:
            try:
                value = value[step]
            except (KeyError, IndexError, TypeError):
                return None
        return value

    def line(self, path: Path) -> int:
        """Return the line of a value, or that of what should have held it."""
        while path and path not in self.lines:
            path = path[:-1]
        return self.lines.get(path, 1)


#: Reads one format: the bytes of a file and its name.
#:
#: Raises:
#:     BadConfig: They are no document, with every mistake that could be found.
Parse = Callable[[bytes, str], Document]


def dotted(path: Path) -> str:
    """Return a path as people write it: ``trays[0].crop``."""
    return "".join(_step(step) for step in path).removeprefix(".")


def _step(step: str | int) -> str:
    if isinstance(step, int):
        return f"[{step}]"
    return "." + (step if _PLAIN_KEY.fullmatch(step) else shown(step))


def shown(value: object) -> str:
    """Return a value for a message: on one line, nothing in it that a terminal would obey, and short."""
    text = repr(value) if isinstance(value, str) else str(value)
    text = "".join(letter if letter.isprintable() else ascii(letter)[1:-1] for letter in text)
    return text if len(text) <= _SHOWN_LENGTH else text[: _SHOWN_LENGTH - 1] + "…"


def nearest(written: str, accepted: Iterable[str], *, listed: int = 12) -> str:
    """Return a hint: the accepted name that is almost what was written, or all of them; none that a line cannot hold."""
    names = sorted(name for name in accepted if name.isprintable())
    folded = {name.casefold(): name for name in names}
    near = difflib.get_close_matches(written.casefold(), folded, n=1, cutoff=0.6)
    if near:
        return f"did you mean {folded[near[0]]}?"
    return f"accepted: {', '.join(names)}" if 0 < len(names) <= listed else ""
