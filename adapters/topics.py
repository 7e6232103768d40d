"""MQTT topics and the patterns that match them (MQTT 5.0, section 4.7; the same in 3.1.1).

A pattern is a topic filter in which ``{tray}`` and ``{quantity}`` may fill a level: they match as ``+``
does and tell what stood there.
"""

import re
from dataclasses import dataclass, field
from typing import Final

from wardian.adapters.placeholders import PLACEHOLDERS

LONGEST_BYTES: Final = 65_535
_PLACEHOLDERS: Final = {f"{{{name}}}": name for name in PLACEHOLDERS}
_SHARED: Final = re.compile(r"\$share/[^/+#]+/(.+)", re.DOTALL)


@dataclass(frozen=True, slots=True)
class TopicPattern:
    """A pattern of topics; ``topic_filter`` is what a broker is asked for.

    Raises:
        ValueError: The pattern is not valid; the message says why.
    """

    text: str
    topic_filter: str = field(init=False)
    placeholders: frozenset[str] = field(init=False)
    _expression: re.Pattern[str] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        levels = self.text.split("/")
        found = [_PLACEHOLDERS[level] for level in levels if level in _PLACEHOLDERS]
        topic_filter = "/".join("+" if level in _PLACEHOLDERS else level for level in levels)
        refuse_bad_filter(topic_filter)
        if len(found) > len(set(found)):
            raise ValueError(f"{self.text!r} has a placeholder twice")
        if "{" in topic_filter or "}" in topic_filter:
            raise ValueError(
                f"{self.text!r} has a brace that is not {{tray}} or {{quantity}} filling a level"
            )
        object.__setattr__(self, "topic_filter", topic_filter)
        object.__setattr__(self, "placeholders", frozenset(found))
        object.__setattr__(self, "_expression", re.compile(_expression(self.text), re.DOTALL))

    def match(self, topic: str) -> dict[str, str] | None:
        """Return what stood at the placeholders of a topic, or None where the pattern does not match.

        A wildcard at the beginning does not match topics that begin with ``$``.
        """
        match = self._expression.fullmatch(topic)
        return None if match is None else match.groupdict()


def refuse_bad_filter(topic_filter: str) -> None:
    """Accept a topic filter, also a shared one (``$share/NAME/FILTER``).

    Raises:
        ValueError: It is not valid; the message says why.
    """
    _refuse_bad_text(topic_filter)
    if topic_filter == "$share" or topic_filter.startswith("$share/"):
        if _SHARED.fullmatch(topic_filter) is None:
            raise ValueError(f"{topic_filter!r} is not $share/NAME/FILTER with a NAME without + and #")
        topic_filter = _unshared(topic_filter)
    *before, last = topic_filter.split("/")
    if any("#" in level for level in before) or ("#" in last and last != "#"):
        raise ValueError(f"{topic_filter!r} has a # that is not alone in the last level")
    if any("+" in level and level != "+" for level in (*before, last)):
        raise ValueError(f"{topic_filter!r} has a + that does not fill its level")


def refuse_bad_topic(topic: str) -> None:
    """Accept the name of a topic, as messages carry it.

    Raises:
        ValueError: It is empty, too long, or holds a wildcard or U+0000.
    """
    _refuse_bad_text(topic)
    if "+" in topic or "#" in topic:
        raise ValueError(f"{topic!r} holds a wildcard")


def _refuse_bad_text(text: str) -> None:
    if not text:
        raise ValueError("a topic has at least one character")
    if "\0" in text:
        raise ValueError("a topic has no U+0000")
    if len(text.encode(errors="surrogatepass")) > LONGEST_BYTES:
        raise ValueError(f"a topic has at most {LONGEST_BYTES} bytes")


def _unshared(pattern: str) -> str:
    shared = _SHARED.fullmatch(pattern)
    return pattern if shared is None else shared[1]


def _expression(pattern: str) -> str:
    """Return the regular expression of a pattern, level by level."""
    levels = _unshared(pattern).split("/")
    expression = "/".join(_level(level) for level in levels if level != "#")
    if levels[-1] == "#":  # sport/# matches sport too, # alone matches everything
        expression += "(?:/.*)?" if len(levels) > 1 else ".*"
    starts_wild = levels[0] in ("+", "#", *_PLACEHOLDERS)
    return (r"(?!\$)" if starts_wild else "") + expression


def _level(level: str) -> str:
    if level == "+":
        return "[^/]*"
    if level in _PLACEHOLDERS:
        return f"(?P<{_PLACEHOLDERS[level]}>[^/]*)"
    return re.escape(level)
