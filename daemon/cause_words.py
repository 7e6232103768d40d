"""What each cause of an alarm is called, and what there is to do about it: read from the library beside the rules.

The rule of this file: a cause that the rules can name and the library cannot put into words is a broken program.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from wardian.rules.documents import Parse
from wardian.rules.observing.causes import EXPLAINS


@dataclass(frozen=True, slots=True)
class CauseWords:
    """A cause for people: what it is, the one thing to do, and the groups of alarms it can be behind."""

    words: str
    action: str
    explains: tuple[str, ...]


@cache
def cause_words(parse: Parse) -> Mapping[str, CauseWords]:
    """Return the words for every cause by its name, read and checked once.

    Raises:
        ValueError: They are not the causes that the rules can name; tests see to it that they are.
    """
    document = parse((files("wardian.rules") / "causes.yaml").read_bytes(), "causes.yaml").value
    known = {
        name: CauseWords(**keys | {"explains": tuple(keys["explains"])}) for name, keys in document.items()
    }
    if {name: one.explains for name, one in known.items()} != dict(EXPLAINS):
        raise ValueError("causes.yaml names other causes, or other groups of alarms, than the rules do")
    return known
