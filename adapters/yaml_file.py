"""YAML as people mean it: the only place that knows the YAML library.

Of the format only what cannot surprise is taken: mappings, lists, text, ``true`` and ``false``,
decimal numbers. What older rules of the format would turn into something else stays the text that
was written: ``18:00``, ``no``, ``on``, ``010``, ``2026-03-02``. What hides or repeats things is
refused: a key written twice, anchors, aliases, merge keys, tags, a second document.
"""

import re
from collections.abc import Iterator
from decimal import Decimal
from typing import Any, Final

import yaml

from wardian.rules.documents import Document, Path, dotted, shown
from wardian.rules.errors import BadConfig, Mistake

LARGEST_FILE_BYTES: Final = 256 * 1024
DEEPEST: Final = 12

#: The C parser where the library was built with one; both give the same events.
LOADER: Final[Any] = getattr(yaml, "CSafeLoader", yaml.SafeLoader)

_NUMBER: Final = re.compile(r"[-+]?(?:(?:0|[1-9][0-9]*)(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][-+]?[0-9]+)?")
_WHOLE: Final = re.compile(r"[-+]?[0-9]+")
_NOT_FINITE: Final = re.compile(r"[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN)")
_LONGEST_NUMBER: Final = 40
_LARGEST_EXPONENT: Final = 99
_NOTHING: Final = frozenset({"", "~", "null"})


def parse(data: bytes, file: str, loader: Any = LOADER) -> Document:
    """Return what a YAML text says, with the line of every key and list item.

    Raises:
        BadConfig: It is not such a text; every mistake that could be found, each with its line.
    """
    text = _decoded(data, file)
    builder = _Builder()
    value = None
    try:
        value = builder.document(yaml.parse(text, Loader=loader))
    except yaml.YAMLError as error:
        builder.mistakes.append(_syntax_mistake(error, text))
    if builder.mistakes:
        raise BadConfig(file, builder.mistakes)
    return Document(file, value, builder.lines, is_whole=text.endswith("\n"))


def _decoded(data: bytes, file: str) -> str:
    if len(data) > LARGEST_FILE_BYTES:
        raise _bad(file, 1, f"is larger than {LARGEST_FILE_BYTES // 1024} KiB")
    if data[:2] in (b"\xff\xfe", b"\xfe\xff") or b"\0" in data:
        raise _bad(file, 1, "is not UTF-8 text: it looks like UTF-16 or no text at all", "save it as UTF-8")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise _bad(file, line, "has a letter that is not UTF-8", "save the file as UTF-8") from error
    for number, line_text in enumerate(text.split("\n"), start=1):
        if "\t" in line_text[: len(line_text) - len(line_text.lstrip())]:
            raise _bad(file, number, "begins with a tab", "indent with spaces")
    return text


def _bad(file: str, line: int, problem: str, hint: str = "") -> BadConfig:
    return BadConfig(file, [Mistake("", line, problem, hint)])


def _syntax_mistake(error: yaml.YAMLError, text: str) -> Mistake:
    mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
    position = getattr(error, "position", None)
    line = mark.line + 1 if mark else text.count("\n", 0, position) + 1 if position is not None else 1
    line = min(line, text.count("\n") + 1)
    words = getattr(error, "problem", None) or getattr(error, "reason", None) or "no reason is known"
    context = getattr(error, "context", None)
    kind = "" if isinstance(error, _TooDeep) else "is not YAML: "
    return Mistake("", line, f"{kind}{words}" + (f" {context}" if context else ""))


class _TooDeep(yaml.YAMLError):
    """Raised to leave the events where they stand."""

    def __init__(self, mark: Any) -> None:
        super().__init__()
        self.problem = f"is nested deeper than {DEEPEST} levels"
        self.problem_mark = mark


class _Builder:
    """Turns the parser's events into plain values, and gathers mistakes on the way."""

    def __init__(self) -> None:
        self.lines: dict[Path, int] = {}
        self.mistakes: list[Mistake] = []

    def document(self, events: Iterator[Any]) -> Any:
        value = None
        documents = 0
        for event in events:
            if isinstance(event, yaml.DocumentStartEvent):
                documents += 1
                if documents > 1:
                    self._mistake((), event, "is a second document in one file", "remove the line of dashes")
                    break
            elif isinstance(event, yaml.NodeEvent):
                value = self._value(event, events, ())
        return value

    def _value(self, event: Any, events: Iterator[Any], path: Path) -> Any:
        if isinstance(event, yaml.AliasEvent):
            self._mistake(path, event, "refers to another place with *", "write the value out")
            return None
        if event.anchor is not None:
            self._mistake(path, event, "has an anchor (&)", "write each value where it is used")
        if event.tag is not None:
            self._mistake(path, event, f"has the tag {shown(event.tag)}", "tags (!) are not accepted")
        if isinstance(event, yaml.ScalarEvent):
            return self._scalar(event, path)
        if len(path) >= DEEPEST:
            raise _TooDeep(event.start_mark)
        if isinstance(event, yaml.SequenceStartEvent):
            return self._list(events, path)
        return self._mapping(events, path)

    def _list(self, events: Iterator[Any], path: Path) -> list[Any]:
        values: list[Any] = []
        while not isinstance(event := next(events), yaml.SequenceEndEvent):
            here = (*path, len(values))
            self.lines[here] = event.start_mark.line + 1
            values.append(self._value(event, events, here))
        return values

    def _mapping(self, events: Iterator[Any], path: Path) -> dict[str, Any]:
        values: dict[str, Any] = {}
        while not isinstance(event := next(events), yaml.MappingEndEvent):
            key = self._key(event, events, path)
            here = (*path, key)
            if key in values:
                self._mistake(here, event, f"is written twice: it is on line {self.lines[here]} already")
            self.lines.setdefault(here, event.start_mark.line + 1)
            values[key] = self._value(next(events), events, here)
        return values

    def _key(self, event: Any, events: Iterator[Any], path: Path) -> str:
        is_plain = isinstance(event, (yaml.ScalarEvent, yaml.AliasEvent))
        # A key that has an inside is one level down: keys within keys end where values would.
        key = self._value(event, events, path if is_plain else (*path, "?"))
        if isinstance(event, yaml.AliasEvent):
            return "*"
        if not is_plain:
            self._mistake(path, event, "has a list or a mapping as a key", "a key is text")
            return "?"
        if not event.style and key == "<<":
            self._mistake(path, event, "has a merge key (<<)", "write the keys out")
        if not isinstance(key, str):
            problem = f"has the key {shown(event.value)}, which is no text"
            self._mistake(path, event, problem, "put quotes around it")
        return str(event.value)

    def _scalar(self, event: Any, path: Path) -> Any:
        text: str = event.value
        if event.style:  # the two parsers give None and an empty text for plain ones
            return text
        if text in ("true", "false"):
            return text == "true"
        if text in _NOTHING:
            return None
        if _NOT_FINITE.fullmatch(text):
            self._mistake(path, event, f"is {text}", "a finite number is accepted")
        if _NUMBER.fullmatch(text):
            return self._number(text, event, path)
        return text

    def _number(self, text: str, event: Any, path: Path) -> int | Decimal | None:
        exponent = text.lower().partition("e")[2]
        if len(text) > _LONGEST_NUMBER or abs(int(exponent or "0")) > _LARGEST_EXPONENT:
            accepted = (
                f"up to {_LONGEST_NUMBER} digits, and exponents up to {_LARGEST_EXPONENT}, are accepted"
            )
            self._mistake(path, event, "is a number too long", accepted)
            return None
        return int(text) if _WHOLE.fullmatch(text) else Decimal(text)

    def _mistake(self, path: Path, event: Any, problem: str, hint: str = "") -> None:
        self.mistakes.append(Mistake(dotted(path), event.start_mark.line + 1, problem, hint))
