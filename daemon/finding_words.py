"""What each finding about a batch is called, how it is read, and what to try next: from the library beside the rules.

The rule of this file: a finding that the rules can name and the library cannot put into words is a broken program.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from wardian.rules.documents import Parse
from wardian.rules.postmortem.harm import FINDINGS


@dataclass(frozen=True, slots=True)
class FindingWords:
    """A finding for people: what it is, how it is read, what comes of it, what to try next; and where that is from."""

    words: str
    reading: str
    consequence: str
    next_time: str
    mark: str


@cache
def finding_words(parse: Parse) -> Mapping[str, FindingWords]:
    """Return the words for every finding by its name, read and checked once.

    Raises:
        ValueError: They are not the findings that the rules can name; tests see to it that they are.
    """
    document = parse((files("wardian.rules") / "findings.yaml").read_bytes(), "findings.yaml").value
    known = {name: FindingWords(**keys) for name, keys in document.items()}
    if set(known) != set(FINDINGS) or not all(one.mark for one in known.values()):
        raise ValueError("findings.yaml names other findings than the rules do, or one without a mark")
    return known
